"""What in a recording is not the tune.

Task   : find talking, counting in, tuning up, single stray sounds, applause, coughs and knocks.
In     : raw notes with what was measured inside them; level per frame.
Out    : which notes belong to the tune, and LeftOut stretches with a reason each.
Method : 1. Talk: see talk.py. 2. Before the first rest, slow strokes on few open-string pitches
         are tuning up. 3. One or two notes far from everything else are strays. 4. Sound without
         notes before, after or in a long rest is noise, named by how long it lasts.
         In doubt a note stays: losing a bar of the tune is worse than a word too many.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from liltwright.hear.audio.events import Events
from liltwright.hear.audio.recording import Audio
from liltwright.hear.clean.finepitch import NotePitch, periodic_share
from liltwright.hear.clean.talk import talking
from liltwright.hear.ears.raw import RawNote
from liltwright.tune import LeftOut

REST_S = 0.45  # a longer rest ends an opening that is no tune
FAR_S = 1.2
"""A stray is this far from the tune; noise in a rest needs a rest of this length."""
SOON_S = 1.5  # the next talk comes within this time
WORD_GAP_S = 0.8  # words of one sentence lie nearer together
FEW = 2  # notes of a group too small to be of the tune
VOICED_SHARE = 0.3  # of a stretch that has a pitch where somebody speaks
TALKING = "talking or counting in"
TUNING_UP = "tuning up"
STRAY = "a single sound apart from the tune"
APPLAUSE = "applause or other noise"
KNOCK = "a cough, a knock or other noise"
TAPPING = "tapping or clapping"
CLOSING_CHORD = "a closing chord"


@dataclass(frozen=True, slots=True)
class Sorted:
    """is_tune : bool, shape (n_notes,); left_out : stretches in order of time."""

    is_tune: np.ndarray
    left_out: tuple[LeftOut, ...]


def sort_out(notes: list[RawNote], measured: NotePitch, events: Events, audio: Audio) -> Sorted:
    """Tell the tune from the rest. `measured` and `notes` in the same order of onset."""
    reasons: list[str] = ["" for _ in notes]
    if notes:
        for i in np.flatnonzero(talking(notes, measured)).tolist():
            reasons[i] = TALKING
        for i in _tuning_up(notes, reasons):
            reasons[i] = TUNING_UP
        for i in _strays(notes, reasons):
            reasons[i] = STRAY
    is_tune = np.array([not reason for reason in reasons], dtype=bool)
    left_out = _stretches(notes, reasons) + _noises(notes, is_tune, events, audio)
    return Sorted(is_tune, _merged(sorted(left_out, key=lambda one: one.start_s)))


def _merged(left_out: list[LeftOut]) -> tuple[LeftOut, ...]:
    """Talk takes in the stray sounds and knocks close to it: they are its syllables."""
    done: list[LeftOut] = []
    for one in left_out:
        last = done[-1] if done else None
        if last is not None and one.start_s - last.end_s < WORD_GAP_S:
            whys = {last.why, one.why}
            if TALKING in whys and whys <= {TALKING, STRAY, KNOCK}:
                done[-1] = LeftOut(last.start_s, max(last.end_s, one.end_s), TALKING)
                continue
        done.append(one)
    return tuple(done)


def _tuning_up(notes: list[RawNote], reasons: list[str]) -> list[int]:
    """Notes of a slow opening stretch on few pitches a fourth, fifth or nothing apart."""
    opening: list[int] = []
    for i in range(len(notes)):
        if reasons[i]:
            if opening:
                break
            continue
        if opening and notes[i].onset_s - notes[opening[-1]].offset_s > REST_S:
            break
        opening.append(i)
    rest = [note for i, note in enumerate(notes) if not reasons[i] and i > (opening or [0])[-1]]
    if not 4 <= len(opening) <= 40 or len(rest) < max(8, 1.2 * len(opening)):
        return []
    gaps = np.diff([notes[i].onset_s for i in opening])
    usual_s = float(np.median(np.diff([note.onset_s for note in rest])))
    steps = np.abs(np.diff([notes[i].midi for i in opening]))
    open_strings = (steps < 0.7) | ((steps > 3.5) & (steps < 7.6))
    slow = float(np.median(gaps)) > 1.5 * usual_s
    return opening if slow and open_strings.mean() > 0.85 else []


def _strays(notes: list[RawNote], reasons: list[str]) -> list[int]:
    """One or two notes with a long rest on both sides (or on one, at an end)."""
    kept = [i for i in range(len(notes)) if not reasons[i]]
    groups: list[list[int]] = []
    for i in kept:
        if groups and notes[i].onset_s - notes[groups[-1][-1]].offset_s <= FAR_S:
            groups[-1].append(i)
        else:
            groups.append([i])
    longest = max((len(group) for group in groups), default=0)
    return [i for group in groups if len(group) <= FEW and longest >= 8 for i in group]


def _stretches(notes: list[RawNote], reasons: list[str]) -> list[LeftOut]:
    """Neighbouring left-out notes with one reason as one stretch."""
    found: list[LeftOut] = []
    for i, (note, reason) in enumerate(zip(notes, reasons, strict=True)):
        if not reason:
            continue
        if i and reasons[i - 1] == reason and note.onset_s - found[-1].end_s < 2.0:
            found[-1] = LeftOut(found[-1].start_s, round(note.offset_s, 3), reason)
        else:
            found.append(LeftOut(round(note.onset_s, 3), round(note.offset_s, 3), reason))
    return found


def _noises(
    notes: list[RawNote], is_tune: np.ndarray, events: Events, audio: Audio
) -> list[LeftOut]:
    """Sound without notes where the tune rests for long."""
    kept = [note for note, mine in zip(notes, is_tune, strict=True) if mine]
    if not kept:
        return []
    end_s = len(events.level_db) * events.hop_s
    tune_db = _level(kept, events)
    floor_db = max(events.noise_db + 12.0, tune_db - 22.0)
    others = [note for note, mine in zip(notes, is_tune, strict=True) if not mine]
    found: list[LeftOut] = []
    bounds = [0.0, *(t for note in kept for t in (note.onset_s, note.offset_s)), end_s]
    for start_s, stop_s in zip(bounds[::2], bounds[1::2], strict=True):
        edge = start_s == 0.0 or stop_s == end_s
        if stop_s - start_s < (0.3 if edge else FAR_S):
            continue
        bursts = _bursts(start_s, stop_s, floor_db, events, after_note=start_s > 0.0)
        bursts = [one for one in bursts if not any(_overlap(one, other) for other in others)]
        found += _named(bursts, audio, after_tune=stop_s == end_s and _soon(bursts, start_s))
    return found


def _level(notes: list[RawNote], events: Events) -> float:
    middles = [round((note.onset_s + note.offset_s) / 2 / events.hop_s) for note in notes]
    return float(np.median(events.level_db[np.clip(middles, 0, len(events.level_db) - 1)]))


def _bursts(
    start_s: float, stop_s: float, floor_db: float, events: Events, *, after_note: bool
) -> list[tuple[float, float]]:
    """Times within a rest at which something sounds that is not the last note dying away."""
    first, last = round(start_s / events.hop_s), round((stop_s - 0.06) / events.hop_s)
    level = events.level_db[first:last]
    if len(level) < 5:
        return []
    if after_note:  # what has only fallen since the note ended is its tail
        tail = np.minimum.accumulate(level) + 9.0
        loud = (level > floor_db) & (level > tail)
    else:
        loud = level > floor_db
    edges = np.flatnonzero(np.diff(np.concatenate(([False], loud, [False])).astype(int)))
    spans = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    merged: list[tuple[float, float]] = []
    for a, b in spans:
        begin_s = start_s + float(a) * events.hop_s
        finish_s = start_s + float(b) * events.hop_s
        if merged and begin_s - merged[-1][1] < 0.15:
            merged[-1] = (merged[-1][0], finish_s)
        else:
            merged.append((begin_s, finish_s))
    return [one for one in merged if one[1] - one[0] >= 0.02]


def _overlap(burst: tuple[float, float], note: RawNote) -> bool:
    return burst[0] < note.offset_s + 0.6 and note.onset_s - 0.6 < burst[1]


def _soon(bursts: list[tuple[float, float]], end_s: float) -> bool:
    """Whether the first burst follows close upon a note that ended at `end_s`."""
    return bool(bursts) and bursts[0][0] - end_s < SOON_S


def _is_chord(audio: Audio, start_s: float, end_s: float) -> bool:
    """Loudest at once and dying away, with most power between 70 Hz and 4 kHz in sharp peaks."""
    first, last = round(start_s * audio.sample_rate), round(end_s * audio.sample_rate)
    part = audio.samples[first:last]
    quarters = [float(np.mean(one**2)) for one in np.array_split(part, 4)]
    if not quarters[0] > 1.5 * max(quarters[2:]):
        return False
    part = part[:16384]
    power = np.abs(np.fft.rfft(part * np.hanning(len(part)), 16384)) ** 2
    hz = np.arange(len(power)) * audio.sample_rate / 16384
    power = np.sort(power[(hz > 70) & (hz < 4000)])
    return bool(power[-60:].sum() > 0.6 * power.sum())


def _named(bursts: list[tuple[float, float]], audio: Audio, *, after_tune: bool) -> list[LeftOut]:
    """Voiced: talking. Long: applause; several short ones in a row: tapping; else a cough."""
    if not bursts:
        return []
    voiced = np.array([periodic_share(audio, a, b) for a, b in bursts])
    lengths = np.array([b - a for a, b in bursts])
    if after_tune and lengths.argmax() == 0 and lengths[0] > 0.4 and _is_chord(audio, *bursts[0]):
        return [LeftOut(round(bursts[0][0], 3), round(bursts[-1][1], 3), CLOSING_CHORD)]
    if (
        lengths.max() > 0.15
        and lengths.sum() > 0.25
        and voiced @ lengths > VOICED_SHARE * lengths.sum()
    ):
        return [LeftOut(round(bursts[0][0], 3), round(bursts[-1][1], 3), TALKING)]
    short = [one for one in bursts if one[1] - one[0] < 0.3]
    gaps = [b[0] - a[1] for a, b in pairwise(bursts)]
    if len(bursts) >= 3 and len(short) == len(bursts) and max(gaps) < 1.5:
        return [LeftOut(round(bursts[0][0], 3), round(bursts[-1][1], 3), TAPPING)]
    return [
        LeftOut(round(a, 3), round(b, 3), APPLAUSE if b - a > 1.0 else KNOCK)
        for a, b in bursts
        if b - a >= 0.04
    ]
