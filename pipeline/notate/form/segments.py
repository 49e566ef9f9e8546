"""Task: find the form of a tune: which bars are passes of which part.

In: likeness of the full bars of a performance, shape (n_bars, n_bars), and the metre network's log
    odds that a part begins with each. Out: `find_form(...)`: Segments in the order performed, and
    the number of bars of one round.
Method: a round is a lag at which the whole performance repeats itself, or a usual number of bars.
    For each round and each manner of playing parts a best path over bars cuts it (rounds). Every
    such form is then judged as a whole: its parts and rounds by the shares of printed tunes, its
    passes by how likely they are passes of one part each (agreement), all measured against the one
    of them that is nearest to the others, so that what differs in the same way in every round is
    another part. A part begins where the network hears one begin, in the sum of all rounds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from liltwright.notate.form.agreement import EARLIEST, PLAYERS, Agreement, Habit
from liltwright.notate.form.rounds import PART_PRIOR, Plan, cuts

ROUNDS_TRIED, LATE_ROUNDS_TRIED = 4, 2  # lengths of a round, likeliest first
USUAL_ROUNDS = (32, 16, 24)
"""Bars in a round that are tried in any case: two, one or three parts of eight bars."""
LATE_START = -4.0  # log odds of a performance that begins inside the round
START_WEIGHT, START_MOST = 0.6, 4.0  # share of the network's log odds, and their bound
CODA = (0.0, -4.0, -1.5, -1.5, -4.3)
"""Log odds of an ending of so many bars; above that of a part of two bars heard once, -8.2."""
FEWEST_BARS = 8
"""Bars before an ending: a performance without a whole part has none."""
BROKEN_OFF = -8.0
"""For a last round that stops between its beginning and its end: players finish the tune."""
RETURN = -4.0
"""For a part that comes back later in the round, beside the repetition of the whole round."""
MIRRORS = 0.3  # log odds a bar from which on two parts are one
ONE_PART = -1.0
"""For a tune of one part of eight bars that is played again and again."""
PARTS, MORE = (-3.0, 0.0, -2.3, -3.4, -5.5, -6.0), -2.0
"""Log odds of one part in a round, two, three ...; of each beyond: by the printed tunes of the
training split."""


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
    played = (_played_by(player, alike, starts) for player in PLAYERS)
    return max(played, key=lambda form: form.score)


def _played_by(player: Habit, alike: np.ndarray, starts: np.ndarray) -> Form:
    """The best form if this is how the player plays."""
    agree = Agreement.of(alike, tuple(PART_PRIOR), player)
    begins = START_WEIGHT * np.clip(starts, -START_MOST, START_MOST)
    n = len(begins)
    best = _before_coda(agree, begins, 0)
    for coda in range(1, len(CODA) if n - len(CODA) >= FEWEST_BARS else 1):
        form = _before_coda(agree, begins[: n - coda], coda)
        again = agree.between(n - coda, 0, coda)
        score = form.score + CODA[coda] + max(again, 0.0)
        if score > best.score and form.score > 0:  # where nothing comes back no round is whole
            best = replace(form, score=score, coda=coda)
    return best


def _before_coda(agree: Agreement, begins: np.ndarray, coda: int) -> Form:
    """The best form of these bars; whole rounds where an ending follows them."""
    n = len(begins)
    lags = _round_lags(agree.sums[:, :n], n)
    best = max(
        (_form(agree, begins, lag, 0) for lag in lags if not (coda and n % lag)),
        key=lambda form: form.score,
    )
    for missing in range(1, min(EARLIEST + 1, n // 2)):
        tried = [one for one in (*lags[:-1][:LATE_ROUNDS_TRIED], n + missing)
                 if not (coda and (n + missing) % one)]  # fmt: skip
        late_begins = np.append(np.zeros(missing), begins)
        for lag in tried:
            late = _form(agree, late_begins, lag, missing)
            if late.score + LATE_START - 0.1 * missing > best.score:
                best = replace(late, score=late.score + LATE_START - 0.1 * missing)
    return best


def _form(agree: Agreement, begins: np.ndarray, lag: int, missing: int) -> Form:
    """The best form with this round; the first `missing` bars were not recorded."""
    n = len(begins)
    tried = [
        _planned(agree, said, plan, lag, n, missing)
        for said, plan in cuts(agree, _folded(begins, lag), n, missing)
    ]
    return max(tried, key=lambda form: form.score)


def _planned(agree: Agreement, said: float, plan: Plan, lag: int, n: int, missing: int) -> Form:
    """The form with this plan of a round; said : log odds of the plan by itself."""
    labels = _labels(plan, agree, missing)
    segments = _segments(plan, labels, lag, n, missing)
    many = len(plan)
    score = said + PARTS[min(many, len(PARTS)) - 1] + MORE * max(many - len(PARTS), 0)
    score += ONE_PART if sum(bars for bars, _ in plan) <= 8 and lag < n else 0.0
    score += RETURN * (many - len(set(labels))) + (BROKEN_OFF if n % lag > 1 else 0.0)
    score += sum(_kept(segments, label, agree) for label in set(labels))
    return Form(segments, lag, score)


def _kept(segments: tuple[Segment, ...], label: int, agree: Agreement) -> float:
    """Log odds that these are passes of one part: one of them is nearest to the page, and each of
    the others has changed something in it."""
    mine = [one for one in segments if one.label == label]
    if len(mine) < 2:
        return 0.0
    bars = max(one.bars + one.skipped + one.missing for one in mine)
    first = np.array([one.first - one.skipped for one in mine])
    low = np.array([one.skipped for one in mine])
    high = low + np.array([one.bars for one in mine])
    odds = agree.passes(
        first[:, None] + 0 * first, first + 0 * first[:, None],
        np.maximum(low[:, None], low), np.minimum(high[:, None], high), bars,
    )  # fmt: skip
    np.fill_diagonal(odds, 0.0)
    return float(odds.sum(axis=1).max())


def _round_lags(sums: np.ndarray, n: int) -> list[int]:
    """Promising numbers of bars in a round; n (once through) is among them."""
    lags = np.arange(n)
    total = sums[n] + np.where(lags % 8 == 0, 1.0, 0.0)
    good = [int(lag) for lag in np.argsort(-total) if lag >= 6 and total[lag] > 0][:ROUNDS_TRIED]
    good += [lag for lag in USUAL_ROUNDS if lag not in good and 2 * lag <= n + lag // 2]
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


def _labels(plan: Plan, agree: Agreement, missing: int) -> list[int]:
    """Parts that agree bar by bar have the same label."""
    starts: list[int] = []
    labels: list[int] = []
    at = 0
    for bars, times in plan:
        label = len(set(labels))
        for other, (other_bars, _) in enumerate(plan[: len(labels)]):
            alike = other_bars == bars and bars >= 4
            if (
                alike
                and agree.between(at - missing, starts[other] - missing, bars) > MIRRORS * bars
            ):
                label = labels[other]
                break
        starts.append(at)
        labels.append(label)
        at += bars * times
    return labels
