"""Where a sung note begins and ends.

Task   : notes whose first sound is known -> notes that begin and end where a listener puts it.
In     : RawNotes in order, how far the pitch spreads inside each, Events.
Out    : RawNotes, moved only as far as a voice sings; instruments stay as they are.
Method : an instrument's note begins with its attack. A sung one begins with a consonant or a
         swelling breath, and people who mark notes by ear and eye put it where the vowel comes
         up: at the centre of gravity of the rise of the amplitude around its first sound; the end
         likewise at the centre of the fall before the next note. A voice is known by its pitch,
         which no singer holds within a few cents and instruments do: the median, over the longer
         notes, of how far the frames of a note spread. In between, notes are moved part of the way.
References: perceptual attack of syllables at the onset of the vowel: J. Morton, S. Marcus,
         C. Frankish, "Perceptual centers (P-centers)", Psychological Review 83, 1976; numbers:
         models/hearing/attack.json and its card.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liltwright.hear.events import Events
from liltwright.hear.raw import RawNote
from liltwright.models import read_json

SMOOTH = np.array([1.0, 3.0, 4.0, 3.0, 1.0]) / 12.0
"""Over frames of 5.8 ms, so that single periods of a low voice are no rise."""
SHORTEST_S = 0.03
"""No note is made shorter than this by moving."""


def voice_share(notes: list[RawNote], spread_cents: np.ndarray) -> float:
    """0 (an instrument that holds its pitch) to 1 (a voice); `spread_cents` shape (n_notes,)."""
    table = read_json("hearing/attack.json")
    length_s = np.array([note.offset_s - note.onset_s for note in notes])
    long = length_s > table["long_s"]
    if not long.any():
        return 0.0
    spread = float(np.median(spread_cents[long]))
    low, high = table["steady_cents"], table["wavering_cents"]
    return float(np.clip((spread - low) / (high - low), 0.0, 1.0))


def at_the_vowels(notes: list[RawNote], events: Events, voice: float) -> list[RawNote]:
    """The notes with onsets where the sound comes up and ends where it falls.

    voice : how far they are moved, 0 (not at all) to 1; notes stay in order, none overlapping
    """
    if voice == 0.0 or not notes:
        return notes
    amplitude = 10 ** (np.convolve(np.pad(events.level_db, 2, mode="edge"), SMOOTH, "valid") / 20)
    begun = _begun(notes, amplitude, events, voice)
    heard_s = [note.offset_s for note in notes]
    return _ended(begun, heard_s, amplitude, events, voice)


def _begun(
    notes: list[RawNote], amplitude: np.ndarray, events: Events, voice: float
) -> list[RawNote]:
    table = read_json("hearing/attack.json")
    moved: list[RawNote] = []
    for i, note in enumerate(notes):
        first_s = note.onset_s - table["before_s"]
        last_s = min(note.offset_s, note.onset_s + table["after_s"])
        rise_s = _centre_s(amplitude, events.hop_s, first_s, last_s, sign=1)
        onset_s = note.onset_s
        if rise_s is not None:
            onset_s += voice * table["share"] * (rise_s - onset_s)
        earliest_s = moved[-1].onset_s + SHORTEST_S if moved else 0.0
        latest_s = note.offset_s - SHORTEST_S
        onset_s = max(min(onset_s, latest_s), earliest_s) if earliest_s < latest_s else note.onset_s
        if moved:
            touching = note.onset_s - notes[i - 1].offset_s < events.hop_s
            end_s = onset_s if touching else min(moved[-1].offset_s, onset_s)
            moved[-1] = replace(moved[-1], offset_s=end_s)
        moved.append(replace(note, onset_s=onset_s))
    return moved


def _ended(
    notes: list[RawNote],
    heard_s: list[float],
    amplitude: np.ndarray,
    events: Events,
    voice: float,
) -> list[RawNote]:
    """`heard_s`: where each note was heard to end before onsets were moved."""
    table = read_json("hearing/attack.json")
    result = []
    for i, note in enumerate(notes):
        next_s = notes[i + 1].onset_s if i + 1 < len(notes) else np.inf
        first_s = max(note.onset_s + SHORTEST_S, heard_s[i] - table["end_before_s"])
        last_s = min(next_s, heard_s[i] + table["end_after_s"])
        fall_s = _centre_s(amplitude, events.hop_s, first_s, last_s, sign=-1)
        if fall_s is not None:
            share = voice * table["end_share"]
            end_s = note.offset_s + share * (fall_s - note.offset_s)
            note = replace(note, offset_s=min(max(end_s, note.onset_s + SHORTEST_S), next_s))
        result.append(note)
    return result


def _centre_s(
    amplitude: np.ndarray, hop_s: float, first_s: float, last_s: float, *, sign: int
) -> float | None:
    """Centre of gravity of the rises (sign 1) or falls (-1) in a stretch; None without any."""
    first = max(0, round(first_s / hop_s))
    change = np.maximum(sign * np.diff(amplitude[first : round(last_s / hop_s) + 1]), 0.0)
    total = float(change.sum())
    if total <= 0.0:
        return None
    return (first + 0.5 + float(change @ np.arange(len(change))) / total) * hop_s
