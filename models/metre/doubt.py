"""Fit when a bar is listed for checking.

Run: `python -m liltwright.models.metre.doubt` writes doubts.json.

In: development tunes as the benchmark performs them: the performer's own notes, the same spoiled
    on purpose, and sound that the ear hears. Out: weights of a logistic regression on
    liltwright.notate.doubts.FEATURES, and the threshold.
Method: a bar is wrong by the rule of tests/benchmark/score_tune.py. Newton's method with a ridge.
    The threshold is the lowest at which PRECISION of the listed bars of sound are wrong: nobody
    checks a list that is mostly right.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

FILE = Path(__file__).with_name("doubts.json")
PERFORMANCES, RENDERS = 80, 80
SPOILED = (0.02, 0.02, 0.02)
RIDGE = 3.0
PRECISION = 0.31


def main() -> None:
    """Collect, fit, report, write."""
    write([_judged(*one) for one in _performed()], [_judged(*one) for one in _heard()])


def write(notes: list[Any], sound: list[Any]) -> None:
    """Fit on (features, wrong) of performances by their notes and by their sound, report, write."""
    from liltwright.notate.doubts import FEATURES

    seen, wrong = (np.concatenate(x) for x in zip(*notes, *sound, strict=True))
    share = np.concatenate([
        np.full(sum(len(w) for _, w in notes), 0.5), np.ones(sum(len(w) for _, w in sound))
    ])  # fmt: skip
    weights = logistic(np.column_stack([seen, np.ones(len(seen))]), wrong, share)
    mine = np.concatenate([x for x, _ in sound])
    true = np.concatenate([w for _, w in sound])
    chance = 1 / (1 + np.exp(-(mine @ weights[:-1] + weights[-1])))
    order = np.argsort(-chance)
    precise = np.cumsum(true[order]) / np.arange(1, len(order) + 1) >= PRECISION
    threshold = float(chance[order[np.flatnonzero(precise)[-1]]])
    listed = chance >= threshold
    print(f"{len(true)} bars of sound, {true.mean():.3f} wrong, {listed.mean():.3f} listed")
    print(f"of the wrong listed {listed[true].mean():.3f}, of the listed wrong "
          f"{true[listed].mean():.3f}")  # fmt: skip
    for name, value in zip((*FEATURES, "bias"), weights, strict=True):
        print(f"{name:24s}{value:8.2f}")
    FILE.write_text(json.dumps({
        "weights": dict(zip(FEATURES, np.round(weights[:-1], 3).tolist(), strict=True)),
        "bias": round(float(weights[-1]), 3), "threshold": round(threshold, 4),
    }, indent=1) + "\n")  # fmt: skip


def _performed() -> Iterator[tuple[object, object]]:
    from tests.benchmark.degrade import degrade
    from tests.benchmark.performer import perform
    from tests.benchmark.plan import plan
    from tests.benchmark.playing import truth_heard

    for job in plan("dev", PERFORMANCES):
        played = perform(job.tune, job.sound.family, seed=job.number, late_start=job.late_start,
                         longest_s=60.0)  # fmt: skip
        heard = truth_heard(played)
        yield heard, played.truth
        drop, insert, shift = SPOILED
        yield degrade(heard, drop=drop, insert=insert, shift=shift, seed=2), played.truth


def _heard() -> Iterator[tuple[object, object]]:
    from liltwright.hear.listen import hear
    from tests.benchmark.performer import perform
    from tests.benchmark.plan import plan
    from tests.benchmark.work import recording

    for job in plan("dev", RENDERS):
        played = perform(job.tune, job.sound.family, seed=job.number, late_start=job.late_start,
                         longest_s=60.0)  # fmt: skip
        audio, truth = recording(job, played)
        yield hear(audio), truth


def _judged(heard, truth) -> tuple[np.ndarray, np.ndarray]:  # type: ignore[no-untyped-def]
    """Features and wrongness of every bar of one performance."""
    from liltwright.notate.doubts import bar_evidence
    from liltwright.notate.notate import lay_page, notate
    from liltwright.notate.plain import plain_notes
    from liltwright.notate.settings import NotateSettings
    from tests.benchmark.score_tune import right_bars

    page = lay_page(plain_notes(heard), NotateSettings())
    seen = bar_evidence(page.bars, page.folded, page.reading.line, page.reading.passed_over_s,
                        page.reading.meter_chance).seen  # fmt: skip
    tune = notate(heard)
    right = max((right_bars(tune, truth, shift) for shift in (0, 12, -12)), key=len)
    wrong = np.ones(len(seen), bool)
    wrong[[mine for _, mine in right]] = False
    return seen, wrong


def logistic(seen: np.ndarray, true: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Weights by Newton's method. share : weight of each row."""
    weights = np.zeros(seen.shape[1])
    ridge = RIDGE * np.eye(len(weights))
    ridge[-1, -1] = 1e-6
    for _ in range(30):
        chance = 1 / (1 + np.exp(-seen @ weights))
        slope = seen.T @ (share * (chance - true)) + ridge @ weights
        curve = (seen * (share * chance * (1 - chance))[:, None]).T @ seen + ridge
        weights -= np.linalg.solve(curve, slope)
    return weights


if __name__ == "__main__":
    main()
