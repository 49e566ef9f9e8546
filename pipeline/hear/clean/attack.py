"""Where a sung note begins and ends.

Task   : notes whose first sound is known -> notes that begin and end where a listener puts it.
In     : RawNotes in order, how far the pitch spreads inside each, Events, samples.
Out    : RawNotes, moved only as far as a voice sings; instruments stay as they are.
Method : an instrument's note begins with its attack. A sung one begins with a consonant or a
         swelling breath, and people who mark notes by ear and eye put it where the vowel comes
         up: at the centre of gravity of the rise of the amplitude around its first sound. Where
         one pitch slides into another without a rest the amplitude says little; there it is
         half way between the rise, weak rises counted almost like strong ones, and the moment at
         which the harmonics of the new pitch outgrow those of the old (unless nearly everything
         runs together, as in a church: then the old pitch rings on). A note ends at the centre
         of the fall of its own harmonics, again with weak falls counted, because people see it
         fade. A voice is known by its pitch, which no singer holds within a few cents and
         instruments do: the median, over the longer notes, of how far the frames of a note
         spread. In between, notes are moved part of the way.
References: perceptual attack of syllables at the onset of the vowel: J. Morton, S. Marcus,
         C. Frankish, "Perceptual centers (P-centers)", Psychological Review 83, 1976; numbers:
         models/hearing/attack.json and its card.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from liltwright.hear.audio.events import Events
from liltwright.hear.audio.harmonics import HOP, frame_spectra, level_db
from liltwright.hear.audio.recording import Audio
from liltwright.hear.ears.raw import RawNote
from liltwright.models import read_json

SMOOTH = np.array([1.0, 3.0, 4.0, 3.0, 1.0]) / 12.0
"""Over frames of 5.8 ms, so that single periods of a low voice are no rise."""
EVEN = np.ones(5) / 5.0  # a mean of five frames
SHORTEST_S = 0.03
"""No note is made shorter than this by moving."""


@dataclass(frozen=True, slots=True)
class _Sound:
    """What is asked about a recording while notes are moved."""

    audio: Audio
    amplitude: np.ndarray
    """Smoothed, per frame of HOP samples."""
    table: dict[str, float]
    voice: float

    @property
    def hop_s(self) -> float:
        return HOP / self.audio.sample_rate


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


def at_the_vowels(
    notes: list[RawNote], events: Events, audio: Audio, voice: float
) -> list[RawNote]:
    """The notes with onsets where the sound comes up and ends where it falls.

    voice : how far they are moved, 0 (not at all) to 1; notes stay in order, none overlapping
    """
    if voice == 0.0 or not notes:
        return notes
    amplitude = 10 ** (np.convolve(np.pad(events.level_db, 2, mode="edge"), SMOOTH, "valid") / 20)
    sound = _Sound(audio, amplitude, read_json("hearing/attack.json"), voice)
    heard_s = [note.offset_s for note in notes]
    return _ended(_begun(notes, sound), heard_s, sound)


def _begun(notes: list[RawNote], sound: _Sound) -> list[RawNote]:
    slides = [_slides_into(a, b, sound.table) for a, b in pairwise(notes)]
    if slides and np.mean(slides) > sound.table["slide_most"]:
        slides = [False] * len(slides)
    moved: list[RawNote] = []
    for i, note in enumerate(notes):
        before = notes[i - 1] if i else None
        slid = before if i and slides[i - 1] else None
        onset_s = note.onset_s + sound.voice * (_onset_s(slid, note, sound) - note.onset_s)
        earliest_s = moved[-1].onset_s + SHORTEST_S if moved else 0.0
        latest_s = note.offset_s - SHORTEST_S
        onset_s = max(min(onset_s, latest_s), earliest_s) if earliest_s < latest_s else note.onset_s
        if before is not None:
            touching = note.onset_s - before.offset_s < sound.hop_s
            end_s = onset_s if touching else min(moved[-1].offset_s, onset_s)
            moved[-1] = replace(moved[-1], offset_s=end_s)
        moved.append(replace(note, onset_s=onset_s))
    return moved


def _onset_s(slid: RawNote | None, note: RawNote, sound: _Sound) -> float:
    """Where a listener hears the note begin; `slid`: the one that slides into it, if any."""
    table = sound.table
    first_s = note.onset_s - table["before_s"]
    last_s = min(note.offset_s, note.onset_s + table["after_s"])
    if slid is None:
        rise_s = _centre_s(sound.amplitude, sound.hop_s, first_s, last_s, sign=1)
        return note.onset_s + table["share"] * ((rise_s or note.onset_s) - note.onset_s)
    weak = sound.amplitude ** table["slide_power"]
    rise_s = _centre_s(weak, sound.hop_s, first_s, last_s, sign=1)
    over_s = _overtaken_s(slid.midi, note, sound)
    return 0.5 * ((rise_s or note.onset_s) + over_s) + table["slide_later_s"]


def _slides_into(before: RawNote, note: RawNote, table: dict[str, float]) -> bool:
    near = note.onset_s - before.offset_s < table["slide_gap_s"]
    return near and abs(note.midi - before.midi) >= table["slide_semitones"]


def _overtaken_s(old_midi: float, note: RawNote, sound: _Sound) -> float:
    """The first moment around the onset at which the new pitch is louder than the old."""
    table, hop_s = sound.table, sound.hop_s
    first = max(0, round((note.onset_s - table["slide_before_s"]) / hop_s))
    last = round(min(note.offset_s, note.onset_s + table["slide_after_s"]) / hop_s) + 1
    power = frame_spectra(sound.audio.samples, first, max(last, first + 1))
    rate = sound.audio.sample_rate
    lead_db = level_db(power, note.midi, rate) - level_db(power, old_midi, rate)
    above = np.flatnonzero(_even(lead_db) >= 0.0)
    return (first + int(above[0])) * hop_s if len(above) else note.onset_s


def _ended(notes: list[RawNote], heard_s: list[float], sound: _Sound) -> list[RawNote]:
    """`heard_s`: where each note was heard to end before onsets were moved."""
    table, hop_s = sound.table, sound.hop_s
    result = []
    for i, note in enumerate(notes):
        next_s = notes[i + 1].onset_s if i + 1 < len(notes) else np.inf
        first_s = max(note.onset_s + SHORTEST_S, heard_s[i] - table["end_before_s"])
        last_s = min(next_s, heard_s[i] + table["end_after_s"], sound.audio.duration_s)
        first, last = max(0, round(first_s / hop_s)), round(last_s / hop_s) + 1
        if last - first > 1:
            power = frame_spectra(sound.audio.samples, first, last)
            own = 10 ** (level_db(power, note.midi, sound.audio.sample_rate) / 20)
            own = _even(own)
            own = np.maximum(own, table["end_floor"] * own.max()) ** table["end_power"]
            fall_s = _centre_s(own, hop_s, 0.0, (last - first) * hop_s, sign=-1)
            if fall_s is not None:
                fall_s += first * hop_s + table["end_later_s"]
                end_s = note.offset_s + sound.voice * (fall_s - note.offset_s)
                note = replace(note, offset_s=min(max(end_s, note.onset_s + SHORTEST_S), next_s))
        result.append(note)
    return result


def _even(curve: np.ndarray) -> np.ndarray:
    """The curve smoothed by EVEN, its ends held."""
    reach = len(EVEN) // 2
    held = (np.full(reach, curve[0]), curve, np.full(reach, curve[-1]))
    return np.convolve(np.concatenate(held), EVEN, "valid")


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
