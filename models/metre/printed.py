"""Fit when a printed bar is listed for checking.

Run: `python -m liltwright.models.metre.printed` writes printed.json; after doubt.py.

In: development tunes played as in the benchmark and as on real recordings (tests/benchmark/
    pretend.py), notes as played, with some spoiled, and from sound; half of them of types with few
    tunes. Out: weights of a logistic regression on
    liltwright.notate.doubts.PRINTED, and the threshold.
Method: a printed bar is wrong by the rule of tests/benchmark/score_tune.py, at its place in the
    round. Newton's method with a ridge (doubt.py). The threshold lists LISTED of the printed bars
    of the pretend-real performances.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from liltwright.models.metre.doubt import _heard, logistic

FILE = Path(__file__).with_name("printed.json")
PERFORMANCES = 80
RARE = ("polka", "march", "slide", "strathspey", "waltz", "slip jig", "air")
LISTED = 0.15


def main() -> None:
    """Collect, fit, report, write."""
    from tests.benchmark.degrade import degrade
    from tests.benchmark.performer import perform
    from tests.benchmark.plan import plan
    from tests.benchmark.playing import truth_heard
    from tests.benchmark.work import pretended

    real, usual = [], []
    for job in _jobs():
        played, heard = pretended(job)
        real.append(judged(heard, played.truth))
        plain = perform(job.tune, job.sound.family, seed=job.number, late_start=job.late_start,
                        longest_s=60.0)  # fmt: skip
        usual.append(judged(truth_heard(plain), plain.truth))
    for job in plan("dev", PERFORMANCES):
        plain = perform(job.tune, job.sound.family, seed=job.number, late_start=job.late_start,
                        longest_s=60.0)  # fmt: skip
        spoiled = degrade(truth_heard(plain), drop=0.02, insert=0.02, shift=0.02, seed=2)
        usual.append(judged(spoiled, plain.truth))
    sound = [judged(heard, truth) for heard, truth in _heard()]
    write(real, [*usual, *sound])


def _jobs() -> list[Any]:
    """Those of the benchmark, and as many of the types that have few tunes there."""
    from tests.benchmark.plan import plan

    return [*plan("dev", PERFORMANCES), *plan("dev", PERFORMANCES, types=RARE)]


def write(real: list[Any], usual: list[Any]) -> None:
    """Fit on (rows, wrong) of performances, report, write."""
    from liltwright.notate.doubts import PRINTED

    seen, wrong = (np.concatenate(x) for x in zip(*real, *usual, strict=True))
    weights = logistic(np.column_stack([seen, np.ones(len(seen))]), wrong, np.ones(len(seen)))
    mine, true = (np.concatenate(x) for x in zip(*real, strict=True))
    chance = 1 / (1 + np.exp(-(mine @ weights[:-1] + weights[-1])))
    threshold = float(np.quantile(chance, 1 - LISTED))
    listed = chance >= threshold
    print(f"{len(true)} printed bars as on real recordings, {true.mean():.3f} wrong")
    print(f"listed {listed.mean():.3f}, of the wrong {listed[true].mean():.3f}, "
          f"of the listed wrong {true[listed].mean():.3f}")  # fmt: skip
    for name, value in zip((*PRINTED, "bias"), weights, strict=True):
        print(f"{name:24s}{value:8.2f}")
    FILE.write_text(json.dumps({
        "weights": dict(zip(PRINTED, np.round(weights[:-1], 3).tolist(), strict=True)),
        "bias": round(float(weights[-1]), 3), "threshold": round(threshold, 4),
    }, indent=1) + "\n")  # fmt: skip


def judged(heard: Any, truth: Any) -> tuple[np.ndarray, np.ndarray]:
    """Evidence and wrongness of every printed bar of one performance."""
    from liltwright.notate.doubts import bar_evidence
    from liltwright.notate.notate import lay_page
    from liltwright.notate.plain import plain_notes
    from liltwright.notate.settings import NotateSettings

    page = lay_page(plain_notes(heard), NotateSettings())
    reading = page.reading
    seen = bar_evidence(page.bars, page.folded, reading.line, reading.passed_over_s,
                        reading.meter_chance).seen  # fmt: skip
    return compared(page.bars, page.folded, seen, reading.path_odds, truth)


def compared(
    bars: Any, folded: Any, seen: np.ndarray, path_odds: float, truth: Any
) -> tuple[np.ndarray, np.ndarray]:
    """The same of one that was read; bars that the truth has no place for are left out."""
    from liltwright.doubts import printed_bars
    from liltwright.notate.doubts import printed_evidence
    from liltwright.tune import Doubt

    groups, rows = printed_evidence(bars, folded, seen, path_odds)
    tune = replace(truth, parts=folded.parts, form=folded.form, rounds=folded.rounds,
                   bars_heard=bars, doubts=(Doubt(len(bars), 0.0, ""),))  # fmt: skip
    place, wrong = printed_bars(tune), _wrong(tune, truth)
    first = 0 if bars[0].notes and bars[0].notes[0].start else 1
    found = [wrong.get(place.get(same[0] + first, -1)) for same in groups]
    known = np.array([one is not None for one in found], bool)
    return rows[known], np.array([one for one in found if one is not None], bool)


def _wrong(tune: Any, truth: Any) -> dict[int, bool]:
    """By index of the written bar whether it is wrong, as the benchmark counts."""
    from tests.benchmark.score_tune import _played, _versions

    wanted, mine, versions = _played(truth), _played(tune), _versions(truth)
    best: dict[int, bool] = {}
    for octave in range(-36, 37, 12):
        wrong: dict[int, bool] = {}
        seen: set[int] = set()
        for (written, _), (index, key) in zip(wanted, mine, strict=False):
            if written not in seen:
                moved = tuple((start, midi + octave) for start, midi in key)
                wrong[index] = wrong.get(index, False) or moved not in versions[written]
            seen.add(written)
        if not best or sum(wrong.values()) < sum(best.values()):
            best = wrong
    return best


if __name__ == "__main__":
    main()
