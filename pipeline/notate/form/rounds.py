"""Task: cut one round of a performance into parts and their repeats.

In: Agreement of the bars, log odds that a part begins with each bar of the round, its length.
Out: `cuts(...)`: the best plan of a round for each manner of playing parts, with its log odds.
Method: a best path over bars, all manners at once: the parts of a tune are played twice each, or
    once each, or the short ones twice; a mixture is rare.
"""

from __future__ import annotations

import numpy as np

from liltwright.notate.form.agreement import EARLIEST, SHORT, Agreement

# Log odds by bars of a part.
PART_PRIOR = {8: 0.0, 4: -1.2, 16: -2.5, 12: -4.0, 6: -5.0, 10: -5.5, 24: -5.5, 7: -6.5, 9: -6.5,
              5: -6.5, 14: -6.0, 20: -6.0, 3: -7.5, 2: -7.0, 11: -7.5, 13: -7.5, 15: -7.0,
              18: -6.5, 32: -7.0}  # fmt: skip
MOST_TIMES, THRICE = 3, -4.5  # times through a part, and their log odds
MANNERS = ((2, 2, 0.0), (1, 1, -1.0), (2, 1, -0.3), (0, 0, -4.0))
"""Times through of parts of up to SHORT bars and of others, 0 any; log odds of playing so: of the
printed tunes of the training split 0.60, 0.24, 0.12 and 0.03."""
LEFT_OVER = -8.2
"""For a last part of any length, heard once."""

Plan = list[tuple[int, int]]
OPTIONS = sorted(
    ((bars, times) for bars in PART_PRIOR for times in range(1, MOST_TIMES + 1)),
    key=lambda option: option[0] * option[1],
)
SIZES = np.array([bars * times for bars, times in OPTIONS])
ALLOWED = np.array([
    [0.0 if wanted in (0, times) or (wanted == 2 and times == MOST_TIMES) else -np.inf
     for short, long, _ in MANNERS for wanted in [short if bars <= SHORT else long]]
    for bars, times in OPTIONS
])  # fmt: skip
ONCE = np.array([short != 2 or long != 2 for short, long, _ in MANNERS])


def cuts(agree: Agreement, begins: np.ndarray, n: int, missing: int) -> list[tuple[float, Plan]]:
    """The best cut of a round in each manner, with the log odds of the manner, of the lengths of
    its parts and of where they begin: of all but what is played.

    begins : shape (bars in the round,). n : bars of the performance, `missing` of them before it.
    """
    size = len(begins)
    score = _scores(agree, begins, n, missing)
    value = np.full((size + 1, len(MANNERS)), -np.inf)
    value[0] = 0.0
    choice = np.full((size + 1, len(MANNERS)), -1)
    fitting = np.searchsorted(SIZES, np.arange(size + 1), side="right")
    for end in range(int(SIZES[0]), size + 1):
        kept = slice(int(fitting[end]))
        reached = value[end - SIZES[kept]] + (score[end, kept, None] + ALLOWED[kept])
        choice[end] = reached.argmax(axis=0)
        value[end] = reached.max(axis=0)
    rest = value[: max(size - 1, 1)] + begins[: max(size - 1, 1), None] + LEFT_OVER
    found: list[tuple[float, Plan]] = []
    for which, (_, _, prior) in enumerate(MANNERS):
        at, plan = size, []
        from_here = int(rest[:, which].argmax())
        if ONCE[which] and rest[from_here, which] > value[size, which]:
            plan, at = [(size - from_here, 1)], from_here
        if value[at, which] == -np.inf:
            continue
        while at:
            plan.append(OPTIONS[choice[at, which]])
            at -= plan[-1][0] * plan[-1][1]
        plan.reverse()
        if all(plan != other for _, other in found):
            found.append((prior + _said(plan, begins), plan))
    return found


def _said(plan: Plan, begins: np.ndarray) -> float:
    """Log odds of the lengths of parts, of times through, of where passes begin."""
    total, at = 0.0, 0
    for bars, times in plan:
        total += PART_PRIOR.get(bars, LEFT_OVER) + (THRICE if times == MOST_TIMES else 0.0)
        total += float(begins[at : at + bars * times : bars].sum())
        at += bars * times
    return total


def _scores(agree: Agreement, begins: np.ndarray, n: int, missing: int) -> np.ndarray:
    """Log odds of every option that ends before each bar, shape (bars + 1, options)."""
    size = len(begins)
    out = np.full((size + 1, len(OPTIONS)), -np.inf)
    for row, (bars, times) in enumerate(OPTIONS):
        if bars * times > size:
            continue
        starts = np.arange(size - bars * times + 1)
        total = PART_PRIOR[bars] + begins[starts]
        if times > 1:
            again = _again(agree, bars, size, n, missing)
            for time in range(1, times):
                total = total + begins[starts + time * bars] + again[starts + time * bars]
        out[starts + bars * times, row] = total + (THRICE if times == MOST_TIMES else 0.0)
    return out


def _again(agree: Agreement, bars: int, size: int, n: int, missing: int) -> np.ndarray:
    """Log odds that a repeat begins with each bar of the round. Passes that are alike in a later
    round are a repeat, even where a player varied one of them in the first."""
    whole = agree.repeats[bars][EARLIEST - missing :][: n - bars + 1]
    found = whole[:size].copy()
    for first in range(size, len(whole), size):
        later = whole[first : first + size]
        found[: len(later)] = np.maximum(found[: len(later)], later)
    return found
