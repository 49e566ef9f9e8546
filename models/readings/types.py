"""Fit types.json: `python -m liltwright.models.readings.types`.

In: printed tunes of the training split, each played as in the benchmark and as on real recordings
    (tests/benchmark/pretend.py). Out: logistic regressions on the manner of the true reading:
    one for the types of each metre, one for crotchets that are dotted crotchets.
Method: multinomial logistic regression of scikit-learn with a ridge. For the second, slides and
    jigs are told in crotchets, as an ear that expects crotchet and quaver 2:1 tells them. Printed:
    four-fold cross-validation over tunes, and the development split.
"""

from __future__ import annotations

import json
import multiprocessing
from pathlib import Path
from typing import Any

import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import GroupKFold

from liltwright.dances import dances
from liltwright.notate.metre.type_features import MANNER, manner
from liltwright.notate.metre.types import SIMPLE, widened

FILE = Path(__file__).with_name("types.json")
TUNES, DEV_TUNES = 1400, 300
STRENGTH, COMPOUND_STRENGTH = 0.3, 0.3
JIG_SHARE, HORNPIPE_SHARE = 0.3, 1.5
"""How much jigs and hornpipes count in the second regression: jigs are seldom mistaken."""
IN_FOUR = {0: 0, 6: 4, 12: 8, 18: 12, 24: 16, 30: 20}
USUAL_SHARE, SLOW, SLOW_SHARE = 0.7, 0.8, 0.35
"""How much performances as in the benchmark count, and those below 0.8 of the usual tempo."""
BY_TEMPO = ("4/4",)
"""Where types differ by tempo above all: reels and hornpipes."""
LEFT_OUT = ("empty", "movement", "same pitch", "cadences")
"""What the second regression does not see."""
FOLDS = 4
Row = tuple[str, str, str, bool, np.ndarray, np.ndarray | None]


def main() -> None:
    """Play, judge, fit, write."""
    rows, dev = _rows("train", TUNES), _rows("dev", DEV_TUNES)
    meters = sorted({row[1] for row in rows})
    types = {}
    for meter in meters:
        mine, its = ([r for r in some if r[1] == meter] for some in (rows, dev))
        if len({row[0] for row in mine}) > 1:
            types[meter] = _fitted_types(meter, mine, its)
    known = {"types": types, "compound": _fitted_compound(rows, dev)}
    FILE.write_text(json.dumps(known, indent=None) + "\n")


def _rows(split: Any, count: int) -> list[Row]:
    from tests.benchmark.plan import plan

    with multiprocessing.get_context("fork").Pool() as pool:
        found = pool.map(_one, plan(split, count, extras=False), chunksize=8)
    return [row for rows in found for row in rows]


def _one(job: Any) -> list[Row]:
    """Type, metre, tune, manner, and the manner when told in crotchets."""
    from tests.benchmark.performer import perform
    from tests.benchmark.work import pretended

    usual = perform(job.tune, job.sound.family, seed=job.number, longest_s=60.0)
    return [_row(pretended(job)[0].truth, job.tune_id, True), _row(usual.truth, job.tune_id, False)]


def _row(truth: Any, tune: str, pretend: bool) -> Row:
    at = [(96 * (n * truth.bar_length + note.start), note.midi)
          for n, bar in enumerate(truth.bars_heard) for note in bar.notes]  # fmt: skip
    ticks, midi = np.array([int(tick) for tick, _ in at]), np.array([pitch for _, pitch in at])
    onset_s = np.array([note.onset_s for note in truth.heard if note.role == "note"])
    meter = {"12/8": "6/8"}.get(truth.meter, truth.meter)
    kind = truth.tune_type
    told = None
    if meter in SIMPLE and kind != "air":
        told = manner(ticks, onset_s, midi, "4/4")
    elif kind == "slide" or (kind == "jig" and pretend):
        told = manner(_in_four(ticks), onset_s, midi, "4/4")
    return kind, meter, tune, pretend, manner(ticks, onset_s, midi, meter), told


