"""Which relatives an archive's search finds, for tests.benchmark.gather --relatives.

In: tunes of the public-domain collections, their titles and families. Out: recall, precision and
growth of the search as figures.
"""

from __future__ import annotations

import random
import time
from collections import defaultdict
from collections.abc import Iterator
from itertools import combinations
from typing import Any

Figures = dict[str, Any]


def kin() -> Figures:
    """Tunes of one title in different books: how many are found, and what else is."""
    from liltwright.gather.melody import melody_bars
    from liltwright.gather.relatives import LIKE, candidates, melodies_of, relatives
    from tests.benchmark.collections import tunes
    from tests.benchmark.families import normal_title

    found: Figures = {"likeness_from": LIKE}
    for split in ("train", "dev", "test", None):
        items = tunes(split) if split else [*tunes("train"), *tunes("dev"), *tunes("test")]
        rows = [{"file": item.id, "melody": melody_bars(item.tune)} for item in items]
        melodies = list(melodies_of(rows))
        by_title: dict[str, set[int]] = defaultdict(set)
        for index, item in enumerate(items):
            for title in item.titles:
                if len(plain := normal_title(title)) >= 4:
                    by_title[plain].add(index)

        def apart(one: int, other: int, items: Any = items) -> bool:
            return bool(items[one].collection != items[other].collection)

        truth = {pair for these in by_title.values()
                 for pair in combinations(sorted(these), 2) if apart(*pair)}  # fmt: skip
        clock = time.process_time()
        compared = candidates(melodies)
        pairs = {(pair.one, pair.other): pair.likeness for pair in relatives(melodies)}
        took = time.process_time() - clock
        across = {pair for pair in pairs if apart(*pair)}
        alike = truth & set(without_search(melodies, truth))
        found[split or "all"] = {
            "tunes": len(items), "compared": len(compared), "pairs": len(pairs),
            "across_books": len(across), "same_title_across_books": len(truth),
            "same_title_and_alike": len(alike),
            "found_of_same_title": len(across & truth),
            "recall_of_titles": ratio(len(across & truth), len(truth)),
            "recall_of_alike": ratio(len(across & alike), len(alike)),
            "precision_by_title": ratio(len(across & truth), len(across)),
            "precision_against_chance": chance(melodies, len(pairs)),
            "processor_s": round(took, 1),
        }  # fmt: skip
    found["growth"] = growth([*tunes("train"), *tunes("dev"), *tunes("test")])
    return found


def growth(items: Any) -> Figures:
    """Pairs compared and processor time for a quarter, a half and all of the tunes."""
    from liltwright.gather.melody import melody_bars
    from liltwright.gather.relatives import candidates, melodies_of, relatives

    rows = [{"file": item.id, "melody": melody_bars(item.tune)} for item in items]
    random.Random(23).shuffle(rows)
    found: Figures = {}
    for size in (len(rows) // 4, len(rows) // 2, len(rows)):
        melodies = list(melodies_of(rows[:size]))
        clock = time.process_time()
        compared = len(candidates(melodies))
        searched = time.process_time() - clock
        relatives(melodies)
        took = time.process_time() - clock - searched
        found[str(size)] = {"compared": compared, "search_s": round(searched, 2),
                            "search_and_compare_s": round(took, 2)}  # fmt: skip
    return found


def without_search(melodies: list[Any], pairs: set[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    """The pairs whose whole melodies are alike, found by comparing them without any search."""
    from liltwright.gather.relatives import LIKE, compare, grid

    grids = [grid(melody.bars) for melody in melodies]
    return (pair for pair in pairs if compare(*pair, grids, LIKE) is not None)


def chance(melodies: list[Any], found: int) -> float | None:
    """What share of the pairs chance does not explain: tunes against tunes played backwards.

    A melody backwards keeps its notes, range and motion and is a relative of nothing. Pairs of one
    forwards with one backwards are twice as many as pairs of two forwards.
    """
    from liltwright.gather.relatives import ComparedTune, relatives

    back = [ComparedTune(f"{one.name} backwards", tuple(bar[::-1] for bar in one.bars[::-1]))
            for one in melodies]  # fmt: skip
    size = len(melodies)
    mixed = [
        pair
        for pair in relatives([*melodies, *back])
        if pair.one < size <= pair.other and pair.other - size != pair.one
    ]
    return ratio(found - len(mixed) / 2, found)


def ratio(part: float, whole: float) -> float | None:
    """Rounded; None of nothing."""
    return round(part / whole, 3) if whole else None
