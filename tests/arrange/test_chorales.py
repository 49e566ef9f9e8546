"""The taste learned from chorales: held-out figures, and what it does to our lines."""

from __future__ import annotations

import math

import numpy as np

from liltwright import models
from liltwright.arrange.leading import KINDS, WIDEST, learned

TABLE = models.read_json("leading/leading.json")


def test_every_row_is_a_distribution():
    for place in ("goal", "beat", "walk"):
        for kind in KINDS:
            row = TABLE["intervals"][place][kind]
            assert len(row) == 2 * WIDEST + 1
            assert math.isclose(sum(math.exp(-value) for value in row), 1.0, abs_tol=0.02)


def test_it_tells_held_out_chorales_better_than_rules_and_evenness():
    """Figures of models/leading/make.py on every fifth chorale of J. S. Bach (public domain)."""
    figures = TABLE["figures"]
    assert figures["moves held out"] > 4000
    assert figures["learned"] < figures["without what came"] < figures["rules"] < figures["even"]


def test_it_knows_what_every_school_of_counterpoint_says():
    """After a leap a step back; between beats steps; contrary to a new chord (Fux 1725)."""
    walk, goal = learned("walk"), learned("goal")
    up = KINDS.index("leap up")
    for table in (walk, goal):
        assert table[up, WIDEST - 2 : WIDEST].min() < table[up, WIDEST + 3 :].min()
    for row in walk[2:]:
        steps = np.delete(row[WIDEST - 2 : WIDEST + 3], 2).min()
        leaps = np.concatenate([row[: WIDEST - 2], row[WIDEST + 3 :]]).min()
        assert steps < leaps
    assert TABLE["contrary"]["goal"] > 0.3
