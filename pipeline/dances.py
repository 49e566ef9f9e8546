"""Facts of each tune type: metre, beat, tempo, where the bass falls (models/dances)."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from liltwright import models
from liltwright.tune import TuneType


@dataclass(frozen=True, slots=True)
class Dance:
    """One row of models/dances/dances.json; tempi in beats per minute."""

    name: TuneType
    meters: tuple[str, ...]
    beat: Fraction
    slowest_bpm: float
    fastest_bpm: float
    usual_bpm: tuple[float, float]
    bass_beats: tuple[Fraction, ...]


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
            tuple(Fraction(beat) for beat in row["bass_beats"]),
        )
        for name, row in models.read_json("dances/dances.json").items()
    }
