"""Task: rank tonics and modes for a written tune.

In: KeyEvidence of a tune's parts. Out: KeyCandidates, best first.
Method: small networks that are the same for every tonic look at the evidence from each of the
    twelve; beside them a linear expert that trusts ends more, and the share of the tune outside
    each scale, which keeps the signature true (models/key). The tonic's probability and that of
    the mode on it come from two mixtures of these, made honest by one temperature, and a mild
    habit follows: which homes and modes are usual. Lydian and phrygian, too rare to train, take
    the place of major and minor when the fourth or second is altered throughout.
References: the idea of ranking all transpositions with shared weights follows from the
    profile-matching of C. Krumhansl, "Cognitive Foundations of Musical Pitch", 1990; adding up
    the experts' logarithms: G. Hinton, "Products of Experts", 1999; temperature: C. Guo et al.,
    "On Calibration of Modern Neural Networks", 2017.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from liltwright import models
from liltwright.keys import key_name, pitch_class, scale_steps
from liltwright.notate.key.evidence import PRESENT, KeyEvidence
from liltwright.tune import KeyCandidate, Mode

TRAINED: tuple[Mode, ...] = ("major", "mixolydian", "dorian", "minor")
SHOWN = 8  # keys that are handed on
LINEAR = 15
"""The linear expert looks at the first fifteen tables."""
SMALLEST = 1e-6  # probability, against logarithms of nothing


def rank_keys(evidence: KeyEvidence) -> tuple[KeyCandidate, ...]:
    """The likeliest tonics and modes, best first."""
    chance = key_chances(evidence.tables) * _habits()
    chance /= chance.sum()
    merged: dict[tuple[int, Mode], float] = {}
    for tonic in range(12):
        for at, mode in enumerate(TRAINED):
            name = tonic, _rare(mode, tonic, evidence.present)
            merged[name] = merged.get(name, 0.0) + float(chance[tonic, at])
    best = sorted(merged, key=lambda name: -merged[name])[:SHOWN]
    return tuple(
        KeyCandidate(key_name(tonic, mode).tonic, mode, round(merged[tonic, mode], 4))
        for tonic, mode in best
    )


def key_chances(tables: np.ndarray) -> np.ndarray:
    """Chances by tonic and trained mode, shape (12, 4).

    tables: shape (n_tables, 12), as in KeyEvidence.
    """
    model = _model()
    return chances_of(joint_scores(tables, model) / model["temperature"])


def joint_scores(tables: np.ndarray, model: dict[str, np.ndarray]) -> np.ndarray:
    """The experts' scores added up, shape (2, 12, 4); model: arrays as in models/key/nets.npz.

    First for the tonic, where the nets count more, then for the mode on it, where the scale does.
    """
    seen = np.stack([np.roll(tables, -tonic, axis=1) for tonic in range(12)])
    nets, linear = net_scores(seen, model), linear_scores(seen, model)
    share, fit = model["linear_share"][:, None, None], model["fit"][:, None, None]
    return np.asarray((1 - share) * nets + share * linear - fit * outside(seen))


def chances_of(scores: np.ndarray) -> np.ndarray:
    """Chances, shape (12, 4): of the tonic by the first scores, of its mode by the second."""
    tonic = _softmax(scores[0]).sum(axis=1, keepdims=True)
    mode = np.exp(scores[1] - scores[1].max(axis=1, keepdims=True))
    return np.asarray(tonic * mode / mode.sum(axis=1, keepdims=True))


def net_scores(seen: np.ndarray, model: dict[str, np.ndarray]) -> np.ndarray:
    """Log of the networks' mean chances, shape (12, 4); seen: shape (12, n_tables, 12)."""
    flat = seen.reshape(12, -1)
    hidden = np.maximum(np.einsum("tf,nfh->nth", flat, model["w1"]) + model["b1"][:, None], 0)
    raw = np.einsum("nth,nhm->ntm", hidden, model["w2"]) + model["b2"][:, None]
    raw = raw + np.einsum("tf,nfm->ntm", flat, model["past"])
    return np.log(np.mean([_softmax(one) for one in raw], axis=0) + SMALLEST)


def linear_scores(seen: np.ndarray, model: dict[str, np.ndarray]) -> np.ndarray:
    """Log of the linear expert's softened chances, shape (12, 4)."""
    raw = np.einsum("tfp,mfp->tm", seen[:, :LINEAR], model["linear"]) + model["linear_bias"]
    return np.log(_softmax(raw / model["linear_temperature"]) + SMALLEST)


def outside(seen: np.ndarray) -> np.ndarray:
    """Share of the tune's time outside each scale, shape (12, 4)."""
    inside = [seen[:, 0, list(scale_steps(mode))].sum(axis=1) for mode in TRAINED]
    return np.asarray(seen[:, 0].sum(axis=1)[:, None] - np.stack(inside, axis=1))


def _softmax(raw: np.ndarray) -> np.ndarray:
    """Over all tonics and modes."""
    chance = np.exp(raw - raw.max())
    return np.asarray(chance / chance.sum())


@cache
def _model() -> dict[str, np.ndarray]:
    arrays = models.read_arrays("key/nets.npz")
    return {name: array.astype(np.float32) for name, array in arrays.items()}


@cache
def _habits() -> np.ndarray:
    """How much more usual a home is in playing than in the books trained on, shape (12, 4)."""
    table = models.read_json("key/habits.json")
    usual = np.zeros((12, len(TRAINED)))
    for at, mode in enumerate(TRAINED):
        for tonic, weight in table["weights"][mode].items():
            usual[pitch_class(tonic), at] = weight
    trust = float(table["trust"])
    homes = 1 - trust + trust * usual / usual.mean(axis=0)
    return np.asarray(homes * np.array([table["modes"][mode] for mode in TRAINED]))


def _rare(mode: Mode, tonic: int, present: np.ndarray) -> Mode:
    """Lydian for major with a raised fourth throughout, phrygian for minor with a low second."""
    here = np.roll(present, -tonic)
    if mode == "major" and here[6] > PRESENT and here[5] < 0.1 * here[6]:
        return "lydian"
    if mode == "minor" and here[1] > PRESENT and here[2] < 0.1 * here[1]:
        return "phrygian"
    return mode
