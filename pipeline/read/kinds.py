"""Tune type, beat and tempo of a written tune that does not state them outright."""

from __future__ import annotations

import re
from fractions import Fraction
from functools import cache

from liltwright.dances import dances
from liltwright.tune import TuneType


def type_named(text: str) -> TuneType | None:
    """The tune type that a rhythm field or a title names, if any; the longest name wins."""
    words = f" {re.sub(r'[^a-z]+', ' ', text.lower())} "
    for word, kind in _names():
        if f" {word} " in words or f" {word}s " in words:
            return kind
    return None


@cache
def _names() -> tuple[tuple[str, TuneType], ...]:
    """Every name of every type, longest first, so "slip jig" before "jig"."""
    named = [(word, kind) for kind, dance in dances().items() for word in dance.words]
    return tuple(sorted(named, key=lambda pair: -len(pair[0])))


def type_of_meter(meter: str) -> TuneType:
    """The commonest tune type in a metre; an air where no dance has it."""
    return next((kind for kind, dance in dances().items() if meter in dance.usual_in), "air")


def beat_of(tune_type: TuneType, meter: str) -> Fraction:
    """The unit that a foot taps, as a fraction of a whole note, fitted to the metre.

    A reel or hornpipe printed in 2/4 has two beats in the bar, as in 4/4.
    """
    upper, _, lower = meter.partition("/")
    if int(upper) > 3 and int(upper) % 3 == 0 and int(lower) >= 8:
        return Fraction(3, int(lower))
    beat, bar = dances()[tune_type].beat, Fraction(meter)
    if beat == Fraction(1, 2) == bar:
        return Fraction(1, 4)
    return beat if (bar / beat).denominator == 1 else Fraction(1, int(lower))


def usual_tempo(tune_type: TuneType) -> float:
    """Beats per minute in the middle of what is usual for the type."""
    slow, fast = dances()[tune_type].usual_bpm
    return float(round((slow + fast) / 2))
