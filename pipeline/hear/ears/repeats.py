"""A second opinion on notes repeated on one pitch: the level and the onset strength.

Task   : the network's belief in onsets -> the same, weighed anew where the pitch goes on.
In     : Evidence of our own network, Events of the recording, where in it the evidence begins.
Out    : Evidence; nothing but the belief in onsets is touched.
Method : singers repeat a note with hardly a break, and the network is in doubt. Where a peak of its
         belief is the highest far and wide and one pitch sounds on both sides, three things are
         put together by a logistic score: the belief, how far the level dips between two louder
         moments, and the onset strength. The score takes the place of the belief's log odds, at
         the peak and just beside it. Elsewhere the network is left alone: beside a true onset
         dip and strength would speak of that one.
References: logistic regression; the weights and how they were fitted: models/hearing/repeats.json
         and its card. Onset strength: see audio/events.py.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liltwright.hear.audio import events as fine
from liltwright.hear.audio.events import Events
from liltwright.hear.ears.network import BINS_PER_SEMITONE, HOP, N_PITCHES, Evidence
from liltwright.models import read_json

LEAST = 0.04
"""No belief below this is a peak."""
ALONE = 12
"""Frames on either side in which no other peak may be higher."""
NEXT_TO, SIDE = 3, 14
"""The pitch beside a peak is taken from so many frames before and after it to so many."""
MOST_SILENCE = 0.5
SPREAD = 2
"""Frames on either side of a peak that are weighed anew with it."""

STEPS = HOP // fine.HOP
"""Frames of the events per frame of the network. What follows is in frames of the events."""
EVEN = np.ones(9) / 9.0
DIP_BEFORE, DIP_AFTER, BESIDE = 14, 12, 25
"""The dip is looked for around a peak, the louder moments on both sides of the dip."""
STRENGTH_REACH = 10
DEEPEST_DB, DIP_UNIT_DB = 15.0, 5.0
STILL = 0.3
"""Added to the onset strength, whose logarithm is taken."""
SUREST = 0.99
MOST_MOVED = 3.0
"""The log odds are moved by no more than this."""


def weighed_anew(beliefs: Evidence, events: Events, first: int = 0) -> Evidence:
    """The evidence with the belief in onsets put right; `first`: its first frame in the events."""
    peaks = repeat_peaks(beliefs)
    if not len(peaks):
        return beliefs
    weights = np.array(read_json("hearing/repeats.json")["weights"])
    found = features(beliefs.onset[peaks], events, first + STEPS * peaks)
    moved = np.clip(found @ weights - found[:, 1], -MOST_MOVED, MOST_MOVED)
    onset = beliefs.onset.copy()
    for peak, shift in zip(peaks.tolist(), moved.tolist(), strict=True):
        near = slice(max(peak - SPREAD, 0), peak + SPREAD + 1)
        onset[near] = 1.0 / (1.0 + np.exp(-_log_odds(beliefs.onset[near]) - shift))
    return replace(beliefs, onset=onset)


def repeat_peaks(beliefs: Evidence) -> np.ndarray:
    """Frames at which a note may be repeated: lone peaks with one pitch on both sides."""
    onset = beliefs.onset
    padded = np.pad(onset, ALONE)
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * ALONE + 1).max(axis=1)
    best = beliefs.pitch.argmax(axis=1)
    lone = np.flatnonzero((onset >= LEAST) & (onset >= around))
    return np.array([peak for peak in lone.tolist() if _goes_on(best, peak)], dtype=int)


def _goes_on(best: np.ndarray, peak: int) -> bool:
    """Whether one pitch is the most probable before and after a frame; `best` class per frame."""
    before = best[max(peak - SIDE, 0) : max(peak - NEXT_TO, 0)]
    after = best[peak + NEXT_TO + 1 : peak + SIDE + 1]
    if min(len(before), len(after)) <= NEXT_TO:
        return False
    middles = []
    for side in (before, after):
        sounding = side[side < N_PITCHES]
        if len(sounding) < (1 - MOST_SILENCE) * len(side):
            return False
        middles.append(float(np.median(sounding)))
    return abs(middles[1] - middles[0]) <= BINS_PER_SEMITONE


def features(belief: np.ndarray, events: Events, places: np.ndarray) -> np.ndarray:
    """Constant, log odds of the belief, dip of the level, onset strength; shape (n, 4).

    belief : in an onset at each place, shape (n,); places : in frames of the events, shape (n,)
    """
    rows = [(_dip_db(events.level_db, at), _strength(events.strength, at)) for at in places]
    dip_db, strength = np.array(rows).reshape(-1, 2).T
    return np.stack(
        (
            np.ones(len(belief)),
            _log_odds(belief),
            np.minimum(dip_db, DEEPEST_DB) / DIP_UNIT_DB,
            np.log(strength + STILL),
        ),
        axis=1,
    )


def _dip_db(level_db: np.ndarray, place: int) -> float:
    """How far the level falls near a place below the quieter of its two sides."""
    margin = BESIDE + len(EVEN) // 2
    around = np.arange(place - DIP_BEFORE - margin, place + DIP_AFTER + margin)
    level = np.convolve(level_db[np.clip(around, 0, len(level_db) - 1)], EVEN, "valid")
    lowest = BESIDE + int(level[BESIDE : BESIDE + DIP_BEFORE + DIP_AFTER].argmin())
    before = level[lowest - BESIDE : lowest + 1].max()
    after = level[lowest : lowest + BESIDE].max()
    return float(min(before, after) - level[lowest])


def _strength(strength: np.ndarray, place: int) -> float:
    """The greatest onset strength near a place, 0 outside the recording."""
    near = strength[max(place - STRENGTH_REACH, 0) : max(place + STRENGTH_REACH, 0)]
    return float(near.max(initial=0.0))


def _log_odds(belief: np.ndarray) -> np.ndarray:
    kept = np.clip(belief.astype(float), 1 - SUREST, SUREST)
    return np.asarray(np.log(kept / (1 - kept)))
