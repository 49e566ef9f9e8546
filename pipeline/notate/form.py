"""Task: find the form of a tune: which bars are passes of which part.

In: likeness of the full bars of a performance, shape (n_bars, n_bars), and the metre network's log
    odds that a part begins with each. Out: `find_form(...)`: Segments in the order performed, and
    the number of bars of one round.
Method: a round is a lag at which the whole performance repeats itself. Inside a round a best path
    over bars cuts it into parts of given length played once, twice or three times. A repeat must
    agree bar by bar as two performances of one page do, the last bar excepted (endings, pick-ups):
    bars that are merely related, as bars 1 and 5 of many tunes, count against it. A part begins
    where the network hears one begin, in the sum of all rounds. Parts like to have eight bars and
    a repeat, but any number is possible.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

EDGES = np.array([0.45, 0.62, 0.74, 0.86])
AGREES = np.array([-5.0, -3.0, -0.8, 0.5, 1.2])
"""Log odds that two bars are passes of one printed bar, by their likeness."""
ENDING_FLOOR = -0.6
SHORT = 4
"""Two halves of an eight-bar part often differ in their last bar alone: no second ending then."""
PART_PRIOR = {8: 0.0, 4: -3.0, 16: -3.0, 12: -4.0, 6: -5.0, 10: -5.5, 24: -5.5, 7: -6.5, 9: -6.5,
              5: -6.5, 14: -6.0, 20: -6.0, 3: -7.5, 2: -7.0, 11: -7.5, 13: -7.5, 15: -7.0,
              18: -6.5, 32: -7.0}  # fmt: skip
TIMES_PRIOR = {1: -1.2, 2: 0.0, 3: -4.5}
ROUNDS_TRIED, LATE_ROUNDS_TRIED = 4, 2
LATE_START = -4.0
START_WEIGHT, START_MOST = 0.6, 4.0
VARIED, VARIED_BARS = -1.0, 8
"""Least log odds a bar for a pass of a part of so many bars or more: players vary a whole pass."""
CODA = (0.0, -4.0, -1.5, -1.5, -4.3)
"""Log odds of an ending of so many bars; above that of a part of two bars heard once, -8.2."""
FEWEST_BARS = 8
"""Bars before an ending: a performance without a whole part has none."""
BROKEN_OFF = -6.0
"""For a last round that stops between its beginning and its end: players finish the tune."""
RETURN = -4.0
"""For a part that comes back later in the round, beside the repetition of the whole round."""
MIRRORS = 0.3


@dataclass(frozen=True, slots=True)
class Segment:
    """A pass of a part: bars first..first+bars-1 of the performance."""

    first: int
    bars: int
    label: int
    time: int
    """1 for the first time through a repeated part, 2 for the second."""
    part: int
    """Number of the printed part in the round."""
    skipped: int = 0
    """Bars of the part that are missing at its beginning."""
    missing: int = 0
    """Bars of the part that are missing at its end."""


@dataclass(frozen=True, slots=True)
class Form:
    """One reading of the form."""

    segments: tuple[Segment, ...]
    round_bars: int
    score: float
    coda: int = 0
    """Bars at the end of the performance that are no pass of any part."""


def find_form(alike: np.ndarray, starts: np.ndarray) -> Form:
    """The best form for bars with this likeness.

    starts : log odds that a pass of a part begins with each bar, shape (n_bars,).
    """
    odds = AGREES[np.searchsorted(EDGES, alike)]
    begins = START_WEIGHT * np.clip(starts, -START_MOST, START_MOST)
    n = len(odds)
    best = _before_coda(odds, begins, 0)
    for coda in range(1, len(CODA) if n - len(CODA) >= FEWEST_BARS else 1):
        form = _before_coda(odds[: n - coda, : n - coda], begins[: n - coda], coda)
        again = float(np.diagonal(odds[n - coda :, :coda]).sum())
        score = form.score + CODA[coda] + max(again, 0.0)
        if score > best.score and form.score > 0:  # where nothing comes back no round is whole
            best = replace(form, score=score, coda=coda)
    return best


def _before_coda(odds: np.ndarray, begins: np.ndarray, coda: int) -> Form:
    """The best form of these bars; whole rounds where an ending follows them."""
    n = len(odds)
    sums = _diagonal_sums(odds)
    lags = _round_lags(sums, n)
    best = max(
        (_form(odds, sums, begins, lag, 0) for lag in lags if not (coda and n % lag)),
        key=lambda form: form.score,
    )
    for missing in range(1, min(8, n // 2)):
        padded = np.zeros((n + missing, n + missing))
        padded[missing:, missing:] = odds
        late_sums, late_begins = _diagonal_sums(padded), np.append(np.zeros(missing), begins)
        for lag in (*lags[:-1][:LATE_ROUNDS_TRIED], n + missing):
            if coda and (n + missing) % lag:
                continue
            late = _form(padded, late_sums, late_begins, lag, missing)
            if late.score + LATE_START - 0.1 * missing > best.score:
                best = replace(late, score=late.score + LATE_START - 0.1 * missing)
    return best


def _form(odds: np.ndarray, sums: np.ndarray, begins: np.ndarray, lag: int, missing: int) -> Form:
    """The best form with this round; the first `missing` bars were not recorded."""
    n = len(odds)
    score, plan = _parts(odds, sums, _folded(begins, lag), PART_PRIOR)
    segments = _segments(plan, lag, odds, missing)
    score += _rounds(segments, lag, odds, missing)
    score += _returns(plan, odds) + (BROKEN_OFF if n % lag > 1 else 0.0)
    return Form(segments, lag, score)


def _rounds(segments: tuple[Segment, ...], lag: int, odds: np.ndarray, missing: int) -> float:
    """Log odds that the passes of the later rounds are those of the first, each by the earlier
    pass of its part that it is most like."""
    total = 0.0
    for at, one in enumerate(segments):
        if one.first + missing < lag:
            continue
        likest = -np.inf
        for other in segments[:at]:
            if other.label == one.label:
                likest = max(likest, _pass_odds(one, other, odds, missing))
        bars = one.bars + one.skipped + one.missing
        total += max(likest, VARIED * bars if bars >= VARIED_BARS else -np.inf)
    return total


def _pass_odds(one: Segment, other: Segment, odds: np.ndarray, missing: int) -> float:
    """Log odds that two passes are of one part; its last bar may be another ending."""
    low = max(one.skipped, other.skipped)
    high = min(one.skipped + one.bars, other.skipped + other.bars)
    span = np.arange(low, high)
    found = odds[
        one.first - one.skipped + missing + span, other.first - other.skipped + missing + span
    ]
    bars = one.bars + one.skipped + one.missing
    if high == bars > SHORT and len(span):
        return float(found[:-1].sum() + max(found[-1], ENDING_FLOOR))
    return float(found.sum())


def _diagonal_sums(odds: np.ndarray) -> np.ndarray:
    """sums[b, lag]: sum of odds[k, k - lag] for lag <= k < b, shape (n + 1, n)."""
    n = len(odds)
    sums = np.zeros((n + 1, n))
    for lag in range(1, n):
        sums[lag + 1 :, lag] = np.cumsum(np.diagonal(odds, -lag))
    return sums


def _round_lags(sums: np.ndarray, n: int) -> list[int]:
    """Promising numbers of bars in a round; n (once through) is among them."""
    lags = np.arange(n)
    total = sums[n] + np.where(lags % 8 == 0, 1.0, 0.0)
    good = [int(lag) for lag in np.argsort(-total) if lag >= 6 and total[lag] > 0][:ROUNDS_TRIED]
    return [*good, n]


def _folded(begins: np.ndarray, lag: int) -> np.ndarray:
    """Sum over the rounds, shape (bars in a round,)."""
    return np.bincount(np.arange(len(begins)) % lag, weights=begins)


def _parts(
    odds: np.ndarray, sums: np.ndarray, begins: np.ndarray, part_prior: dict[int, float]
) -> tuple[float, list[tuple[int, int]]]:
    """Best cut of one round into (bars, times through)."""
    size = len(begins)
    value = np.full(size + 1, -np.inf)
    value[0] = 0.0
    choice: list[tuple[int, int]] = [(0, 0)] * (size + 1)
    for at in range(size):
        if value[at] == -np.inf:
            continue
        for bars, prior in part_prior.items():
            for times, times_prior in TIMES_PRIOR.items():
                end = at + bars * times
                if end > size:
                    if times > 1 or size - at >= bars or size - at < 2:
                        break
                    end = size
                score = value[at] + prior + times_prior + (-2.0 if end - at < bars else 0.0)
                score += begins[at]
                for time in range(1, times):
                    score += _repeat_in_rounds(odds, sums, at + bars * time, bars, size)
                    score += begins[at + bars * time]
                if score > value[end]:
                    value[end] = score
                    choice[end] = (min(bars, end - at), times)
    plan: list[tuple[int, int]] = []
    at = size
    while at > 0:
        bars, times = choice[at] if choice[at][0] else (at, 1)  # no cut fits: all of it, once
        plan.append((bars, times))
        at -= bars * times
    return float(value[size]), plan[::-1]


def _repeat_in_rounds(
    odds: np.ndarray, sums: np.ndarray, first: int, bars: int, size: int
) -> float:
    """Log odds of a repeat in a round of `size` bars. Passes that are alike in a later round are
    a repeat, even where a player varied one of them in the first."""
    found = _repeat_odds(odds, sums, first, bars, bars)
    later = [
        _repeat_odds(odds, sums, one, bars, bars)
        for one in range(first + size, len(odds) - bars + 1, size)
    ]
    if bars < VARIED_BARS or not later:
        return found
    return max(found, max(later) + VARIED * bars / 2)


def _repeat_odds(odds: np.ndarray, sums: np.ndarray, first: int, bars: int, lag: int) -> float:
    """Log odds that bars first.. repeat those `lag` earlier; the last may be another ending."""
    last = float(odds[first + bars - 1, first + bars - 1 - lag])
    inside = float(sums[first + bars - 1, lag] - sums[first, lag]) if bars > 1 else 0.0
    found = inside + (max(last, ENDING_FLOOR) if bars > SHORT else last)
    return max(found, VARIED * bars) if bars >= VARIED_BARS else found


def _segments(
    plan: list[tuple[int, int]], lag: int, odds: np.ndarray, missing: int
) -> tuple[Segment, ...]:
    """Lay the plan over all rounds; bars are counted from the first that was recorded."""
    n = len(odds)
    labels = _labels(plan, odds)
    found: list[Segment] = []
    start = 0
    while start < n:
        first = start
        for part, (bars, times) in enumerate(plan):
            for time in range(1, times + 1):
                skipped, lost = max(missing - first, 0), max(first + bars - n, 0)
                if skipped + lost < bars:
                    kept = bars - skipped - lost
                    at = first + skipped - missing
                    found.append(Segment(at, kept, labels[part], time, part, skipped, lost))
                first += bars
        start += lag
    return tuple(found)


def _returns(plan: list[tuple[int, int]], odds: np.ndarray) -> float:
    """Log odds that parts that come back later in the round are played from the same bars."""
    total, at = 0.0, 0
    starts: dict[int, int] = {}
    for (bars, times), label in zip(plan, _labels(plan, odds), strict=True):
        first = starts.setdefault(label, at)
        if first < at:
            span = np.arange(bars)
            total += RETURN + max(float(odds[at + span, first + span].sum()), 0.0)
        at += bars * times
    return total


def _labels(plan: list[tuple[int, int]], odds: np.ndarray) -> list[int]:
    """Parts that agree bar by bar have the same label."""
    starts: list[int] = []
    labels: list[int] = []
    at = 0
    for bars, times in plan:
        label = len(set(labels))
        for other, (other_bars, _) in enumerate(plan[: len(labels)]):
            if other_bars == bars and bars >= 4:
                span = np.arange(bars)
                if odds[at + span, starts[other] + span].sum() > MIRRORS * bars:
                    label = labels[other]
                    break
        starts.append(at)
        labels.append(label)
        at += bars * times
    return labels
