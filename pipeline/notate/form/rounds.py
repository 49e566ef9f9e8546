"""Task: cut one round of a performance into parts and their repeats.

In: Agreement of the bars, log odds that a part begins with each bar of the round, its length.
Out: `best_cut(...)`: its log odds and the parts in order as (bars, times through).
Method: a best path over bars; whatever the rounds of one performance have in common is computed
    once for all of them.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

ENDING_FLOOR = -0.6  # log odds that a last bar is the same, at least: it may be an ending
SHORT = 4
"""Two halves of an eight-bar part often differ in their last bar alone: no second ending then."""
# Log odds by bars of a part.
PART_PRIOR = {8: 0.0, 4: -3.0, 16: -3.0, 12: -4.0, 6: -5.0, 10: -5.5, 24: -5.5, 7: -6.5, 9: -6.5,
              5: -6.5, 14: -6.0, 20: -6.0, 3: -7.5, 2: -7.0, 11: -7.5, 13: -7.5, 15: -7.0,
              18: -6.5, 32: -7.0}  # fmt: skip
TIMES_PRIOR = {1: -1.2, 2: 0.0, 3: -4.5}  # log odds by times through
VARIED, VARIED_BARS = -1.0, 8
"""Least log odds a bar for a pass of a part of so many bars or more: players vary a whole pass."""

PHRASE, CHANGED = -5.0, -0.8
"""Log odds that a pass changes a phrase, and of each of its bars; the others must agree. Parts of
fewer than VARIED_BARS are not played so."""

Plan = list[tuple[int, int]]


@dataclass(frozen=True, slots=True)
class Agreement:
    """Log odds that bars are passes of one printed bar."""

    odds: np.ndarray
    """Shape (n_bars, n_bars)."""
    sums: np.ndarray
    """sums[b, lag]: sum of odds[k, k - lag] for lag <= k < b, shape (n_bars + 1, n_bars)."""
    repeats: dict[int, np.ndarray] = field(default_factory=dict)
    """By bars of a part: what `_repeats` found."""

    @staticmethod
    def of(odds: np.ndarray) -> Agreement:
        """With the sums along every diagonal."""
        n = len(odds)
        sums = np.zeros((n + 1, n))
        for lag in range(1, n):
            sums[lag + 1 :, lag] = np.cumsum(np.diagonal(odds, -lag))
        return Agreement(odds, sums)

    def until(self, n: int) -> Agreement:
        """That of the first n bars."""
        return Agreement(self.odds[:n, :n], self.sums[: n + 1, :n])

    def after(self, missing: int) -> Agreement:
        """That with so many bars put before the first, which agree with nothing."""
        n = len(self.odds)
        odds, sums = np.zeros((n + missing,) * 2), np.zeros((n + missing + 1, n + missing))
        odds[missing:, missing:] = self.odds
        sums[missing:, :n] = self.sums
        return Agreement(odds, sums)

    def between(self, first: int, other: int, bars: int) -> float:
        """Log odds that `bars` bars from `first` on are those from `other` on, in any order."""
        low, lag = max(first, other), abs(first - other)
        if lag == 0:
            return float(np.trace(self.odds[first : first + bars, first : first + bars]))
        return float(self.sums[low + bars, lag] - self.sums[low, lag])


def best_cut(agree: Agreement, begins: np.ndarray) -> tuple[float, Plan]:
    """The best cut of a round. begins : shape (bars in the round,)."""
    size = len(begins)
    tables = _tables(agree, begins)
    starts = begins.tolist()
    value = [-np.inf] * (size + 1)
    value[0] = 0.0
    choice: Plan = [(0, 0)] * (size + 1)
    for at in range(size):
        if value[at] == -np.inf:
            continue
        left = size - at
        for bars, prior, again in tables:
            score = value[at] + prior + starts[at]
            if bars > left:
                if left > 1 and score + TIMES_PRIOR[1] - 2.0 > value[size]:
                    value[size], choice[size] = score + TIMES_PRIOR[1] - 2.0, (left, 1)
                continue
            for times, times_prior in TIMES_PRIOR.items():
                end = at + bars * times
                if end > size:
                    break
                if times > 1:
                    score += again[end - bars]
                if score + times_prior > value[end]:
                    value[end], choice[end] = score + times_prior, (bars, times)
    plan: Plan = []
    at = size
    while at > 0:
        bars, times = choice[at] if choice[at][0] else (at, 1)  # no cut fits: all of it, once
        plan.append((bars, times))
        at -= bars * times
    return value[size], plan[::-1]


def _tables(agree: Agreement, begins: np.ndarray) -> list[tuple[int, float, list[float]]]:
    """Of every length of part: bars, prior, and by bar of the round the log odds that a repeat
    begins there. Passes that are alike in a later round are a repeat, even where a player varied
    one of them in the first."""
    size, n = len(begins), len(agree.odds)
    out: list[tuple[int, float, list[float]]] = []
    for bars, prior in PART_PRIOR.items():
        if 2 * bars > size:
            out.append((bars, prior, []))
            continue
        whole = agree.repeats.setdefault(bars, _repeats(agree, bars))
        found = whole[:size].copy()
        if bars >= VARIED_BARS:
            for first in range(size, n - bars + 1, size):
                later = whole[first : first + size]
                later = later[: max(n - bars + 1 - first, 0)] + VARIED * bars / 2
                found[: len(later)] = np.maximum(found[: len(later)], later)
        found += begins[: len(found)]
        out.append((bars, prior, found.tolist()))
    return out


def _repeats(agree: Agreement, bars: int) -> np.ndarray:
    """Log odds that the bars from each on repeat as many before, shape (n_bars,); the last of
    them may be another ending."""
    n = len(agree.odds)
    found = np.full(n, -np.inf)
    first = np.arange(bars, n - bars + 1)
    last = agree.odds[first + bars - 1, first - 1]
    last = np.maximum(last, ENDING_FLOOR) if bars > SHORT else last
    found[first] = agree.sums[first + bars - 1, bars] - agree.sums[first, bars] + last
    if bars >= VARIED_BARS:
        found[first] = np.maximum(found[first], VARIED * bars)
        same, changed = np.zeros(len(first)), np.full(len(first), -np.inf)
        for at in range(bars):
            odds = last if at == bars - 1 else agree.odds[first + at, first + at - bars]
            changed = np.maximum(changed, same + PHRASE) + CHANGED
            same = np.maximum(same + odds, changed)
        found[first] = np.maximum(found[first], same)
    return found


def phrases_odds(odds: list[float]) -> float:
    """Log odds of a pass whose bars have these, where it may change phrases."""
    same, changed = 0.0, -np.inf
    for one in odds:
        changed = max(changed, same + PHRASE) + CHANGED
        same = max(same + one, changed)
    return same
