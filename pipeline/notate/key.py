"""Task: rank tonics and modes for a written tune.

In: the parts of a tune. Out: KeyCandidates, best first, and remarks on the mode.
Method: pitch classes weighted by length and place in the bar against the scale of every mode.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from pipeline.keys import key_name, scale_steps
from pipeline.tune import KeyCandidate, Mode, Part

PRIOR: dict[Mode, float] = {"major": 1.0, "mixolydian": 0.5, "dorian": 0.5, "minor": 0.6}


@dataclass(frozen=True, slots=True)
class KeyEvidence:
    """What the ranker looks at."""

    weight: np.ndarray
    last: int

    @staticmethod
    def of_parts(parts: tuple[Part, ...], bar_length: Fraction) -> KeyEvidence:
        """Weigh the notes of the printed tune."""
        weight = np.zeros(12)
        last = 0
        for part in parts:
            for bar in part.bars:
                for note in bar:
                    accent = 1.5 if note.start == 0 else 1.0
                    weight[note.midi % 12] += min(float(note.length / bar_length), 1.0) * accent
                    last = note.midi % 12
        return KeyEvidence(weight / max(weight.sum(), 1e-9), last)


def rank_keys(evidence: KeyEvidence) -> tuple[tuple[KeyCandidate, ...], tuple[str, ...]]:
    """Every tonic and mode by probability (the best eight), and remarks."""
    found: list[tuple[float, int, Mode]] = []
    for tonic in range(12):
        weight = np.roll(evidence.weight, -tonic)
        for mode, prior in PRIOR.items():
            steps = list(scale_steps(mode))
            home = weight[0] + 0.6 * weight[7] + 0.3 * weight[steps[2]]
            ends = 1.2 * (evidence.last == tonic)
            found.append(
                (float(30 * weight[steps].sum() + 8 * home + ends + np.log(prior)), tonic, mode)
            )
    found.sort(key=lambda one: -one[0])
    chance = np.exp(np.array([score for score, _, _ in found]) - found[0][0])
    chance /= chance.sum()
    return tuple(
        KeyCandidate(key_name(tonic, mode).tonic, mode, round(float(p), 4))
        for (_, tonic, mode), p in zip(found[:8], chance[:8], strict=True)
    ), ()
