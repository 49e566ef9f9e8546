"""Train the ranker of tonic and mode: `python -m liltwright.models.key.make` writes ranker.npz.

In: tunes of the training split whose tonic is beyond doubt (tests/benchmark/collections.py) and
    whose header says major or minor, and with less weight minor tunes in doubt. Headers do not
    tell a modal tune, so the mode is taken from the notes (a seventh or sixth that is altered
    throughout), and every tune is used once more with its seventh lowered (mixolydian) or its
    sixth raised (dorian). Tunes that an editor labelled modal are left out: they are for testing.
Out: weights by mode, table and pitch class above the tonic.
Method: multinomial logistic regression over 12 tonics x 4 modes with weights shared by all
    tonics, L2 penalty, L-BFGS. The scale that makes probabilities honest is fitted on dev.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np

from liltwright.keys import pitch_class
from liltwright.notate.key import TABLES, TRAINED, KeyEvidence
from liltwright.tune import Mode, Tune
from tests.benchmark.collections import CollectedTune, as_mode, tunes

HERE = Path(__file__).parent
PENALTY = 0.005
ALTERED = 0.85
SYNTHETIC_WEIGHT = 0.5
UNSURE_MINOR_WEIGHT = 0.7
MINOR_WEIGHT = 2.5
SURE = (1.0, MINOR_WEIGHT)
LABELLED = re.compile("mix|dor|lyd|phr")


def main() -> None:
    """Train on train, report and scale on dev, write."""
    data = [_example(tune, weight) for tune, weight in _truths(tunes("train"))]
    weights, bias = train(data)
    dev = [_example(tune, 1.0) for tune, weight in _truths(tunes("dev")) if weight in SURE]
    scale = min(np.arange(0.5, 5.1, 0.25), key=lambda s: _loss_at(dev, weights, bias, float(s)))
    np.savez_compressed(
        HERE / "ranker.npz",
        weights=weights.astype(np.float32),
        bias=bias.astype(np.float32),
        scale=np.float32(scale),
    )
    print(f"{len(data)} training examples, scale {scale:.1f}")
    _report("dev, honest truth", dev, weights, bias)
    labelled = [
        _example(item.tune, 1.0)
        for split in ("train", "dev")
        for item in tunes(split)  # type: ignore[arg-type]
        if re.search("mix|dor", item.key_header.lower())
    ]
    _report("editor-labelled mixolydian and dorian of train and dev", labelled, weights, bias)


def _truths(items: Iterable[CollectedTune]) -> Iterable[tuple[Tune, float]]:
    """(tune with its honest mode, weight); weight 1 or more for tunes as printed and sure."""
    for item in items:
        if LABELLED.search(item.key_header.lower()):
            continue
        if not item.key_sure and item.tune.mode != "minor":
            continue
        tune = replace(item.tune, mode=_honest_mode(item.tune))
        rare = MINOR_WEIGHT if item.tune.mode == "minor" else 1.0
        weight = rare * (1.0 if item.key_sure else UNSURE_MINOR_WEIGHT / MINOR_WEIGHT)
        yield tune, weight
        if not _has_degree(tune):
            continue  # altering a degree that never sounds would teach a contradiction
        if tune.mode == "major":
            yield replace(as_mode(tune, -1, 0), mode="mixolydian"), SYNTHETIC_WEIGHT
        elif tune.mode == "minor":
            yield replace(as_mode(tune, 0, 1), mode="dorian"), SYNTHETIC_WEIGHT * rare * 0.99
        elif tune.mode == "dorian":
            yield replace(as_mode(tune, 0, -1), mode="minor"), SYNTHETIC_WEIGHT * rare * 0.99


def _has_degree(tune: Tune) -> bool:
    """Whether the degree that tells the mode (seventh or sixth) sounds at all."""
    here = np.roll(
        KeyEvidence.of_parts(tune.parts, tune.bar_length).present, -pitch_class(tune.tonic)
    )
    pair = (10, 11) if tune.mode in ("major", "mixolydian") else (8, 9)
    return bool(here[list(pair)].sum() > 0)


def _honest_mode(tune: Tune) -> Mode:
    """The header's mode, unless its seventh or sixth is altered throughout."""
    here = np.roll(
        KeyEvidence.of_parts(tune.parts, tune.bar_length).present, -pitch_class(tune.tonic)
    )
    if tune.mode == "major" and here[10] > ALTERED * (here[10] + here[11]) > 0:
        return "mixolydian"
    if tune.mode == "minor" and here[9] > ALTERED * (here[8] + here[9]) > 0:
        return "dorian"
    return tune.mode


