"""Task: choose between the metres that a performance can be read in.

In: the best path of every metre and the notes. Out: `chosen(...)`: the paths, best first, with
    their probabilities.
Method: the scores of the paths are far too sure of themselves and are scaled down; boosted trees
    (models/readings) say how likely a page that looks like this, at this tempo, is right; metres
    that the networks know few tunes of are given a start. The weights are in
    models/readings/weights.json.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from liltwright import models
from liltwright.notate.metre.reading_features import looks
from liltwright.notate.metre.viterbi import MetrePath
from liltwright.notate.plain import PlainNotes
from liltwright.trees import Trees, odds


def chosen(paths: list[MetrePath], notes: PlainNotes) -> tuple[list[MetrePath], np.ndarray]:
    """The paths, best first, and the probability of each."""
    if len(paths) < 2:
        return paths, np.ones(len(paths))
    weights = models.read_json("readings/weights.json")
    rows = np.array([looks(path, notes.onset_s, notes.midi) for path in paths])
    value = np.array([path.score / weights["temperature"] for path in paths])
    value += weights["looks"] * odds(_trees(), rows)
    value += [weights["start"].get(path.meter, 0.0) for path in paths]
    order = np.argsort(-value, kind="stable")
    chance = np.exp(value - np.logaddexp.reduce(value))
    return [paths[at] for at in order], chance[order]


@cache
def _trees() -> Trees:
    return Trees(**models.read_arrays("readings/trees.npz"))
