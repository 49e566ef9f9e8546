"""Task: a tune type in a metre: what follows for bars, beats and swing.

Positions and lengths are in ticks of 1/96 of a whole note: a quaver has 12, a semiquaver 6, a
triplet quaver 8. Swing is written out here as a bending of score time: of every pair of quavers,
the first takes `ratio` times as long as the second; of three in compound time the third keeps its
length.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from liltwright.dances import dances
from liltwright.tune import TuneType

TICKS = 96  # in a whole note: semiquaver triplets and dotted notes are whole numbers
QUAVER = 12  # ticks


@dataclass(frozen=True, slots=True)
class Kind:
    """A tune type in a metre."""

    tune_type: TuneType
    meter: str

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
        return 36 if self.compound else int(dances()[self.tune_type].beat * TICKS)

    @property
    def swing_ticks(self) -> int:
        """Ticks of the pair (or three) that swing bends."""
        return 36 if self.compound else 24


def bend(kind: Kind, ticks: np.ndarray, ratio: float) -> np.ndarray:
    """Score time as played: ticks bent by swing; whole groups keep their place."""
    group = kind.swing_ticks
    whole, inside = np.divmod(ticks, group)
    long = 2 * ratio / (1 + ratio)
    knots = [0, 12, 24, 36] if kind.compound else [0, 12, 24]
    heights = [0.0, 12 * long, 24.0, 36.0] if kind.compound else [0.0, 12 * long, 24.0]
    even = ticks % 3 != 0  # triplets divide their group evenly whatever the swing
    return whole * group + np.where(even, inside, np.interp(inside, knots, heights))
