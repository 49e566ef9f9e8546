"""Task: tell the tune types of one metre apart.

In: a Timeline. Out: log probabilities of the types written in its metre.
Method: the sum of note probabilities tells metres and bar lines apart but is too sure of itself
    about types, because tunes of one type differ from each other more than their notes do. So the
    type is told from a short description of the whole tune (tempo, swing, shares of note
    lengths and of beat patterns, mean log probability under the priors of each type) by a
    multinomial logistic regression trained on performed tunes (models/rhythm/train.py).
"""

from __future__ import annotations

from functools import cache

import numpy as np

import models
from pipeline.notate.phase import dense
from pipeline.notate.rows import QUAVER, Row, rows
from pipeline.tune import TuneType

LENGTHS = (3, 6, 4, 8, 12, 16, 18, 24, 36, 48)


@cache
def rows_of(meter: str) -> tuple[Row, ...]:
    """The rows of a metre in their order."""
    return tuple(row for row in rows() if row.meter == meter)


def describe(ticks: np.ndarray, tick_s: np.ndarray, ratio: float, row: Row) -> np.ndarray:
    """The description of a reading.

    ticks : score positions, bar lines at multiples of the bar. tick_s : local tempo in seconds
    per tick, same shape. ratio : swing.
    """
    bar, beat = row.bar_ticks, row.swing_ticks
    steps = np.diff(ticks)
    quaver = float(np.log(np.median(tick_s) * QUAVER))
    shares = [(steps == length).mean() for length in LENGTHS] + [(steps > 48).mean()]
    beats = np.bincount(((ticks - ticks[0] // bar * bar) // beat).astype(int))
    onsets = [(beats == count).mean() for count in range(4)] + [(beats > 3).mean()]
    on_beat = ticks[:-1] % beat == 0
    after = np.append(steps[1:], 0)
    dotted = (on_beat & (steps == 18) & (after == 6)).mean()
    snap = (on_beat & (steps == 6) & (after == 18)).mean()
    held = (steps[:-2] == 24) & (steps[1:-1] == 24) & (ticks[:-3] % bar == 0)
    clipped = np.minimum(steps, bar)
    likely = [dense(r)[0][ticks[:-1] % bar, clipped].mean() for r in rows_of(row.meter)]
    wobble = np.diff(np.log(tick_s[:: max(len(tick_s) // 40, 1)])).std()
    swing = np.log(ratio)
    return np.array(
        [
            quaver, (quaver + 1.6) ** 2, swing, swing**2, *shares, *onsets, 8 * dotted, 8 * snap,
            20 * held.mean(), *(np.array(likely) - np.mean(likely)), np.mean(likely), 10 * wobble,
        ]
    )  # fmt: skip


def log_kinds(
    ticks: np.ndarray, tick_s: np.ndarray, ratio: float, row: Row
) -> dict[TuneType, float]:
    """log P(type | description, metre)."""
    kinds = [r.tune_type for r in rows_of(row.meter)]
    if len(kinds) == 1:
        return {kinds[0]: 0.0}
    model = models.read_arrays("rhythm/kinds.npz")
    seen = (describe(ticks, tick_s, ratio, row) - model[f"{row.meter}|mean"]) / model[
        f"{row.meter}|spread"
    ]
    raw = model[f"{row.meter}|weights"] @ np.append(np.clip(seen, -4, 4), 1.0)
    raw -= raw.max()
    return dict(zip(kinds, (raw - np.log(np.exp(raw).sum())).tolist(), strict=True))
