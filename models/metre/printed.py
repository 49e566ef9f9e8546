"""Fit when a printed bar is listed for checking.

Run: `python -m liltwright.models.metre.printed` writes printed.json; after doubt.py.

In: development tunes played as in the benchmark and as on real recordings (tests/benchmark/
    pretend.py), notes as played and with some spoiled. Out: weights of a logistic regression on
    liltwright.notate.doubts.PRINTED, and the threshold.
Method: a printed bar is wrong by the rule of tests/benchmark/score_tune.py, at its place in the
    round. Newton's method with a ridge (doubt.py). The threshold lists LISTED of the printed bars
    of the pretend-real performances.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from liltwright.models.metre.doubt import _fitted

FILE = Path(__file__).with_name("printed.json")
PERFORMANCES, SPOILED = 120, 40
LISTED = 0.14


def main() -> None:
    """Collect, fit, report, write."""
    from tests.benchmark.degrade import degrade
    from tests.benchmark.performer import perform
    from tests.benchmark.plan import plan
    from tests.benchmark.playing import truth_heard
    from tests.benchmark.work import pretended

    real, usual = [], []
    for job in plan("dev", PERFORMANCES):
        played, heard = pretended(job)
        real.append(judged(heard, played.truth))
        plain = perform(job.tune, job.sound.family, seed=job.number, late_start=job.late_start,
                        longest_s=60.0)  # fmt: skip
        usual.append(judged(truth_heard(plain), plain.truth))
        if job.number < SPOILED:
            spoiled = degrade(truth_heard(plain), drop=0.02, insert=0.02, shift=0.02, seed=2)
            usual.append(judged(spoiled, plain.truth))
    write(real, usual)


def write(real: list[Any], usual: list[Any]) -> None:
    """Fit on (rows, wrong) of performances, report, write."""
    from liltwright.notate.doubts import PRINTED

    seen, wrong = (np.concatenate(x) for x in zip(*real, *usual, strict=True))
    weights = _fitted(np.column_stack([seen, np.ones(len(seen))]), wrong, np.ones(len(seen)))
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
    """Evidence and wrongness of every printed bar of one performance, once through."""
    from liltwright.notate.doubts import bar_evidence, printed_evidence
    from liltwright.notate.notate import lay_page
    from liltwright.notate.plain import plain_notes
    from liltwright.notate.settings import NotateSettings
    from tests.benchmark.score_tune import _key, _played, _versions

    page = lay_page(plain_notes(heard), NotateSettings())
    seen = bar_evidence(page.bars, page.folded, page.reading.line, page.reading.passed_over_s,
                        page.reading.meter_chance).seen  # fmt: skip
    groups, rows = printed_evidence(page.bars, page.folded, seen)
    versions, wanted = _versions(truth), _played(truth)
    best = np.ones(len(groups), bool)
    order = sorted(range(len(groups)), key=lambda at: groups[at][0])
    from liltwright.notate.form.fold import vote

    printed = [_key(vote([(page.bars[b].notes, 0.05 + page.bars[b].confidence)
                          for b in groups[at]])) for at in order]  # fmt: skip
    pickup = int(page.bars[0].notes[:1] != () and page.bars[0].notes[0].start > 0)
    for octave in range(-36, 37, 12):
        wrong = np.ones(len(groups), bool)
        for at, key in zip(order, printed, strict=True):
            place = (groups[at][0] - pickup) % len(wanted)
            moved = tuple((start, midi + octave) for start, midi in key)
            kept = versions[wanted[place][0]]
            wrong[at] = moved not in kept and not any(one and moved[:len(one)] == one
                                                      for one in kept)  # fmt: skip
        best = wrong if wrong.sum() < best.sum() else best
    return rows, best


if __name__ == "__main__":
    main()
