"""Facts of each tune type: metre, beat, tempo, names, how it is written (models/dances)."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from liltwright import models
from liltwright.tune import TuneType


@dataclass(frozen=True, slots=True)
class Dance:
    """One row of models/dances/dances.json; tempi in beats per minute.

    usual_in : metres in which a tune that names no type is taken for this one
    written_even : dotted pairs are swing, written as even quavers
    trebled : a crotchet struck three times on one pitch is decoration
    words : what rhythm fields and titles of tune books call it, lower case
    """

    name: TuneType
    meters: tuple[str, ...]
    beat: Fraction
    slowest_bpm: float
    fastest_bpm: float
    usual_bpm: tuple[float, float]
    usual_in: tuple[str, ...]
    written_even: bool
    trebled: bool
    words: tuple[str, ...]


@cache
def dances() -> dict[TuneType, Dance]:
    """Every tune type by name."""
    return {
        name: Dance(
            name,
            tuple(row["meters"]),
            Fraction(row["beat"]),
            row["bpm"][0],
            row["bpm"][1],
            tuple(row["usual_bpm"]),
            tuple(row["usual_in"]),
            row["written_even"],
            row["trebled"],
            tuple(row["words"]),
        )
        for name, row in models.read_json("dances/dances.json").items()
    }
