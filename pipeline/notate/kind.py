"""Task: tell the tune types apart that share a beat.

In: score positions, tempo and swing of a reading. Out: log probabilities of type and metre.
Method: the sum of note probabilities tells phases apart but is too sure of itself about types,
    because tunes of one type differ from each other more than their notes do. So type and metre
    are told from a short description of the whole tune (tempo, swing, shares of note lengths and
    of beat patterns, mean log probability under the priors of each type) by a multinomial
    logistic regression trained on performed tunes (models/rhythm/train.py). Metres whose bars
    hold the same beats (4/4 and 2/4; 6/8 and 12/8) are told apart in the same way.
"""

from __future__ import annotations

from functools import cache

import numpy as np

import models
from pipeline.notate.phase import dense
from pipeline.notate.rows import QUAVER, Row, rows

GROUPS = (("4/4", "2/4"), ("6/8", "12/8"), ("9/8",), ("3/4",))
LENGTHS = (3, 6, 4, 8, 12, 16, 18, 24, 36, 48)


@cache
def _model() -> dict[str, np.ndarray]:
    return models.read_arrays("rhythm/kinds.npz")


@cache
def group_of(meter: str) -> tuple[Row, ...]:
    """The rows of every metre with the beats of this one, in their order."""
    group = next(group for group in GROUPS if meter in group)
    return tuple(row for row in rows() if row.meter in group)


def describe(ticks: np.ndarray, tick_s: np.ndarray, ratio: float, meter: str) -> np.ndarray:
    """The description of a reading.

    ticks : score positions, bar lines at multiples of the bar. tick_s : local tempo in seconds
    per tick, same shape. ratio : swing.
    """
    group = group_of(meter)
    beat = group[0].swing_ticks
    steps = np.diff(ticks)
    quaver = float(np.log(np.median(tick_s) * QUAVER))
    shares = [(steps == length).mean() for length in LENGTHS] + [(steps > 48).mean()]
    beats = np.bincount((ticks // beat - ticks[0] // beat).astype(int))
    onsets = [(beats == count).mean() for count in range(4)] + [(beats > 3).mean()]
    on_beat = ticks[:-1] % beat == 0
    after = np.append(steps[1:], 0)
    dotted = (on_beat & (steps == 18) & (after == 6)).mean()
    snap = (on_beat & (steps == 6) & (after == 18)).mean()
    held = (steps[:-2] == 24) & (steps[1:-1] == 24) & (ticks[:-3] % (2 * beat) == 0)
    likely = [_likely(row, ticks, steps, beat) for row in group]
    wobble = np.diff(np.log(tick_s[:: max(len(tick_s) // 40, 1)])).std()
    swing = np.log(ratio)
    return np.array(
        [
            quaver, (quaver + 1.6) ** 2, swing, swing**2, *shares, *onsets, 8 * dotted, 8 * snap,
            20 * held.mean(), *(np.array(likely) - np.mean(likely)), np.mean(likely), 10 * wobble,
        ]
    )  # fmt: skip


def _likely(row: Row, ticks: np.ndarray, steps: np.ndarray, beat: int) -> float:
    """Mean log probability of the moves; the best bar line among the half bars."""
    bar = row.bar_ticks
    moves, clipped = dense(row)[0], np.minimum(steps, bar)
    halves = range(0, bar, 2 * beat) if bar % (2 * beat) == 0 else (0,)
    return max(float(moves[(ticks[:-1] + at) % bar, clipped].mean()) for at in halves)


def log_kinds(ticks: np.ndarray, tick_s: np.ndarray, ratio: float, meter: str) -> dict[Row, float]:
    """log P(type and metre | description) for the rows that share the metre's beats."""
    group = group_of(meter)
    name = group[0].meter
    model = _model()
    seen = describe(ticks, tick_s, ratio, meter) - model[f"{name}|mean"]
    scaled = np.clip(seen / model[f"{name}|spread"], -4, 4)
    raw = model[f"{name}|weights"] @ np.append(scaled, 1.0)
    raw -= raw.max()
    return dict(zip(group, (raw - np.log(np.exp(raw).sum())).tolist(), strict=True))
