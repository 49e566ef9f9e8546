"""Task: the linear expert on tonic and mode, which trusts ends more than the nets do.

In: tunes of the training split whose tonic is beyond doubt (two of last note, longest pitch and
    key profile agree), each once more as mixolydian or dorian. Out: weights (4, LINEAR, 12), bias.
Method: multinomial logistic regression over 12 tonics x 4 modes with weights shared by all
    tonics on the first fifteen tables (time, beats, ends, openings, range), L2 penalty, L-BFGS.
    It knows no doubtful tune and no spoiled one: beside the nets, which do, it speaks for tunes
    that end at home.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from liltwright.keys import pitch_class
from liltwright.models.key.examples import as_class, edited_families, honest_mode
from liltwright.notate.key.evidence import KeyEvidence
from liltwright.notate.key.rank import LINEAR, TRAINED
from liltwright.tune import KeyName, Tune
from tests.benchmark.collections import CollectedTune, as_mode, tunes

PENALTY = 0.005
SYNTHETIC_WEIGHT = 0.5
UNSURE_MINOR_WEIGHT = 0.7
MINOR_WEIGHT = 2.5


def fitted_linear() -> tuple[np.ndarray, np.ndarray]:
    """Train on the training split."""
    data = [_example(tune, weight) for tune, weight in _truths(tunes("train"))]
    return _fitted(data)


def _truths(items: Iterable[CollectedTune]) -> Iterable[tuple[Tune, float]]:
    """(tune with its honest mode, weight)."""
    for item in items:
        if item.id in edited_families() or (not item.key_sure and item.tune.mode != "minor"):
            continue
        key = KeyName(item.tune.tonic, item.tune.mode)
        tune = replace(item.tune, mode=honest_mode(item.tune, key))
        rare = MINOR_WEIGHT if item.tune.mode == "minor" else 1.0
        yield tune, rare if item.key_sure else UNSURE_MINOR_WEIGHT
        if not _has_degree(tune):
            continue  # altering a degree that never sounds would teach a contradiction
        if tune.mode == "major":
            yield replace(as_mode(tune, -1, 0), mode="mixolydian"), SYNTHETIC_WEIGHT
        elif tune.mode == "minor":
            yield replace(as_mode(tune, 0, 1), mode="dorian"), SYNTHETIC_WEIGHT * rare
        elif tune.mode == "dorian":
            yield replace(as_mode(tune, 0, -1), mode="minor"), SYNTHETIC_WEIGHT * rare


def _has_degree(tune: Tune) -> bool:
    """Whether the degree that tells the mode (seventh or sixth) sounds at all."""
    present = KeyEvidence.of_parts(tune.parts, tune.bar_length).present
    here = np.roll(present, -pitch_class(tune.tonic))
    pair = (10, 11) if tune.mode in ("major", "mixolydian") else (8, 9)
    return bool(here[list(pair)].sum() > 0)


def _example(tune: Tune, weight: float) -> tuple[np.ndarray, int, float]:
    """(tables rolled to every tonic, class, weight)."""
    tables = KeyEvidence.of_parts(tune.parts, tune.bar_length).tables[:LINEAR]
    rolled = np.stack([np.roll(tables, -tonic, axis=1) for tonic in range(12)])
    return rolled.reshape(12, -1), as_class(KeyName(tune.tonic, tune.mode)), weight


def _fitted(data: list[tuple[np.ndarray, int, float]]) -> tuple[np.ndarray, np.ndarray]:
    from scipy.optimize import minimize

    features = np.stack([x for x, _, _ in data])
    target = np.array([y for _, y, _ in data])
    weight = np.array([w for _, _, w in data])
    size, modes, at = features.shape[2], len(TRAINED), np.arange(len(data))
    penalty = PENALTY * len(data) / 100

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        matrix, bias = flat[:-modes].reshape(modes, size), flat[-modes:]
        raw = (features @ matrix.T + bias).reshape(len(target), -1)
        chance = np.exp(raw - raw.max(axis=1, keepdims=True))
        chance /= chance.sum(axis=1, keepdims=True)
        value = -(weight * np.log(chance[at, target] + 1e-12)).sum()
        chance[at, target] -= 1
        slope = (chance * weight[:, None]).reshape(len(target), 12, modes)
        gradient = np.einsum("ntm,ntf->mf", slope, features, optimize=True)
        return (
            value + penalty * (matrix**2).sum(),
            np.append((gradient + 2 * penalty * matrix).ravel(), slope.sum((0, 1))),
        )

    start = np.zeros(modes * size + modes)
    found = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": 400})
    return found.x[:-modes].reshape(modes, LINEAR, 12), found.x[-modes:]
