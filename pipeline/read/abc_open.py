"""A bar of ABC notation while it is read, and the ReadBar that becomes of it.

Lengths are whole numbers of ticks until the end, as every length that ABC can state is one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache

from liltwright.read.bars import ReadBar
from liltwright.tune import Ornament, ScoreNote

TICKS = 1024 * 9 * 5 * 7
"""Ticks in a whole note: every length down to 1/1024 and every tuplet up to nine is a whole
number of them."""


@lru_cache(maxsize=4096)
def whole_notes(ticks: int) -> Fraction:
    """Ticks as a fraction of a whole note."""
    return Fraction(ticks, TICKS)


@dataclass(slots=True)
class AbcEvent:
    """A note, or a rest (midi None); lengths stay open to change until the tune is read."""

    midi: int | None
    place: tuple[str, str]
    ticks: int
    ornament: Ornament | None = None
    tie: bool = False
    graces: tuple[int, ...] = ()
    """Pitches of the grace notes before it."""


@dataclass(slots=True)
class OpenBar:
    """What stands between two bar lines so far."""

    events: list[AbcEvent] = field(default_factory=list)
    chords: list[tuple[int, str]] = field(default_factory=list)
    opens: bool = False
    closes: bool = False
    times: int = 1
    ending: tuple[int, ...] = ()
    label: str = ""
    line: int = 0
    """The line of the file on which it begins."""
    full: int = 0
    """Ticks of a full bar in the metre here."""


Begun = tuple[list[int], Ornament | None, tuple[int, ...]]
"""A note as [midi, start, ticks], its ornament, the pitches of its grace notes."""


def finish(bar: OpenBar, notes: list[Begun]) -> ReadBar:
    """The bar with its notes."""
    starts = [0]
    for event in bar.events:
        starts.append(starts[-1] + event.ticks)
    return ReadBar(
        notes=tuple(
            ScoreNote(
                midi,
                whole_notes(start),
                whole_notes(ticks),
                ornament,
                graces=tuple(grace - midi for grace in graces),
            )
            for (midi, start, ticks), ornament, graces in notes
            if ticks > 0
        ),
        length=whole_notes(starts[-1]),
        opens=bar.opens,
        closes=bar.closes,
        times=bar.times,
        ending=bar.ending,
        label=bar.label,
        chords=tuple((whole_notes(starts[index]), symbol) for index, symbol in bar.chords),
    )
