"""Task: say how likely passages of a performance are passes of one printed part.

In: likeness of the bars of a performance, shape (n_bars, n_bars). Out: Agreement.
Method: from bar to bar two passes stay alike, change or stay changed (a chain with two states):
    players change phrases rather than single bars, and what comes after is as printed again. Its
    log odds are those of passes of one part against bars 4, 8, 12 ... bars away in other parts,
    from shares counted in performances of training tunes (models/readings/passes.py): of a free
    player as on real recordings; of a faithful one as written, where one bar in a hundred is
    allowed to be misread (a guess). The likelier player is taken. The last two bars of a part may
    be another ending.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

ALIKE = 0.62  # likeness, 0 to 1
EDGES = np.array([0.3, 0.45, ALIKE, 0.74, 0.86, 0.97])


@dataclass(frozen=True, slots=True)
class Habit:
    """Log odds of the passes of somebody who plays in this way."""

    alike: float
    """Of a first bar that is alike, and unlike."""
    unlike: float
    goes_on: float
    """Of a bar alike after one alike; of one unlike after that; of more; of one alike again."""
    changes: float
    stays_changed: float
    comes_back: float
    graded: tuple[float, ...]
    """Of a likeness between EDGES, beside whether it is above ALIKE."""


FAITHFUL = Habit(1.36, -4.3, 0.58, -4.3, -0.5, 1.1, (-1.2, 0.66, 1.65, -3.3, -1.06, -0.7, 0.48))
"""Log odds in the order of the record, of a faithful player; see Method."""
FREE = Habit(1.22, -1.66, 0.54, -2.31, -0.75, 1.3, (-1.2, 0.66, 1.65, -1.33, -0.5, -0.43, 0.35))
"""The same of a free one."""
PLAYERS = (FAITHFUL, FREE)
ENDING, ENDING_BARS, SHORT = -0.7, 2, 4
"""Least of the last bars, which may be another ending; not of parts as short as SHORT: two halves
of an eight-bar part often differ in their last bars alone."""
SINGLE_EDGES = np.array([0.45, 0.62, 0.74, 0.86])  # likeness, 0 to 1
SINGLE = np.array([-5.0, -3.0, -0.8, 0.5, 1.2])
"""Log odds of single bars by their likeness, where one looks for the length of a round."""
EARLIEST = 7
"""So many bars before the recording a pass may begin."""


@dataclass(frozen=True, slots=True)
class Agreement:
    """How the bars of a performance agree; arrays of shape (n_bars, n_bars)."""

    sums: np.ndarray
    """sums[b, lag]: log odds of the single bars k and k - lag for lag <= k < b; (n_bars + 1, n)."""
    first: np.ndarray
    """Log odds of a pair of bars with which two passes begin."""
    along: np.ndarray
    """Sum, down each diagonal, of the log odds of pairs that follow others."""
    forgiven: np.ndarray
    """What is added where a pair is among the last of a part."""
    repeats: dict[int, np.ndarray]
    """By bars of a part: log odds that the bars from -EARLIEST on, and from each after that, repeat
    as many before."""

    @staticmethod
    def of(likeness: np.ndarray, lengths: tuple[int, ...], player: Habit) -> Agreement:
        """Of bars with this likeness; lengths : of the parts that are tried."""
        n = len(likeness)
        single = SINGLE[np.searchsorted(SINGLE_EDGES, likeness)]
        sums = np.zeros((n + 1, n))
        for lag in range(1, n):
            sums[lag + 1 :, lag] = np.cumsum(np.diagonal(single, -lag))
        alike, graded = (
            likeness >= ALIKE,
            np.array(player.graded)[np.searchsorted(EDGES, likeness, side="right")],
        )
        first = np.where(alike, player.alike, player.unlike) + graded
        onward, along = np.zeros((n, n)), np.zeros((n, n))
        before, now = alike[:-1, :-1], alike[1:, 1:]
        onward[1:, 1:] = graded[1:, 1:] + np.where(
            before,
            np.where(now, player.goes_on, player.changes),
            np.where(now, player.comes_back, player.stays_changed),
        )
        for at in range(1, n):
            along[at, 1:] = along[at - 1, :-1] + onward[at, 1:]
        found = Agreement(sums, first, along, np.maximum(ENDING - onward, 0.0), {})
        for bars in lengths:
            starts = np.arange(-EARLIEST, n - bars + 1)
            found.repeats[bars] = found.passes(starts, starts - bars, 0, bars, bars)
        return found

    def passes(
        self,
        one: np.ndarray,
        other: np.ndarray,
        low: np.ndarray | int,
        high: np.ndarray | int,
        bars: int,
    ) -> np.ndarray:
        """Log odds that passes of a part of so many bars that begin with these bars are alike from
        its bar low up to high; bars before the recording tell nothing. Arrays of one shape."""
        low = np.maximum(low, np.maximum(-one, -other))
        known = high > low
        a, b = np.where(known, one + low, 0), np.where(known, other + low, 0)
        size = np.where(known, high - low - 1, 0)
        odds = self.first[a, b] + self.along[a + size, b + size] - self.along[a, b]
        if bars > SHORT:
            for at in range(bars - ENDING_BARS, bars):
                there = known & (at > low) & (at < high)
                odds += self.forgiven[np.where(there, one + at, 0), np.where(there, other + at, 0)]
        return np.where(known, odds, 0.0)

    def between(self, first: int, other: int, bars: int) -> float:
        """Log odds, bar by bar, that `bars` bars from `first` on are those from `other` on."""
        early = max(-first, -other, 0)
        low, lag = max(first, other) + early, abs(first - other)
        until = max(first, other) + bars
        return float(self.sums[until, lag] - self.sums[low, lag]) if until > low and lag else 0.0
