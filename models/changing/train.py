"""Fit trees.npz: `python -m liltwright.models.changing.train`, then liltwright.models.register.

Task   : sets of training tunes as an ear would hear them -> boosted trees that give the odds that
         another tune begins at a place.
Method : tests.benchmark.sets plays sets and single tunes of the training split, 8 % of the notes
         left out, 5 % wrong. Rows are the looks (pipeline/hear/sides.py) of places within half a
         bar of a change, of others drawn at random, near a change, with least likeness across them,
         and, in a second round, with the best odds of a first fit. Places between half a bar and
         the first bar beside a change are not asked about. Histogram gradient boosting as in
         scikit-learn (Ke et al., "LightGBM", 2017), stored as plain arrays for pipeline/trees.py.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from sklearn.ensemble import HistGradientBoostingClassifier

from liltwright.hear.changes import SHORTEST_S, likeness
from liltwright.hear.sides import looks
from liltwright.models.readings.train import as_trees
from liltwright.trees import odds

FILE = Path(__file__).with_name("trees.npz")
SETS = 700
SETTINGS = {
    "max_iter": 150, "learning_rate": 0.06, "max_leaf_nodes": 12, "min_samples_leaf": 60,
    "l2_regularization": 5.0, "random_state": 0, "early_stopping": False,
}  # fmt: skip
AT_BARS, NEAR_BARS, FAR_BARS = 0.55, (0.8, 4.0), 2.0
ANY, UNLIKE, BEST, NEAR = 50, 25, 30, 10
"""Places of each kind from one stretch of a recording."""
WEIGHT = 12.0
"""What a change counts, over the places within half a bar of it."""

Rows = tuple[np.ndarray, np.ndarray, np.ndarray]


@dataclass(frozen=True, slots=True)
class Heard:
    """A set as heard, and where its tunes begin after the first: seconds, and seconds per bar."""

    onset_s: np.ndarray
    end_s: np.ndarray
    midi: np.ndarray
    lines_s: tuple[float, ...]
    bar_s: tuple[float, ...]


def main() -> None:
    """Gather, fit twice, write, compare with scikit-learn."""
    fitted(list(gathered()))


def gathered() -> Iterator[Heard]:
    """Sets of two and three tunes, and as many single tunes."""
    from tests.benchmark.sets import first_line, performed_set

    for number in range(SETS):
        for count in (1, 2 + (number % 3 == 2)):
            truths, notes = performed_set("train", number, count)
            yield Heard(
                np.array([note.onset_s for note in notes]),
                np.array([note.offset_s for note in notes]),
                np.array([note.midi for note in notes]),
                tuple(first_line(one) for one in truths[1:]),
                tuple(
                    float(np.median([b.end_s - b.start_s for b in one.bars_heard]))
                    for one in truths[1:]
                ),
            )


def fitted(heard: list[Heard]) -> None:
    """Fit and write."""
    rng = np.random.default_rng(0)
    first = rows_of(heard, rng)
    model = HistGradientBoostingClassifier(**SETTINGS)
    model.fit(first[0], first[1], sample_weight=first[2])
    second = rows_of(heard, rng, model.decision_function)
    x, right, weight = (np.concatenate(both) for both in zip(first, second, strict=True))
    model = HistGradientBoostingClassifier(**SETTINGS)
    model.fit(x, right, sample_weight=weight)
    trees = as_trees(model)
    np.savez_compressed(FILE, allow_pickle=False, **trees._asdict())
    far = np.abs(odds(trees, x) - model.decision_function(x)).max()
    print(f"{len(x)} rows, {FILE.stat().st_size / 1e3:.0f} kB, from scikit-learn {far:.1e}")
    assert far < 1e-4


def rows_of(
    heard: list[Heard],
    rng: np.random.Generator,
    score: Callable[[np.ndarray], np.ndarray] | None = None,
) -> Rows:
    """Looks, whether a tune begins there, and weights."""
    found: list[Rows] = []
    for one in heard:
        alike = likeness(np.round(one.midi).astype(int) % 12, one.onset_s)
        for first, last in _stretches(one):
            found += _rows(one, alike, first, last, rng, score)
    x, right, weight = (np.concatenate(part) for part in zip(*found, strict=True))
    return x, right, weight


def _stretches(one: Heard) -> list[tuple[int, int]]:
    """The whole, and of three tunes the first two and the last two."""
    count = len(one.onset_s)
    if len(one.lines_s) < 2:
        return [(0, count)]
    begin, end = (int(np.searchsorted(one.onset_s, line - 0.05)) for line in one.lines_s)
    return [(0, count), (0, end), (begin, count)]


def _rows(
    one: Heard,
    alike: np.ndarray,
    first: int,
    last: int,
    rng: np.random.Generator,
    score: Callable[[np.ndarray], np.ndarray] | None,
) -> list[Rows]:
    onset_s, end_s = one.onset_s[first:last], one.end_s[first:last]
    seen = looks(onset_s, end_s, one.midi[first:last], alike[first:last, first:last])
    starts = np.append(onset_s, end_s[-1])
    asked = np.flatnonzero((starts - onset_s[0] >= SHORTEST_S) & (end_s[-1] - starts >= SHORTEST_S))
    if not len(asked):
        return []
    off = np.min(
        [np.full(len(starts), np.inf)]
        + [np.abs(starts - at) / bar for at, bar in zip(one.lines_s, one.bar_s, strict=True)],
        axis=0,
    )
    here, far = asked[off[asked] < AT_BARS], asked[off[asked] > FAR_BARS]
    near = asked[(off[asked] > NEAR_BARS[0]) & (off[asked] <= NEAR_BARS[1])]
    picked = [rng.choice(far, min(ANY, len(far)), replace=False)]
    picked.append(far[np.argsort(seen[far, 0] + seen[far, 1])[:UNLIKE]])
    if score is not None and len(far):
        picked.append(far[np.argsort(-score(seen[far]))[:BEST]])
    picked.append(rng.choice(near, min(NEAR, len(near)), replace=False))
    others = np.concatenate(picked)
    share = np.full(len(here), WEIGHT / max(len(here), 1))
    return [
        (seen[here], np.ones(len(here)), share),
        (seen[others], np.zeros(len(others)), np.ones(len(others))),
    ]


if __name__ == "__main__":
    main()
