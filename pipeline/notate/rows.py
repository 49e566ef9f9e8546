"""Task: the rhythm priors of a tune type in a metre ("row"), read from models/rhythm.

Positions and lengths are in ticks of 1/96 of a whole note: a quaver has 12, a semiquaver 6, a
triplet quaver 8. Swing is written out here as a bending of score time: of every pair of quavers
(semiquavers in 2/4), the first takes `ratio` times as long as the second; of three in compound
time the third keeps its length.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache

import numpy as np

import models
from pipeline.dances import dances
from pipeline.tune import TuneType

TICKS = 96
QUAVER = 12


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """Priors of one tune type in one metre; arrays as models/rhythm/make.py writes them."""

    tune_type: TuneType
    meter: str
    positions: np.ndarray
    """Positions in the bar where notes start, shape (P,)."""
    source: np.ndarray
    """Index of the position a move comes from, shape (P, K), by target position."""
    length: np.ndarray
    """Ticks that the move takes, shape (P, K)."""
    logp: np.ndarray
    """log P(move | source), shape (P, K); -inf where there is none."""
    start: np.ndarray
    """log P(a tune starts here), shape (P,)."""
    movement: np.ndarray
    """log ratio of pitch movement at a position to that anywhere, shape (P, M, M)."""

    @property
    def bar_ticks(self) -> int:
        """Ticks in a full bar."""
        return int(Fraction(self.meter) * TICKS)

    @property
    def compound(self) -> bool:
        """Whether beats are dotted: 6/8, 9/8, 12/8."""
        return self.meter.endswith("/8")

    @property
    def beat_ticks(self) -> int:
        """Ticks of the unit the foot taps."""
        if self.compound:
            return 36
        return int(dances()[self.tune_type].beat * TICKS)

    @property
    def swing_ticks(self) -> int:
        """Ticks of the pair (or three) that swing bends."""
        return 36 if self.compound else 24


@cache
def rows() -> tuple[Row, ...]:
    """Every row, in a fixed order."""
    arrays = models.read_arrays("rhythm/priors.npz")
    names = dict.fromkeys(tuple(key.split("|")[:2]) for key in arrays)
    fields = ("positions", "source", "length", "logp", "start", "movement")
    return tuple(
        Row(kind, meter, *(arrays[f"{kind}|{meter}|{name}"] for name in fields))  # type: ignore[arg-type]
        for kind, meter in names
    )


def bend(row: Row, ticks: np.ndarray, ratio: float) -> np.ndarray:
    """Score time as played: ticks bent by swing; whole groups keep their place."""
    group = row.swing_ticks
    whole, inside = np.divmod(ticks, group)
    long = 2 * ratio / (1 + ratio)
    knots = [0, 12, 24, 36] if row.compound else [0, 12, 24]
    heights = [0.0, 12 * long, 24.0, 36.0] if row.compound else [0.0, 12 * long, 24.0]
    even = ticks % 3 != 0  # triplets divide their group evenly whatever the swing
    return whole * group + np.where(even, inside, np.interp(inside, knots, heights))


def adapted(row: Row, ticks: np.ndarray, weight: float) -> Row:
    """The row with its moves drawn towards those of one performance.

    ticks : score positions, shape (n_notes,). weight : how many notes at a position the prior
    counts for.
    """
    bar = row.bar_ticks
    seen = np.zeros((bar, bar + 1))
    np.add.at(seen, (ticks[:-1] % bar, np.minimum(np.diff(ticks), bar)), 1.0)
    begin = row.positions[row.source]
    total = seen.sum(axis=1)[begin]
    with np.errstate(divide="ignore"):
        logp = np.log((np.exp(row.logp) * weight + seen[begin, row.length]) / (weight + total))
    logp = np.where(np.isfinite(row.logp), logp, -np.inf).astype(np.float32)
    return replace(row, logp=logp)
