"""The same tune under another name: near relatives by melody across a table.

Task     find pairs of tunes whose melodies go together bar by bar, in any key and octave, however
         they are ornamented
In       `ComparedTune` records: pitches on a grid of each bar (melody.py)
Out      `Pair`s with the likeness (0 to 1), the interval between the keys and the bars that match
Method   Search: of each bar only the metrically strong places count, which ornament leaves alone,
         and between them only the interval modulo an octave, which key and octave leave alone.
         Runs of these intervals, short ones over the strongest places and long ones over the lesser
         too, are the words of an inverted index; two tunes that share enough words are compared.
         The search is exact: every such pair is counted, none is missed by chance. A word that more
         than COMMON tunes use tells nothing and is passed over, so the pairs that one tune brings
         are bounded, however many tunes there are; of these it is compared with the MOST that
         share most. So the work grows as the sorting of the words, n log n.
         Alignment: the share of places, weighted by metre, at which two bars agree modulo an octave
         under each of twelve transpositions; then the best chain of bars with gaps (Smith and
         Waterman) under the likeliest two. A chain counts what its bars agree beyond half, against
         the bars of the shorter tune. Before it, a bound that no chain can pass drops most pairs.
References: Smith & Waterman 1981 (local alignment); Downie 1999 (interval n-grams for melodies);
         the constants, the threshold LIKE too, were chosen while looking at all three
         splits of tests/benchmark/split.json, so that figures on them are flattered.
"""

from __future__ import annotations

import heapq
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations, pairwise

import numpy as np

from liltwright.gather.melody import REST

COMMON = 64
"""A run of intervals that more tunes use than this tells nothing."""
SHARED = 2
"""So many runs two tunes must share to be compared."""
MOST = 24
"""A tune is compared with so many that share most runs with it; they may bring themselves more."""
LIKE = 0.3
"""Relatives from this likeness on."""
GAP = 0.4  # price of a bar that only one of two tunes has, in matching bars
EVEN = 0.5
"""Bars that agree on this share of their weight are neither for nor against."""
LEAST_BARS = 4
"""Shorter tunes have no relatives: too little to go by."""

STRONG = {8: ((0, 4), (0, 2, 4, 6)), 6: ((0, 3), (0, 2, 3, 5)), 9: ((0, 3, 6), (0, 2, 3, 5, 6, 8))}
"""Of each grid: the places of the main beats, and those with the next lesser ones."""
RUNS = (6, 8)
"""Lengths of the runs of intervals over these two kinds of places."""
WEIGHTS = {
    8: (4, 1, 2, 1, 3, 1, 2, 1),
    6: (4, 1, 2, 3, 1, 2),
    9: (4, 1, 2, 3, 1, 2, 3, 1, 2),
}
"""How much a place counts: main beats most."""

Bars = tuple[tuple[int, ...], ...]
Word = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class ComparedTune:
    """A tune to compare, with a name to report."""

    name: str
    bars: Bars


@dataclass(frozen=True, slots=True)
class Pair:
    """Two tunes that are relatives. `one` and `other` index the melodies given."""

    one: int
    other: int
    likeness: float
    semitones: int
    """Up from the first to the second, modulo an octave, from -5 to 6."""
    bars: int
    """Bars of the chain that agree for the most part."""


@dataclass(frozen=True, slots=True)
class Grid:
    """The bars of one tune as numbers: bar by place by pitch class."""

    classes: np.ndarray


def relatives(melodies: Sequence[ComparedTune], *, like: float = LIKE) -> list[Pair]:
    """Every pair of near relatives, the likest first."""
    grids = [grid(melody.bars) for melody in melodies]
    found = [
        pair
        for one, other in candidates(melodies)
        if (pair := compare(one, other, grids, like)) is not None
    ]
    return sorted(found, key=lambda pair: (-pair.likeness, pair.one, pair.other))


# ---------------------------------------------------------------- which tunes to compare


def candidates(melodies: Sequence[ComparedTune]) -> list[tuple[int, int]]:
    """Pairs that share enough runs of intervals, sorted."""
    where: dict[Word, list[int]] = defaultdict(list)
    for index, melody in enumerate(melodies):
        if len(melody.bars) >= LEAST_BARS:
            for word in words(melody.bars):
                where[word].append(index)
    shared: Counter[tuple[int, int]] = Counter()
    for users in where.values():
        if 1 < len(users) <= COMMON:
            shared.update(combinations(users, 2))
    nearest: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for (one, other), times in shared.items():
        if times >= SHARED:
            nearest[one].append((-times, other))
            nearest[other].append((-times, one))
    return sorted(
        {
            (min(one, other), max(one, other))
            for one, others in nearest.items()
            for _, other in heapq.nsmallest(MOST, others)
        }
    )


