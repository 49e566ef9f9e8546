"""Where in the bar the bass falls, where it may pass, where inner notes fit (models/bass)."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from liltwright import models
from liltwright.tune import Tune

FILE = "bass/metres.json"


@dataclass(frozen=True, slots=True)
class Pulse:
    """Places in a full bar, as fractions of a whole note from the bar line."""

    main: tuple[Fraction, ...]
    """Main beats: drone and plain bass fall here, and chords may change."""
    walk: tuple[Fraction, ...]
    """Weak places where a moving bass may pass."""
    inner: tuple[Fraction, ...]
    """Weak places where the fuller layer may add inner notes."""
    beat: Fraction
    """Length of one main beat."""


def pulse_of(tune: Tune) -> Pulse:
    """The pulse of a tune by its type and metre."""
    return _pulse(tune.tune_type, tune.meter)


@cache
def _pulse(tune_type: str, meter: str) -> Pulse:
    table = models.read_json(FILE)
    row = table.get(f"{tune_type} {meter}") or table.get(meter)
    if row is None:
        # A metre that no dance is written in: the bass marks the bar line and nothing passes.
        return Pulse((Fraction(0),), (), (), Fraction(meter))
    return Pulse(
        tuple(Fraction(place) for place in row["main"]),
        tuple(Fraction(place) for place in row["walk"]),
        tuple(Fraction(place) for place in row["inner"]),
        Fraction(row["beat"]),
    )
