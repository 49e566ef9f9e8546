"""Task: rank tonics and modes for a written tune.

In: KeyEvidence of a tune's parts. Out: KeyCandidates, best first.
Method: three experts (models/key) look at a tune from each of the twelve tonics, with the same
    weights: small networks at its tables, networks that follow it bar by bar, and a linear one that
    trusts ends more. A fourth counts how third, sixth and seventh sound. The tonic's probability
    and that of the mode on it come from two mixtures of these, and a mild habit follows: which
    homes and modes are usual. Lydian and phrygian, too rare to train, take the place of major and
    minor when the fourth or second is altered throughout.
References: the idea of ranking all transpositions with shared weights follows from the
    profile-matching of C. Krumhansl, "Cognitive Foundations of Musical Pitch", 1990; adding up
    the experts' logarithms: G. Hinton, "Products of Experts", 1999.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from liltwright import models
from liltwright.keys import key_name, pitch_class, scale_steps
from liltwright.notate.key.evidence import PRESENT, KeyEvidence
from liltwright.notate.key.nets import SMALLEST, course_scores, softmax
from liltwright.tune import KeyCandidate, Mode

TRAINED: tuple[Mode, ...] = ("major", "mixolydian", "dorian", "minor")
SHOWN = 8  # keys that are handed on
LINEAR = 15
"""The linear expert looks at the first fifteen tables."""
EXPERTS = ("nets", "course", "linear", "told")
"""The order in which the scores are added up."""
TELLING = {2: (3, 4), 5: (8, 9), 6: (10, 11)}
"""Degrees that tell the modes apart (0 is the tonic), and the semitones they may lie at."""
HARDLY = 0.004  # share of the time that a pitch must outweigh to tell anything: one quaver in 250


def rank_keys(evidence: KeyEvidence) -> tuple[KeyCandidate, ...]:
    """The likeliest tonics and modes, best first."""
    chance = key_chances(evidence) * _habits()
    rare, merged = models.read_json("key/habits.json")["rare"], {}
    for tonic in range(12):
        for at, mode in enumerate(TRAINED):
            named = _rare(mode, tonic, evidence.present)
            merged[tonic, named] = float(chance[tonic, at]) * rare.get(named, 1.0)
    total = sum(merged.values())
    best = sorted(merged, key=lambda name: -merged[name])[:SHOWN]
    return tuple(
        KeyCandidate(key_name(tonic, mode).tonic, mode, round(merged[tonic, mode] / total, 4))
        for tonic, mode in best
    )


def key_chances(evidence: KeyEvidence) -> np.ndarray:
    """Chances by tonic and trained mode, shape (12, 4)."""
    return chances_of(joint_scores(evidence))


def joint_scores(evidence: KeyEvidence) -> np.ndarray:
    """The experts' scores added up, first for the tonic, then for the mode: shape (2, 12, 4)."""
    seen = np.stack([np.roll(evidence.tables, -tonic, axis=1) for tonic in range(12)])
    said = np.stack([
        net_scores(seen, _arrays("key/nets.npz")),
        course_scores(evidence.course, _arrays("key/course.npz")),
        linear_scores(seen, _arrays("key/nets.npz")),
        told(seen),
    ])  # fmt: skip
    return np.asarray(np.tensordot(_shares(), said, axes=1))


def chances_of(scores: np.ndarray) -> np.ndarray:
    """Chances, shape (12, 4): of the tonic by the first scores, of its mode by the second."""
    tonic = softmax(scores[0]).sum(axis=1, keepdims=True)
    mode = np.exp(scores[1] - scores[1].max(axis=1, keepdims=True))
    return np.asarray(tonic * mode / mode.sum(axis=1, keepdims=True))


def net_scores(seen: np.ndarray, model: dict[str, np.ndarray]) -> np.ndarray:
    """Log of the networks' mean chances, shape (12, 4); seen: shape (12, n_tables, 12)."""
    flat = seen.reshape(12, -1)
    hidden = np.maximum(np.einsum("tf,nfh->nth", flat, model["w1"]) + model["b1"][:, None], 0)
    raw = np.einsum("nth,nhm->ntm", hidden, model["w2"]) + model["b2"][:, None]
    raw = raw + np.einsum("tf,nfm->ntm", flat, model["past"])
    return np.log(np.mean([softmax(one) for one in raw], axis=0) + SMALLEST)


def linear_scores(seen: np.ndarray, model: dict[str, np.ndarray]) -> np.ndarray:
    """Log of the linear expert's softened chances, shape (12, 4)."""
    raw = np.einsum("tfp,mfp->tm", seen[:, :LINEAR], model["linear"]) + model["linear_bias"]
    return np.log(softmax(raw / model["linear_temperature"]) + SMALLEST)


def told(seen: np.ndarray) -> np.ndarray:
    """Log share of the third, sixth and seventh that sounds as each mode has it, shape (12, 4).

    A degree that hardly sounds tells nothing.
    """
    share = seen[:, 0]
    total = np.zeros((12, len(TRAINED)))
    for at, mode in enumerate(TRAINED):
        for degree, pair in TELLING.items():
            right = share[:, scale_steps(mode)[degree]] + HARDLY
            total[:, at] += np.log(right / (share[:, list(pair)].sum(axis=1) + 2 * HARDLY))
    return total


@cache
def _arrays(name: str) -> dict[str, np.ndarray]:
    arrays = models.read_arrays(name)
    return {name: array.astype(np.float32) for name, array in arrays.items()}


@cache
def _shares() -> np.ndarray:
    """What each expert counts for, for the tonic and for the mode, shape (2, 4)."""
    table = models.read_json("key/mixture.json")
    return np.array([[table[of][name] for name in EXPERTS] for of in ("tonic", "mode")])


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