def _example(tune: Tune, weight: float) -> tuple[np.ndarray, int, float]:
    """(tables rolled to every tonic, class, weight)."""
    tables = KeyEvidence.of_parts(tune.parts, tune.bar_length).tables
    rolled = np.stack([np.roll(tables, -tonic, axis=1) for tonic in range(12)])
    target = pitch_class(tune.tonic) * len(TRAINED) + TRAINED.index(tune.mode)
    return rolled.reshape(12, -1), target, weight


def train(
    data: list[tuple[np.ndarray, int, float]],
) -> tuple[np.ndarray, np.ndarray]:
    """Weights, shape (4, tables, 12), and bias, shape (4,)."""
    from scipy.optimize import minimize

    features = np.stack([x for x, _, _ in data])
    target = np.array([y for _, y, _ in data])
    weight = np.array([w for _, _, w in data])
    size = features.shape[2]
    modes = len(TRAINED)

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        matrix, bias = flat[:-modes].reshape(modes, size), flat[-modes:]
        raw = (features @ matrix.T + bias).reshape(len(target), -1)
        raw -= raw.max(axis=1, keepdims=True)
        chance = np.exp(raw)
        chance /= chance.sum(axis=1, keepdims=True)
        value = -(weight * np.log(chance[np.arange(len(target)), target] + 1e-12)).sum()
        chance[np.arange(len(target)), target] -= 1
        slope = (chance * weight[:, None]).reshape(len(target), 12, modes)
        gradient = np.einsum("ntm,ntf->mf", slope, features)
        penalty = PENALTY * len(target) / 100
        return (
            value + penalty * (matrix**2).sum(),
            np.append((gradient + 2 * penalty * matrix).ravel(), slope.sum((0, 1))),
        )

    found = minimize(
        loss, np.zeros(modes * size + modes), jac=True, method="L-BFGS-B", options={"maxiter": 400}
    )
    return found.x[:-modes].reshape(modes, TABLES, 12), found.x[-modes:]


def _raw(data: list[tuple[np.ndarray, int, float]], w: np.ndarray, b: np.ndarray) -> np.ndarray:
    features = np.stack([x for x, _, _ in data])
    return (features @ w.reshape(len(w), -1).T + b).reshape(len(data), -1)


def _loss_at(
    data: list[tuple[np.ndarray, int, float]], w: np.ndarray, b: np.ndarray, scale: float
) -> float:
    raw = _raw(data, w, b) * scale
    raw -= raw.max(axis=1, keepdims=True)
    at = np.arange(len(data)), np.array([y for _, y, _ in data])
    return float(-(raw[at] - np.log(np.exp(raw).sum(axis=1))).mean())


def _report(
    name: str, data: list[tuple[np.ndarray, int, float]], w: np.ndarray, b: np.ndarray
) -> None:
    best = _raw(data, w, b).argmax(axis=1)
    target = np.array([y for _, y, _ in data])
    tonic = (best // len(TRAINED) == target // len(TRAINED)).mean()
    print(f"{name}: {len(data)} tunes, tonic {tonic:.3f}, with mode {(best == target).mean():.3f}")


if __name__ == "__main__":
    main()
