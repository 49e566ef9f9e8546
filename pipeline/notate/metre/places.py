"""Task: the places of a bar that the metre network tells apart, as tables.

A place is a metre and a position in its bar in ticks (1/96 of a whole note); a step is the
distance from one note to the next. Names and sizes are those of models/metre/classes.json.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from liltwright import models


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Everything that follows from the classes."""

    meters: tuple[str, ...]
    bar_ticks: tuple[int, ...]
    kinds: tuple[str, ...]
    steps: np.ndarray
    """Ticks of every step, shape (steps,)."""
    bars_in_pass: int
    meter: np.ndarray
    """Index of the metre of every place, shape (places,)."""
    ticks: np.ndarray
    """Ticks after the bar line of every place, shape (places,)."""
    number: np.ndarray
    """Place of a metre and a tick, shape (meters, longest bar); -1 off the grid."""
    source: np.ndarray
    """Place that a step into this place comes from, shape (places, steps); -1 for none."""


@cache
def places() -> Places:
    """The tables."""
    facts = models.read_json("metre/classes.json")
    meters, bars = tuple(facts["bar_ticks"]), tuple(facts["bar_ticks"].values())
    grid = [
        (which, ticks)
        for which, bar in enumerate(bars)
        for ticks in range(bar)
        if any(ticks % unit == 0 for unit in facts["grid"])
    ]
    meter, ticks = np.array(grid).T
    number = np.full((len(meters), max(bars)), -1)
    number[meter, ticks] = np.arange(len(grid))
    steps = np.array(facts["steps"])
    bar = np.array(bars)[meter]
    source = number[meter[:, None], (ticks[:, None] - steps[None]) % bar[:, None]]
    kinds = tuple(facts["kinds"])
    return Places(meters, bars, kinds, steps, facts["bars_in_pass"], meter, ticks, number, source)


def nearest_step(ticks: np.ndarray) -> np.ndarray:
    """Class of the step nearest to each distance in ticks."""
    return np.abs(np.asarray(ticks)[..., None] - places().steps).argmin(axis=-1)
