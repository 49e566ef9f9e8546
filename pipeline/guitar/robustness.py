"""How far the ranking depends on the weights.

Task: say how stable the first three setups are when every weight moves by +-30 %.
In: parts of all setups, weights. Out: for each of the three the share of draws that keep it
among the first three.
Method: independent uniform draws with a fixed seed; range and number of draws are data
(models/hand/weights.json, "robustness").
"""

from __future__ import annotations

import numpy as np

from liltwright import models
from liltwright.guitar.score import FILE
from liltwright.tab import RankedSetup


def stability(
    parts: np.ndarray, weight: np.ndarray, top: tuple[RankedSetup, ...], order: np.ndarray
) -> dict[str, float]:
    """Share of weight changes under which each setup of `top` stays among the first three.

    parts : shape (setups, parts); order : indices of the setups, best first
    """
    facts = models.read_json(FILE)["robustness"]
    generator = np.random.default_rng(0)
    factors = generator.uniform(
        1.0 - facts["change"], 1.0 + facts["change"], (facts["draws"], parts.shape[1])
    )
    scores = np.round(parts[order] @ (factors * weight).T, 12)
    shares = {}
    for place, setup in enumerate(top):
        better = (scores > scores[place]).sum(axis=0)
        better += (scores[:place] == scores[place]).sum(axis=0)
        shares[label(setup)] = round(float((better < len(top)).mean()), 3)
    return shares


def label(setup: RankedSetup) -> str:
    """Short name of a setup: "DADGAD, capo 5, an octave down"."""
    capo = f"capo {setup.capo}" if setup.capo else "no capo"
    octaves = {-24: "two octaves down", -12: "an octave down", 0: "as written"}
    where = octaves.get(setup.transpose, f"in {setup.sounds_in.tonic} {setup.sounds_in.mode}")
    return f"{setup.tuning}, {capo}, {where}"