def _in_four(ticks: np.ndarray) -> np.ndarray:
    """Dotted crotchets as crotchets; a crotchet and a quaver as two quavers."""
    beat, inside = np.divmod(ticks, 36)
    out = 24 * beat + np.array([IN_FOUR.get(tick, round(tick / 1.5)) for tick in inside.tolist()])
    for one in np.unique(beat):
        mine = np.flatnonzero(beat == one)
        if inside[mine].tolist() == [0, 24]:
            out[mine[1]] = 24 * one + 12
    return out


def _fitted_types(meter: str, rows: list[Row], dev: list[Row]) -> dict[str, Any]:
    seen, kinds = widened(np.array([row[4] for row in rows])), np.array([row[0] for row in rows])
    mean, scale = _spread(seen)
    seen = (seen - mean) / scale
    right = np.zeros(len(rows), bool)
    tunes = [row[2] for row in rows]
    model = LogisticRegression(C=STRENGTH, max_iter=3000)
    share = _shares(rows)
    for mine, out in GroupKFold(FOLDS).split(seen, kinds, tunes):
        model.fit(seen[mine], kinds[mine], sample_weight=share[mine])
        right[out] = model.predict(seen[out]) == kinds[out]
    model.fit(seen, kinds, sample_weight=share)
    its = (widened(np.array([row[4] for row in dev])) - mean) / scale
    dev_right = model.predict(its) == np.array([row[0] for row in dev])
    print(
        f"{meter}: {len(rows)} performances, right {right.mean():.3f}, dev {dev_right.mean():.3f}"
    )
    for kind in model.classes_:
        print(f"    {kind:<12}{right[kinds == kind].mean():.3f}")
    weights, bias = model.coef_, model.intercept_
    if len(model.classes_) == 2:
        weights, bias = np.concatenate([-weights, weights]) / 2, np.append(-bias, bias) / 2
    return _stored(mean, scale, weights, bias) | {"classes": model.classes_.tolist()}


def _fitted_compound(rows: list[Row], dev: list[Row]) -> dict[str, Any]:
    known, its = ([row for row in some if row[5] is not None] for some in (rows, dev))
    seen = widened(np.array([row[5] for row in known]))
    mean, scale = _spread(seen)
    blind = np.array(
        [name in LEFT_OUT for name in MANNER] + [False] * (seen.shape[1] - len(MANNER))
    )
    scale[blind] = 1e6
    is_six = np.array([row[1] == "6/8" for row in known])
    share = np.array([{"jig": JIG_SHARE, "hornpipe": HORNPIPE_SHARE}.get(r[0], 1.0) for r in known])
    model = LogisticRegression(C=COMPOUND_STRENGTH, max_iter=3000)
    model.fit((seen - mean) / scale, is_six, sample_weight=share)
    found = model.predict((widened(np.array([row[5] for row in its])) - mean) / scale)
    for kind in sorted({row[0] for row in its}):
        mine = np.array([row[0] == kind for row in its])
        print(f"dev {kind:<12} told in 6/8: {found[mine].mean():.3f}")
    return _stored(mean, scale, model.coef_, model.intercept_)


def _shares(rows: list[Row]) -> np.ndarray:
    """How much each performance counts: less where it is slower than people dance to."""
    share = np.array([1.0 if row[3] else USUAL_SHARE for row in rows])
    for at, (kind, meter, _, _, seen, _) in enumerate(rows):
        if meter not in BY_TEMPO:
            continue
        dance = {str(name): one for name, one in dances().items()}[kind]
        beat = 0.375 if meter.endswith("/8") else 0.25
        usual_s = 60 / np.mean(dance.usual_bpm) * beat / float(dance.beat)
        if np.exp(seen[MANNER.index("pulse s")]) > usual_s / SLOW:
            share[at] *= SLOW_SHARE
    return share


def _spread(seen: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean and standard deviation of every figure; 1 where it never differs."""
    scale = seen.std(axis=0)
    return seen.mean(axis=0), np.where(scale < 1e-4, 1.0, scale)


def _stored(
    mean: np.ndarray, scale: np.ndarray, weights: np.ndarray, bias: np.ndarray
) -> dict[str, Any]:
    return {"mean": mean.round(5).tolist(), "scale": scale.round(5).tolist(),
            "weights": weights.round(4).tolist(), "bias": bias.round(4).tolist()}  # fmt: skip


if __name__ == "__main__":
    main()
