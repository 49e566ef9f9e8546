"""Task: find the parts of a tune by its repetitions, and say how well a bar phase explains them.

In: a Timeline (its bar lines are a guess). Out: Structure: segments (first bar, bars, label) and
    a log score that is comparable between phases of the same performance.
Method: every bar is compared with every earlier bar, semiquaver by semiquaver. A hidden Markov
    model runs over the bars: each bar either repeats the bar a fixed lag before or is new, and
    stands at some place in its part. Changing the lag is cheap where a part begins and dear
    elsewhere, and parts like to have eight bars; so the boundaries fall where the repetitions
    change. Segments that repeat an earlier segment from its first bar share its label.
References: E. Nakamura & K. Yoshii, "Musical rhythm transcription based on Bayesian piece-specific
    score models capturing repetitions", arXiv 1908.06969 (repetition as evidence for metre).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.notate.rows import TICKS
from pipeline.notate.timeline import Timeline

SLOT = 6
SAME, CHANCE = 0.92, 0.22
LENGTHS = {8: 0.8, 4: 0.08, 16: 0.02, 12: 0.03, 6: 0.01, 10: 0.01, 9: 0.005, 7: 0.005, 14: 0.003}
LONG_BARS = {8: 0.45, 4: 0.45, 16: 0.01, 12: 0.02, 6: 0.02}
"""In 9/8 and 12/8 parts of four bars are as common as parts of eight."""
ODD_LENGTH = 0.0012
LONGEST = 20
LONGEST_LAG = 160
INSIDE_A_PART = -2.0
SWITCH_AT_START, SWITCH_INSIDE = 1.0, 5.0
ALIKE = 0.62


@dataclass(frozen=True, slots=True)
class Structure:
    """How well repetition explains a phase, and the bars it compares."""

    score: float
    alike: np.ndarray
    """Share of equal score time between bars, shape (n_bars, n_bars); bars from first_bar on."""
    pickup: int
    """1 when the first bar is incomplete, else 0."""


def bar_grid(line: Timeline) -> np.ndarray:
    """Sounding pitch in every semiquaver of every bar, shape (n_bars, slots); 0 before any."""
    bar = line.row.bar_ticks
    first = line.first_bar * bar
    count = line.last_bar - line.first_bar + 1
    ticks = first + np.arange(count * (bar // SLOT)) * SLOT + SLOT // 2
    at = np.searchsorted(line.ticks, ticks, side="right") - 1
    return np.where(at >= 0, line.midi[np.maximum(at, 0)], 0).reshape(count, bar // SLOT)


def likeness(grid: np.ndarray) -> np.ndarray:
    """Share of equal slots between every two bars."""
    return (grid[:, None, :] == grid[None, :, :]).mean(axis=2)


def find_structure(line: Timeline) -> Structure:
    """Segment the performance into passes of parts."""
    bar = line.row.bar_ticks
    grid = bar_grid(line)
    alike = likeness(grid)
    pickup = 1 if line.ticks[0] % bar else 0
    complete = len(alike) - pickup
    if complete < 2:
        return Structure(0.0, alike, pickup)
    inner = alike[pickup:, pickup:]
    weight = 0.7 * len(line.ticks) / len(alike)
    evidence = weight * (
        inner * np.log(SAME / CHANCE) + (1 - inner) * np.log((1 - SAME) / (1 - CHANCE))
    )
    score = _segment(evidence, LENGTHS if bar <= TICKS else LONG_BARS)
    return Structure(score, alike, pickup)


def _segment(evidence: np.ndarray, lengths: dict[int, float]) -> float:
    """Log score of the best path through the bars."""
    n = len(evidence)
    lags = min(n, LONGEST_LAG)
    # by_lag[b, lag]: evidence that bar b repeats bar b - lag; lag 0 is "new"
    by_lag = np.full((n, lags), -np.inf)
    by_lag[:, 0] = 0.0
    for lag in range(1, lags):
        by_lag[lag:, lag] = np.diagonal(evidence, -lag)
    ends = np.log([lengths.get(k, ODD_LENGTH) for k in range(1, LONGEST + 1)])[:, None]
    # value[place, lag]: best score with the bar at this place of its part
    value = np.full((LONGEST, lags), -np.inf)
    value[0] = by_lag[0] + np.where(np.arange(lags) == 0, 0.0, -SWITCH_AT_START)
    value[1:8, 0] = INSIDE_A_PART
    for b in range(1, n):
        closed = (value + ends).max(axis=0)
        moved = np.maximum(value[:-1], value[:-1].max(axis=1, keepdims=True) - SWITCH_INSIDE)
        value[1:] = moved + by_lag[b]
        value[0] = np.maximum(closed, closed.max() - SWITCH_AT_START) + by_lag[b]
    return float((value + np.maximum(ends, np.log(0.05))).max())
