"""What in a recording is not the tune.

Task   : find talking, counting in, tuning up, single stray sounds, applause, coughs and knocks.
In     : raw notes with what was measured inside them; level per frame.
Out    : which notes belong to the tune, and LeftOut stretches with a reason each.
Method : 1. Speech glides: inside a spoken syllable the pitch moves and wavers, a note stays. A
         logistic score per note (slope, spread, clarity, length; weights in models/hearing) goes
         through a two-state best path over all notes, tune or talk, where changing is cheap only
         at a rest. 2. Before the first rest, slow strokes on few open-string pitches are tuning
         up. 3. One or two notes far from everything else are strays. 4. Sound without notes
         before, after or in a long rest is noise, named by how long it lasts.
         In doubt a note stays: losing a bar of the tune is worse than a word too many.
References: speech against song by pitch stability: D. Gerhard, "Pitch-based acoustic feature
         analysis for the discrimination of speech and monophonic singing", 2002; best path:
         G. D. Forney, Proc. IEEE 61, 1973.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from models import read_json
from pipeline.hear.events import Events
from pipeline.hear.finepitch import NotePitch
from pipeline.hear.raw import RawNote
from pipeline.tune import LeftOut

REST_S = 0.45
FAR_S = 1.2
"""A stray is this far from the tune; noise in a rest needs a rest of this length."""
FEW = 2
TALKING = "talking or counting in"
TUNING_UP = "tuning up"
STRAY = "a single sound apart from the tune"
APPLAUSE = "applause or other noise"
KNOCK = "a cough, a knock or other noise"
TAPPING = "tapping or clapping"


@dataclass(frozen=True, slots=True)
class Sorted:
    """is_tune : bool, shape (n_notes,); left_out : stretches in order of time."""

    is_tune: np.ndarray
    left_out: tuple[LeftOut, ...]


def sort_out(notes: list[RawNote], measured: NotePitch, events: Events) -> Sorted:
    """Tell the tune from the rest. `measured` and `notes` in the same order of onset."""
    reasons: list[str] = ["" for _ in notes]
    if notes:
        for i in np.flatnonzero(_talking(notes, measured)).tolist():
            reasons[i] = TALKING
        for i in _tuning_up(notes, reasons):
            reasons[i] = TUNING_UP
        for i in _strays(notes, reasons):
            reasons[i] = STRAY
    is_tune = np.array([not reason for reason in reasons], dtype=bool)
    left_out = _stretches(notes, reasons) + _noises(notes, is_tune, events)
    return Sorted(is_tune, tuple(sorted(left_out, key=lambda one: one.start_s)))


def talk_scores(notes: list[RawNote], measured: NotePitch) -> np.ndarray:
    """Log odds of talk against tune per note, shape (n_notes,)."""
    weights = read_json("hearing/talk.json")["weights"]
    length_s = np.array([note.offset_s - note.onset_s for note in notes])
    return (
        weights["constant"]
        + weights["log_slope"] * np.log(np.abs(measured.slope_cents_per_s) + 40.0)
        + weights["log_spread"] * np.log(measured.spread_cents + 3.0)
        + weights["clarity"] * np.maximum(measured.clarity, 0.0)
        + weights["log_length"] * np.log(np.clip(length_s, 0.05, 0.6))
    )


def _talking(notes: list[RawNote], measured: NotePitch) -> np.ndarray:
    """Best path over tune (0) and talk (1); bool, shape (n_notes,)."""
    scores = np.clip(talk_scores(notes, measured) - 0.5, -2.0, 2.0)
    total = np.array([0.0, 1.0])
    came_from = np.zeros((len(notes), 2), dtype=int)
    for i, odds in enumerate(scores):
        if i:
            rest_s = notes[i].onset_s - notes[i - 1].offset_s
            change = 7.0 - 4.5 * min(max(rest_s, 0.0) / REST_S, 1.0)
            came_from[i] = (
                int(total[1] + change < total[0]),
                int(total[1] <= total[0] + change),
            )
            total = np.minimum(total, total[::-1] + change)
        total = total + np.array([max(odds, 0.0), max(-odds, 0.0)])
    path = np.zeros(len(notes), dtype=bool)
    state = int(np.argmin(total))
    for i in range(len(notes) - 1, -1, -1):
        path[i] = bool(state)
        state = int(came_from[i, state])
    return path


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


def _noises(notes: list[RawNote], is_tune: np.ndarray, events: Events) -> list[LeftOut]:
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
        found += _named(bursts)
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


def _named(bursts: list[tuple[float, float]]) -> list[LeftOut]:
    """Long: applause; several short ones in a row: tapping; else a cough or knock."""
    if not bursts:
        return []
    short = [one for one in bursts if one[1] - one[0] < 0.3]
    gaps = [b[0] - a[1] for a, b in pairwise(bursts)]
    if len(bursts) >= 3 and len(short) == len(bursts) and max(gaps) < 1.5:
        return [LeftOut(round(bursts[0][0], 3), round(bursts[-1][1], 3), TAPPING)]
    return [
        LeftOut(round(a, 3), round(b, 3), APPLAUSE if b - a > 1.0 else KNOCK)
        for a, b in bursts
        if b - a >= 0.04
    ]
