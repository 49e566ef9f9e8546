"""Task: which tunes are relatives, so that a split can keep them together.

In: (id, titles, Tune) of every tune. Out: the family of each id; ids by split.
Method: union of tunes that share a normalised title, or enough runs of eight intervals between
    changing notes (transposition, note values and repeated notes do not matter).
"""

from __future__ import annotations

import hashlib
import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from itertools import combinations, pairwise
from typing import NamedTuple

from liltwright.tune import Tune


class Relative(NamedTuple):
    """What a tune is compared by."""

    id: str
    titles: tuple[str, ...]
    tune: Tune


STOP_WORDS = frozenset(
    re.findall(
        r"\w+",
        """the a an of and o no first second third st nd rd version setting set reel jig hornpipe
        strathspey clog air march quick step quickstep old slip double single called or as by to
        untitled minuet gavotte fling highland time slow new favorite favourite""",
    )
)


def families(items: Sequence[Relative]) -> dict[str, str]:
    """The family (its smallest id) of every tune: common title or common runs of notes."""
    parent = {item.id: item.id for item in items}

    def root(name: str) -> str:
        while parent[name] != name:
            parent[name] = parent[parent[name]]
            name = parent[name]
        return name

    def join(one: str, other: str) -> None:
        low, high = sorted((root(one), root(other)))
        parent[high] = low

    for group in _by_title(items).values():
        for other in group[1:]:
            join(group[0], other)
    for one, other in _alike(items):
        join(one, other)
    return {item.id: root(item.id) for item in items}


def normal_title(title: str) -> str:
    """A title without articles, type words, numbers and punctuation."""
    words = re.sub(r"[^a-z ]", "", title.lower().replace("-", " ")).split()
    plain = [word for word in words if word not in STOP_WORDS]
    return " ".join(sorted(plain))


def _by_title(items: Sequence[Relative]) -> dict[str, list[str]]:
    groups: dict[str, list[str]] = defaultdict(list)
    for item in items:
        for title in item.titles:
            if len(key := normal_title(title)) >= 4:
                groups[key].append(item.id)
    return groups


def fingerprint(tune: Tune, size: int = 8) -> frozenset[tuple[int, ...]]:
    """Every run of `size` intervals of the tune; repeated notes count once."""
    pitches = [note.midi for bar in tune.written_bars() for note in bar.notes]
    steps = [b - a for a, b in pairwise(pitches) if b != a]
    return frozenset(tuple(steps[at : at + size]) for at in range(len(steps) - size + 1))


def _alike(
    items: Sequence[Relative], share: float = 0.12, least: int = 6
) -> Iterator[tuple[str, str]]:
    """Pairs that share at least `least` runs and `share` of the runs of the smaller tune."""
    prints = {item.id: fingerprint(item.tune) for item in items}
    where: dict[tuple[int, ...], list[str]] = defaultdict(list)
    for name, runs in prints.items():
        for run in runs:
            where[run].append(name)
    common: Counter[tuple[str, str]] = Counter()
    for names in where.values():
        if len(names) <= 40:
            common.update(combinations(names, 2))
    for (one, other), count in common.items():
        if count >= least and count >= share * min(len(prints[one]), len(prints[other])):
            yield one, other


def make_split(items: Sequence[Relative]) -> dict[str, list[str]]:
    """Ids by split; a family goes as a whole."""
    split: dict[str, list[str]] = {"train": [], "dev": [], "test": []}
    for name, family in families(items).items():
        share = deal(family)
        split["train" if share < 0.7 else "dev" if share < 0.85 else "test"].append(name)
    return split


def deal(name: str) -> float:
    """A fixed number in 0..1 for a name."""
    return int(hashlib.sha256(name.encode()).hexdigest()[:8], 16) / 2**32
