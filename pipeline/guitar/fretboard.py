"""Geometry of the fretboard: millimetres, frets and the places where a pitch can be played.

Task: say where on six strings a pitch lies and how far places are apart.
In: scale length in mm, capo, open strings as MIDI numbers from low to high.
Out: distances in mm; places as (string, fret).
Method: equal-tempered frets, fret n at L * (1 - 2 ** (-n / 12)) from the nut.
Conventions: string 1 is the highest-pitched, 6 the lowest. Frets count from the capo (0 is open)
unless a name says `_from_nut`.
References: standard equal-tempered geometry, e.g. Fletcher and Rossing, The Physics of Musical
Instruments, chapter 9.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from liltwright.units import Number

STRINGS = 6  # of a guitar


class Place(NamedTuple):
    """Where a note is played: string 1 (highest) to 6, fret counted from the capo."""

    string: int
    fret: int


def fret_mm(fret_from_nut: Number, scale_mm: float) -> Number:
    """Distance from the nut to a fret wire in mm, of one fret or an array of them."""
    return scale_mm * (1.0 - 2.0 ** (-fret_from_nut / 12.0))


def span_mm(fret_a: int, fret_b: int, *, capo: int, scale_mm: float) -> float:
    """Distance in mm between two fret wires whose numbers count from the capo."""
    return abs(fret_mm(capo + fret_a, scale_mm) - fret_mm(capo + fret_b, scale_mm))


def last_fret(capo: int, *, body_fret: int, past_body: int) -> int:
    """Highest fret in reach, counted from the capo: the body joint stays where it is."""
    return body_fret + past_body - capo


def open_midi(strings_midi: Sequence[int], string: int) -> int:
    """Pitch of an open string without the capo; strings_midi runs from low to high."""
    return strings_midi[STRINGS - string]


def places(strings_midi: Sequence[int], capo: int, midi: int, highest: int) -> tuple[Place, ...]:
    """Every place that sounds `midi`, string 1 first, with frets 0 to `highest`."""
    found = []
    for string in range(1, STRINGS + 1):
        fret = midi - capo - open_midi(strings_midi, string)
        if 0 <= fret <= highest:
            found.append(Place(string, fret))
    return tuple(found)