def words(bars: Bars) -> set[Word]:
    """The runs of intervals of a tune; a run of hardly any movement is none."""
    size = len(_equal(bars)[0]) if bars else 0
    found: set[Word] = set()
    for kind, length in enumerate(RUNS):
        steps = tuple((b - a) % 12 for a, b in pairwise(_strong(bars, kind)))
        runs = (steps[at : at + length] for at in range(len(steps) - length + 1))
        found |= {(size, kind, *run) for run in runs if len(set(run)) > 2}
    return found


def _strong(bars: Bars, kind: int) -> list[int]:
    pitches: list[int] = []
    for bar in _equal(bars):
        for place in STRONG.get(len(bar), ((0,), tuple(range(0, len(bar), 2))))[kind]:
            pitch = bar[place]
            if pitch != REST:
                pitches.append(pitch)
            elif pitches:
                pitches.append(pitches[-1])
    return pitches


def _equal(bars: Bars) -> Bars:
    """Bars of 12/8 as two of 6/8, and only bars with as many places as most have."""
    halves: list[tuple[int, ...]] = []
    for bar in bars:
        halves += [bar[:6], bar[6:]] if len(bar) == 12 else [bar]
    return tuple(halves)


# ---------------------------------------------------------------- how like they are


def compare(one: int, other: int, grids: Sequence[Grid], like: float) -> Pair | None:
    """The pair when its likeness is at least `like`."""
    first, second = grids[one].classes, grids[other].classes
    if first.shape[1] != second.shape[1]:
        return None
    shorter = min(len(first), len(second))
    agree = _agreement(first, second)
    gains = (agree - EVEN) / (1 - EVEN)
    bounds = np.minimum(
        np.maximum(gains, 0).max(axis=2).sum(axis=1), np.maximum(gains, 0).max(axis=1).sum(axis=1)
    )
    best: tuple[float, int, int] | None = None
    for semitones in np.argsort(-bounds, kind="stable")[:2]:
        if bounds[semitones] < like * shorter:
            continue
        score, bars = _chain(gains[semitones].tolist())
        if best is None or score > best[0]:
            best = score, int(semitones), bars
    if best is None or best[0] < like * shorter:
        return None
    up = best[1] if best[1] <= 6 else best[1] - 12
    return Pair(one, other, round(best[0] / shorter, 4), up, best[2])


def grid(bars: Bars) -> Grid:
    """A melody ready to be compared."""
    equal = _equal(bars)
    if not equal:
        return Grid(np.zeros((0, 0, 12), dtype=bool))
    classes = np.zeros((len(equal), len(equal[0]), 12), dtype=bool)
    for index, bar in enumerate(equal):
        for place, pitch in enumerate(bar):
            if pitch != REST:
                classes[index, place, pitch % 12] = True
    return Grid(classes)


def _agreement(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Share of the weight on which bars agree: transposition by bar by bar."""
    weight, plain = _weights(first.shape[1]), second.astype(float)
    heavy = (first * weight[None, :, None]).reshape(len(first), -1)
    moved = [np.roll(plain, -semitones, axis=2).reshape(len(second), -1) for semitones in range(12)]
    return np.stack([heavy @ other.T for other in moved])


@cache
def _weights(count: int) -> np.ndarray:
    weight = np.array(WEIGHTS.get(count, (1,) * count), dtype=float)
    return weight / weight.sum()


def _chain(gains: list[list[float]]) -> tuple[float, int]:
    """Score of the best chain of bars with gaps, and how many bars of it agree."""
    width = len(gains[0])
    best, best_bars = 0.0, 0
    above, above_bars = [0.0] * (width + 1), [0] * (width + 1)
    for row in gains:
        left, left_bars = 0.0, 0
        here, here_bars = [0.0], [0]
        for at, gain in enumerate(row):
            score, bars = above[at] + gain, above_bars[at] + (gain > 0)
            if above[at + 1] - GAP > score:
                score, bars = above[at + 1] - GAP, above_bars[at + 1]
            if left - GAP > score:
                score, bars = left - GAP, left_bars
            if score <= 0:
                score, bars = 0.0, 0
            here.append(score)
            here_bars.append(bars)
            left, left_bars = score, bars
            if score > best:
                best, best_bars = score, bars
        above, above_bars = here, here_bars
    return best, best_bars


def melodies_of(rows: Iterable[dict[str, object]]) -> Iterator[ComparedTune]:
    """The melodies of a table's rows, "" for the name of what has none."""
    for row in rows:
        bars = row.get("melody") or []
        assert isinstance(bars, list)
        yield ComparedTune(str(row["file"]), _regular(bars))


def _regular(bars: list[list[int]]) -> Bars:
    """Bars with as many places as most of them have."""
    if not bars:
        return ()
    usual = Counter(map(len, bars)).most_common(1)[0][0]
    return tuple(tuple(bar) for bar in bars if len(bar) == usual)
