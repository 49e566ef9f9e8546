"""Task: which tune type a reading is, and whether its beats are three quavers, not two.

In: a reading and its notes. Out: `weighed(...)`: probabilities of the types of its metre, with
    the metre network's word on them; `with_compound(...)`: readings in 4/4 or 2/4 with the same
    told in 6/8, by probability.
Method: multinomial logistic regressions on tempo, swing, what the beats are filled with, the
    cadence and the length of the parts (models/readings/types.json, fitted by models/readings/
    types.py on performances of the training split). Slides have a crotchet and a quaver nearer to
    3:2 than 2:1 and are heard as swung quavers with triplets by who expects 2:1.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from liltwright import models
from liltwright.notate.metre.type_features import MANNER, manner
from liltwright.notate.metre.viterbi import MetrePath
from liltwright.notate.plain import PlainNotes
from liltwright.tune import TuneType

LEAST = 1e-4  # probability, against logarithms of nothing
FARTHEST = 4.0
"""So many standard deviations from the usual count at most: beyond them nothing was learned."""
SIMPLE = ("4/4", "2/4")
"""Metres whose reading may be a compound one."""
BEAT, DOTTED = 24, 36  # ticks of a crotchet and of a dotted one
PULSES = (-1.25, -1.1, -0.95, -0.8, -0.6)  # knots, by quantiles of the training split
SWINGS = (0.1, 0.2, 0.3, 0.45, 0.7)
"""Logarithms of a beat's seconds and of long to short."""
IN_SIX = {0: 0, 3: 6, 4: 6, 6: 12, 8: 12, 9: 12, 12: 24, 15: 24, 16: 24, 18: 30, 20: 30, 21: 30}
"""Where a tick of a crotchet falls in a dotted crotchet."""


def weighed(
    path: MetrePath, notes: PlainNotes, heard: dict[TuneType, float]
) -> dict[TuneType, float]:
    """Probabilities of the types that the metre network was asked for.

    heard : its probabilities. Those of types that nothing was learned of stay as they are.
    """
    known = models.read_json("readings/types.json")["types"].get(path.meter, {"classes": []})
    mine = [kind for kind in heard if kind in known["classes"]]
    share = sum(heard[kind] for kind in mine)
    if len(mine) < 2 or share <= 0:
        return heard
    weights = models.read_json("readings/weights.json")["types"]
    value = _values(known, _manner(path, notes, path.meter))
    value = value[[known["classes"].index(kind) for kind in mine]]
    value = weights["manner"] * (value - np.logaddexp.reduce(value))
    value += weights["network"] * np.log([max(heard[kind] / share, LEAST) for kind in mine])
    chance = share * np.exp(value - np.logaddexp.reduce(value))
    return heard | dict(zip(mine, chance.tolist(), strict=True))


def with_compound(
    paths: list[MetrePath], chance: np.ndarray, notes: PlainNotes
) -> tuple[list[MetrePath], np.ndarray, MetrePath | None]:
    """The readings, best first, and their probabilities, with the best of them told in 6/8; and
    that reading as it was, where it is the best one now."""
    best = paths[0]
    if best.meter not in SIMPLE:
        return paths, chance, None
    found = models.read_json("readings/types.json")["compound"]
    value = _values(found, _manner(best, notes, "4/4"))[0]
    value += models.read_json("readings/weights.json")["compound"]
    six = float(1 / (1 + np.exp(-value)))
    kept = [at for at, path in enumerate(paths) if path.meter != "6/8"]
    others = np.array([chance[at] for at in kept])
    others *= (1 - six * chance[0]) / others.sum()
    every = [retold(best), *(paths[at] for at in kept)]
    shares = np.append(six * chance[0], others)
    order = np.argsort(-shares, kind="stable")
    return [every[at] for at in order], shares[order], best if order[0] == 0 else None


def _manner(path: MetrePath, notes: PlainNotes, meter: str) -> np.ndarray:
    kept = path.ticks >= 0
    return manner(path.ticks[kept], notes.onset_s[kept], notes.midi[kept], meter)


def widened(row: np.ndarray) -> np.ndarray:
    """The manner with squares of tempo and swing, and how far they lie beyond some values."""
    pulse, swing = row[..., MANNER.index("pulse s")], row[..., MANNER.index("swing")]
    more = [pulse**2, swing**2, pulse * swing]
    more += [np.maximum(pulse - knot, 0.0) for knot in PULSES]
    more += [np.maximum(swing - knot, 0.0) for knot in SWINGS]
    return np.concatenate([row, np.stack(more, axis=-1)], axis=-1)


def _values(model: dict[str, Any], row: np.ndarray) -> np.ndarray:
    """What the regression gives for each of its classes."""
    mean = np.array(model["mean"])
    row = np.where(np.isnan(row), mean[: len(row)], row)  # not known: as usual
    seen = np.clip((widened(row) - mean) / np.array(model["scale"]), -FARTHEST, FARTHEST)
    return np.asarray(np.array(model["weights"]) @ seen + np.array(model["bias"]))


def retold(path: MetrePath) -> MetrePath:
    """A reading in 4/4 or 2/4 in bars of 6/8, its crotchets as dotted crotchets."""
    kept = np.flatnonzero(path.ticks >= 0)
    beat, inside = np.divmod(path.ticks[kept], BEAT)
    moved = [IN_SIX.get(tick, round(1.5 * tick)) for tick in inside.tolist()]
    ticks = path.ticks.copy()
    ticks[kept] = DOTTED * beat + np.array(moved)
    return replace(path, meter="6/8", ticks=ticks)
