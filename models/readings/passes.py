"""Count how passes of one part, and of different parts, agree bar by bar.

Run: `python -m liltwright.models.readings.passes` prints the shares behind the players of
pipeline/notate/form/agreement.py, whose log odds were worked out from them by hand.

In: 400 performances of training tunes by their truth, as written and as on real recordings
    (tests/benchmark/pretend.py). Out: shares of likenesses between EDGES; of first pairs of bars,
    and of pairs after a pair, that are alike or not; of bars 4, 8, 12 ... bars apart.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

import numpy as np

from liltwright.notate.form.agreement import ALIKE, EDGES
from liltwright.notate.form.similarity import likeness
from liltwright.tune import HeardBar, Tune

PERFORMANCES, LAG = 400, 4
SLOT = Fraction(1, 16)


def main() -> None:
    """Count and print."""
    for pretend in (False, True):
        bins, first = np.zeros((2, len(EDGES) + 1)), np.zeros((2, 2))
        onward = np.zeros((2, 2, 2))
        for truth in _performed(pretend):
            _count(truth, bins, first, onward)
        print("as on real recordings" if pretend else "as written", "(passes of one part, others)")
        for name, table in (("likeness", bins), ("first alike, not", first), ("onward", onward)):
            print(
                name, (table / np.maximum(table.sum(axis=-1, keepdims=True), 1)).round(4).tolist()
            )


def _performed(pretend: bool) -> Iterator[Tune]:
    from tests.benchmark.performer import perform
    from tests.benchmark.plan import plan
    from tests.benchmark.work import pretended

    for job in plan("train", PERFORMANCES):
        played = pretended(job)[0] if pretend else perform(job.tune, job.sound.family,
                                                           seed=job.number)  # fmt: skip
        yield played.truth


def _count(truth: Tune, bins: np.ndarray, first: np.ndarray, onward: np.ndarray) -> None:
    written = truth.written_bars()
    once = [at for at in truth.performed_order() if written[at].kind != "pickup"]
    opening = truth.bars_heard[0].notes
    bars = truth.bars_heard[bool(opening and opening[0].start > 0) :]
    page = np.array(once * truth.rounds)[: len(bars)]
    alike = likeness(_grid(bars[: len(page)], truth.bar_length))
    for lag in range(LAG, len(page), LAG):
        value = np.diagonal(alike, -lag)
        other = (page[lag:] != page[:-lag]).astype(int)
        where, unlike = np.searchsorted(EDGES, value, side="right"), (value < ALIKE).astype(int)
        np.add.at(bins, (other, where), 1)
        begins = np.append(True, other[1:] != other[:-1])
        np.add.at(first, (other[begins], unlike[begins]), 1)
        later = np.flatnonzero(~begins)
        np.add.at(onward, (other[later], unlike[later - 1], unlike[later]), 1)


def _grid(bars: tuple[HeardBar, ...], full: Fraction) -> np.ndarray:
    """Sounding pitch in every semiquaver of every bar."""
    rows, last = [], 0
    for bar in bars:
        row = []
        for slot in range(int(full / SLOT)):
            middle = SLOT * slot + SLOT / 2
            last = next((n.midi for n in reversed(bar.notes) if n.start <= middle), last)
            row.append(last)
        rows.append(row)
    return np.array(rows)


if __name__ == "__main__":
    main()
