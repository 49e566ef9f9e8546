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

from liltwright.notate.form.rounds import (
    ENDING_FLOOR,
    SHORT,
    VARIED,
    VARIED_BARS,
    Agreement,
    Plan,
    best_cut,
    phrases_odds,
)

EDGES = np.array([0.45, 0.62, 0.74, 0.86])  # likeness, 0 to 1
AGREES = np.array([-5.0, -3.0, -0.8, 0.5, 1.2])
"""Log odds that two bars are passes of one printed bar, by their likeness."""
ROUNDS_TRIED, LATE_ROUNDS_TRIED = 4, 2  # lengths of a round, likeliest first
LATE_START = -4.0  # log odds of a performance that begins inside the round
START_WEIGHT, START_MOST = 0.6, 4.0  # share of the network's log odds, and their bound
CODA = (0.0, -4.0, -1.5, -1.5, -4.3)
"""Log odds of an ending of so many bars; above that of a part of two bars heard once, -8.2."""
FEWEST_BARS = 8
"""Bars before an ending: a performance without a whole part has none."""
BROKEN_OFF = -6.0
"""For a last round that stops between its beginning and its end: players finish the tune."""
RETURN = -4.0
"""For a part that comes back later in the round, beside the repetition of the whole round."""
MIRRORS = 0.3  # log odds a bar from which on two parts are one
ONE_PART = -4.0
"""For a tune of one part of eight bars that is played again and again."""
PARTS, MORE = (0.0, 0.0, -2.0, -4.0, -10.0), -6.0
"""Log odds of so many different parts in a round: two to four are usual; of each more than five."""


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
    agree = Agreement.of(AGREES[np.searchsorted(EDGES, alike)])
    begins = START_WEIGHT * np.clip(starts, -START_MOST, START_MOST)
    n = len(begins)
    best = _before_coda(agree, begins, 0)
    for coda in range(1, len(CODA) if n - len(CODA) >= FEWEST_BARS else 1):
        form = _before_coda(agree.until(n - coda), begins[: n - coda], coda)
        again = agree.between(n - coda, 0, coda)
        score = form.score + CODA[coda] + max(again, 0.0)
        if score > best.score and form.score > 0:  # where nothing comes back no round is whole
            best = replace(form, score=score, coda=coda)
    return best


def _before_coda(agree: Agreement, begins: np.ndarray, coda: int) -> Form:
    """The best form of these bars; whole rounds where an ending follows them."""
    n = len(begins)
    lags = _round_lags(agree.sums, n)
    best = max(
        (_form(agree, begins, lag, 0) for lag in lags if not (coda and n % lag)),
        key=lambda form: form.score,
    )
    for missing in range(1, min(8, n // 2)):
        tried = [one for one in (*lags[:-1][:LATE_ROUNDS_TRIED], n + missing)
                 if not (coda and (n + missing) % one)]  # fmt: skip
        late_agree = agree.after(missing)
        late_begins = np.append(np.zeros(missing), begins)
        for lag in tried:
            late = _form(late_agree, late_begins, lag, missing)
            if late.score + LATE_START - 0.1 * missing > best.score:
                best = replace(late, score=late.score + LATE_START - 0.1 * missing)
    return best


def _form(agree: Agreement, begins: np.ndarray, lag: int, missing: int) -> Form:
    """The best form with this round; the first `missing` bars were not recorded."""
    n = len(begins)
    score, plan = best_cut(agree, _folded(begins, lag))
    labels = _labels(plan, agree)
    segments = _segments(plan, labels, lag, n, missing)
    score += _rounds(segments, lag, agree, missing)
    score += PARTS[min(len(set(labels)), len(PARTS)) - 1] + MORE * max(len(set(labels)) - 5, 0)
    score += ONE_PART if sum(bars for bars, _ in plan) <= VARIED_BARS and lag < n else 0.0
    score += _returns(plan, labels, agree) + (BROKEN_OFF if n % lag > 1 else 0.0)
    return Form(segments, lag, score)


def _rounds(segments: tuple[Segment, ...], lag: int, agree: Agreement, missing: int) -> float:
    """Log odds that the passes of the later rounds are those of the first, each by the earlier
    pass of its part that it is most like."""
    total = 0.0
    for at, one in enumerate(segments):
        if one.first + missing < lag:
            continue
        likest = -np.inf
        for other in segments[:at]:
            if other.label == one.label:
                likest = max(likest, _pass_odds(one, other, agree, missing))
        bars = one.bars + one.skipped + one.missing
        total += max(likest, VARIED * bars if bars >= VARIED_BARS else -np.inf)
    return total


def _pass_odds(one: Segment, other: Segment, agree: Agreement, missing: int) -> float:
    """Log odds that two passes are of one part; its last bar may be another ending."""
    low = max(one.skipped, other.skipped)
    high = min(one.skipped + one.bars, other.skipped + other.bars)
    if high <= low:
        return 0.0
    mine, its = one.first - one.skipped + missing, other.first - other.skipped + missing
    bars = one.bars + one.skipped + one.missing
    span = np.arange(low, high)
    odds = agree.odds[mine + span, its + span].tolist()
    if high == bars > SHORT:
        odds[-1] = max(odds[-1], ENDING_FLOOR)
    return max(sum(odds), phrases_odds(odds)) if bars >= VARIED_BARS else float(sum(odds))


def _round_lags(sums: np.ndarray, n: int) -> list[int]:
    """Promising numbers of bars in a round; n (once through) is among them."""
    lags = np.arange(n)
    total = sums[n] + np.where(lags % 8 == 0, 1.0, 0.0)
    good = [int(lag) for lag in np.argsort(-total) if lag >= 6 and total[lag] > 0][:ROUNDS_TRIED]
    return [*good, n]


def _folded(begins: np.ndarray, lag: int) -> np.ndarray:
    """Sum over the rounds, shape (bars in a round,)."""
    return np.bincount(np.arange(len(begins)) % lag, weights=begins)


def _segments(plan: Plan, labels: list[int], lag: int, n: int, missing: int) -> tuple[Segment, ...]:
    """Lay the plan over all rounds; bars are counted from the first that was recorded."""
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


def _returns(plan: Plan, labels: list[int], agree: Agreement) -> float:
    """Log odds that parts that come back later in the round are played from the same bars."""
    total, at = 0.0, 0
    starts: dict[int, int] = {}
    for (bars, times), label in zip(plan, labels, strict=True):
        first = starts.setdefault(label, at)
        if first < at:
            total += RETURN + max(agree.between(at, first, bars), 0.0)
        at += bars * times
    return total


def _labels(plan: Plan, agree: Agreement) -> list[int]:
    """Parts that agree bar by bar have the same label."""
    starts: list[int] = []
    labels: list[int] = []
    at = 0
    for bars, times in plan:
        label = len(set(labels))
        for other, (other_bars, _) in enumerate(plan[: len(labels)]):
            alike = other_bars == bars and bars >= 4
            if alike and agree.between(at, starts[other], bars) > MIRRORS * bars:
                label = labels[other]
                break
        starts.append(at)
        labels.append(label)
        at += bars * times
    return labels
