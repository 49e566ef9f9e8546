"""A second opinion on notes repeated on one pitch: the level and the onset strength.

Task   : the network's belief in onsets -> the same, weighed anew where the pitch goes on.
In     : Evidence of our own network and the samples it is of, Events of the whole recording, where
         in it they begin.
Out    : Evidence; nothing but the belief in onsets is touched.
Method : singers repeat a note with hardly a break, and the network is in doubt. Where a peak of its
         belief is the highest far and wide and one pitch sounds on both sides, four things are
         put together by a logistic score: the belief, how far the level dips between two louder
         moments, how far the upper bands dip (a mouth that closes for m, n or l hums on below),
         and the onset strength. The score takes the place of the belief's log odds, at the peak
         and just beside it. Elsewhere the network is left alone: beside a true onset dips and
         strength would speak of that one.
References: logistic regression; the weights and how they were fitted: models/hearing/repeats.json
         and its card. Onset strength: see audio/events.py. Nasals have their energy below, and
         zeros above: G. Fant, "Acoustic Theory of Speech Production", 1960 (from memory).
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np

from liltwright.hear.audio import events as fine
from liltwright.hear.audio.events import Events
from liltwright.hear.ears.network import BINS_PER_SEMITONE, HOP, N_PITCHES, SAMPLE_RATE, Evidence
from liltwright.models import read_json

LEAST = 0.04  # no belief below this is a peak, as in decode
ALONE = 12
"""Frames on either side in which no other peak may be higher."""
NEXT_TO, SIDE = 3, 14
"""The pitch beside a peak is taken from so many frames before and after it to so many."""
MOST_SILENCE = 0.5  # of the frames of a side, or no pitch sounds there
SPREAD = 2
"""Frames on either side of a peak that are weighed anew with it."""

STEPS = HOP // fine.HOP
"""Frames of the events per frame of the network. What follows is in frames of the events."""
EVEN = np.ones(9) / 9.0  # a mean over 52 ms: single periods of a low voice are no dip
DIP_BEFORE, DIP_AFTER, BESIDE = 14, 12, 25
"""The dip is looked for around a peak, the louder moments on both sides of the dip."""
UPPER_HZ = tuple(800.0 * 12.5 ** (k / 9) for k in range(10))
"""Edges of the upper bands, 800 Hz to 10 kHz."""
UPPER_REACH, UPPER_NEAR, UPPER_FAR = 6, 10, 24
"""Their dip is looked for within the first of a peak, against the mean of the other two apart."""
SILENT = 1e-10  # power against full scale, -100 dB, so that silence has a logarithm
STRENGTH_REACH = 10  # frames, 58 ms: a consonant lies before or behind the belief
DEEPEST_DB, DEEPEST_UPPER_DB = 15.0, 25.0  # deeper dips say no more than these
DIP_UNIT_DB = 5.0  # so that the weights are of one size
STILL = 0.3  # added to the onset strength, whose logarithm is taken; inside notes it is 0.4 to 1
SUREST = 0.99  # of a belief, so that its log odds stay below five
MOST_MOVED, SURE = 3.0, 0.8
"""The log odds are moved by no more than the first, and not up beyond the second: of singers it is
right to hear the note, but not to be surer of it than the network ever is of such notes."""


def weighed_anew(
    beliefs: Evidence, samples: np.ndarray, events: Events, first: int = 0
) -> Evidence:
    """The evidence with the belief in onsets put right.

    samples : float32, shape (n,), what the evidence is of; first : their first frame in the events
    """
    peaks = repeat_peaks(beliefs)
    if not len(peaks):
        return beliefs
    weights = np.array(read_json("hearing/repeats.json")["weights"])
    found = features(beliefs.onset[peaks], peaks, samples, events, first)
    belief = found[:, 1]
    score = np.minimum(found @ weights, np.maximum(belief, SURE))
    moved = np.clip(score - belief, -MOST_MOVED, MOST_MOVED)
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


def features(
    belief: np.ndarray, peaks: np.ndarray, samples: np.ndarray, events: Events, first: int = 0
) -> np.ndarray:
    """Constant, log odds of the belief, dips of level and upper bands, strength; shape (n, 5).

    belief : in an onset at each peak, shape (n,); peaks : frames of the network, shape (n,)
    """
    places = (STEPS * peaks).tolist()
    dips = [_dip_db(events.level_db, first + at) for at in places]
    upper = [_upper_dip_db(samples, at) for at in places]
    strength = [_strength(events.strength, first + at) for at in places]
    return np.stack(
        (
            np.ones(len(places)),
            _log_odds(belief),
            np.minimum(dips, DEEPEST_DB) / DIP_UNIT_DB,
            np.clip(upper, -DIP_UNIT_DB, DEEPEST_UPPER_DB) / DIP_UNIT_DB,
            np.log(np.array(strength) + STILL),
        ),
        axis=1,
    )


@cache
def _upper_bands() -> np.ndarray:
    """Mean over the lines of each upper band, shape (lines, bands)."""
    edges = np.round(np.array(UPPER_HZ) * fine.WINDOW / SAMPLE_RATE).astype(int)
    weights = np.zeros((fine.WINDOW // 2 + 1, len(edges) - 1), dtype=np.float32)
    for band, (low, high) in enumerate(pairwise(edges.tolist())):
        weights[low:high, band] = 1.0 / ((high - low) * fine.WINDOW**2)
    return weights


def _upper_dip_db(samples: np.ndarray, place: int) -> float:
    """How far the upper bands fall near a place below the quieter of its two sides."""
    power = fine.powers(samples, place - UPPER_FAR, place + UPPER_FAR)
    level = (10 * np.log10(power @ _upper_bands() + SILENT)).mean(axis=1)
    middle = level[UPPER_FAR - UPPER_REACH : UPPER_FAR + UPPER_REACH + 1].min()
    before = level[: UPPER_FAR - UPPER_NEAR].mean()
    after = level[UPPER_FAR + UPPER_NEAR :].mean()
    return float(min(before, after) - middle)


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
