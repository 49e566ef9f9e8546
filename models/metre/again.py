"""Fit when a note that may be one long one is written as two of one pitch.

Run: `python -m liltwright.models.metre.again` writes again.json, then liltwright.models.register.

In: renders of development tunes, of numbers that no figure is taken of, as the ear hears them.
    Out: weights of a logistic regression on liltwright.notate.bars.reheard.FEATURES.
Method: every question of `reheard.questions` has its answer in the bar that was performed. Bars are
    matched by the rule of tests/benchmark/score_tune.py; recordings of which less than READ of the
    bars come out right are read in another metre or shifted, and tell nothing. Newton's method
    with a ridge.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

FILE = Path(__file__).with_name("again.json")
RENDERS = (120, 240)
"""Numbers of the renders, from and to; the benchmark's figures are of those before."""
LONGEST_S = 60.0
READ = 0.5


def main() -> None:
    """Hear, collect, fit, report, write."""
    write([judged(*one) for one in performed()])


def write(rows: list[tuple[np.ndarray, np.ndarray]]) -> None:
    """Fit on (features, whether there is a note) of recordings; report and write."""
    from liltwright.models.metre.doubt import logistic
    from liltwright.notate.bars.reheard import FEATURES

    seen, true = (np.concatenate(x) for x in zip(*rows, strict=True))
    full = np.column_stack([seen, np.ones(len(seen))])
    weights = logistic(full, true, np.ones(len(true)))
    said = full @ weights > 0
    there = seen[:, 0] > 0
    print(f"{len(true)} questions, the ear is wrong in {(there != true).sum()}, "
          f"asked again in {(said != true).sum()}")  # fmt: skip
    for name, value in zip((*FEATURES, "bias"), weights, strict=True):
        print(f"{name:24s}{value:8.2f}")
    FILE.write_text(json.dumps({
        "weights": dict(zip(FEATURES, np.round(weights[:-1], 3).tolist(), strict=True)),
        "bias": round(float(weights[-1]), 3),
    }, indent=1) + "\n")  # fmt: skip


def performed() -> Iterator[tuple[Any, Any]]:
    """What was heard of each render, and its truth."""
    from liltwright.hear.listen import hear
    from tests.benchmark.performer import perform
    from tests.benchmark.plan import plan
    from tests.benchmark.work import recording

    first, last = RENDERS
    for job in plan("dev", last)[first:]:
        played = perform(job.tune, job.sound.family, seed=job.number, late_start=job.late_start,
                         longest_s=LONGEST_S)  # fmt: skip
        audio, truth = recording(job, played)
        yield hear(audio), truth


def judged(heard: Any, truth: Any) -> tuple[np.ndarray, np.ndarray]:
    """Features of the questions of a recording, and their answers."""
    from dataclasses import replace

    from liltwright.notate.bars.reheard import FEATURES, questions
    from liltwright.notate.bars.timeline import bar_times
    from liltwright.notate.bars.trebles import untrebled
    from liltwright.notate.metre.reading import read_rhythm
    from liltwright.notate.notate import form_of
    from liltwright.notate.plain import plain_notes

    notes = plain_notes(heard)
    reading = read_rhythm(notes)
    line = untrebled(reading.line)
    form = form_of(replace(reading, line=line))
    asked, seen = questions(line, form, notes.again)
    bar, count = line.kind.bar_ticks, line.last_bar - line.first_bar + 1
    mine: dict[int, set[tuple[int, int]]] = {number: set() for number in range(count)}
    for tick, midi in zip(line.ticks.tolist(), line.midi.tolist(), strict=True):
        mine[tick // bar - line.first_bar].add((tick % bar, midi))
    true = _true_bars(truth, bar_times(line, np.arange(count) + line.first_bar), mine)
    right = [mine[number] == one for number, one in true.items()]
    if not right or np.mean(right) < READ:
        return np.empty((0, len(FEATURES))), np.empty(0, bool)
    places = [divmod(one.tick - line.first_bar * bar, bar) for one in asked]
    known = [k for k, (number, _) in enumerate(places) if number in true]
    answers = [(places[k][1], asked[k].midi) in true[places[k][0]] for k in known]
    return seen[known], np.array(answers, bool)


def _true_bars(
    truth: Any, starts_s: np.ndarray, mine: dict[int, set[tuple[int, int]]]
) -> dict[int, set[tuple[int, int]]]:
    """(tick, midi) of the notes that were performed, by bar, in the octave that was heard."""
    from liltwright.notate.metre.kind import TICKS
    from tests.benchmark.score_tune import START_S

    true_s = np.array([bar.start_s for bar in truth.bars_heard])
    bars = {}
    for number, start_s in enumerate(starts_s.tolist()):
        k = int(np.abs(true_s - start_s).argmin())
        if abs(true_s[k] - start_s) <= START_S:
            bars[number] = {(int(n.start * TICKS), n.midi) for n in truth.bars_heard[k].notes}

    def moved(octaves: int) -> dict[int, set[tuple[int, int]]]:
        return {k: {(t, m + 12 * octaves) for t, m in bar} for k, bar in bars.items()}

    return max(
        (moved(octaves) for octaves in (0, -1, 1, -2, 2, -3, 3)),
        key=lambda tried: sum(len(bar & mine[k]) for k, bar in tried.items()),
    )


if __name__ == "__main__":
    main()
