"""Readings to learn from: `python -m liltwright.models.readings.gather PAGES.npz OUT.npz`.

In: printed tunes of the training split (models/metre/pages.py). Out: for random performances of
    them (models/metre/performances.py, half of them spoiled by models/metre/faults.py) the best
    path of every metre as a row of looks, and which of them is right.
"""

from __future__ import annotations

import multiprocessing
import sys
from collections import defaultdict
from functools import partial
from typing import Any

import numpy as np

from liltwright.models.metre.faults import heard
from liltwright.models.metre.page import Page, load_pages
from liltwright.models.metre.performances import QUAVER_S, Notes, play

COMMON = ("reel", "jig", "hornpipe")
TIMES, TIMES_COMMON = 6, 2
MOST, FEWEST = 420, 24
SEED = 77


def main() -> None:
    """Perform, read, write."""
    pages = load_pages(sys.argv[1], "train")
    kin: dict[tuple[str, str], list[Page]] = defaultdict(list)
    for page in pages:
        kin[page.kind, page.meter].append(page)
    jobs = [
        (at, time)
        for at, page in enumerate(pages)
        for time in range(TIMES_COMMON if page.kind in COMMON else TIMES)
    ]
    with multiprocessing.get_context("fork").Pool() as pool:
        done = [one for one in pool.imap(partial(_one, pages, kin), jobs, chunksize=16) if one]
    np.savez_compressed(
        sys.argv[2], allow_pickle=False,
        **{name: np.concatenate([np.atleast_1d(one[name]) for one in done]) for name in done[0]},
    )  # fmt: skip
    print(f"{len(done)} performances")


def _one(
    pages: list[Page], kin: dict[tuple[str, str], list[Page]], job: tuple[int, int]
) -> dict[str, Any] | None:
    """The readings of one performance; None when it is too short."""
    from liltwright.notate.metre.network import listen_for_metre
    from liltwright.notate.metre.places import places
    from liltwright.notate.metre.reading_features import looks
    from liltwright.notate.metre.swing import in_time
    from liltwright.notate.metre.viterbi import best_paths
    from liltwright.notate.plain import PlainNotes

    at, time = job
    page = pages[at]
    rng = np.random.default_rng([SEED, at, time])
    played = play(page, kin[page.kind, page.meter] if time % 2 else [], rng)
    played = heard(played, rng) if rng.random() < 0.5 else played
    played = played.only(np.arange(min(len(played.midi), MOST)))
    n = len(played.midi)
    if n < FEWEST:
        return None
    notes = PlainNotes(played.onset_s, played.offset_s, played.midi, np.ones(n), (None,) * n)
    paths = best_paths(in_time(listen_for_metre(notes), notes), meters=places().meters)
    return {
        "looks": np.array([looks(path, notes.onset_s, notes.midi) for path in paths]),
        "right": np.array([path.meter == page.meter for path in paths]),
        "kind": np.full(len(paths), places().kinds.index(played.kind)),
        "slow": np.full(len(paths), _slowness(played, page)),
        "page": np.full(len(paths), at),
    }


def _slowness(notes: Notes, page: Page) -> float:
    """Seconds of a quaver against those at the middle of the usual tempi."""
    real = np.flatnonzero(notes.ticks >= -page.bar)
    step = np.diff(notes.ticks[real])
    good = step > 0
    tick_s = np.median(np.diff(notes.onset_s[real])[good] / step[good])
    return float(12 * tick_s / np.mean(QUAVER_S[notes.kind]))


if __name__ == "__main__":
    main()
