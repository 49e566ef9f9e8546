"""The grid of note values that the ticks of a MIDI file are put on.

Task     ticks -> exact places and lengths
In       notes in ticks, ticks in a whole note
Out      start, end and pitch of each note as fractions of a whole note
Method   the nearest place of sixty-fourths and triplets; a rarer one only where a tick falls on it
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

GRID = tuple(sorted({Fraction(n, 64) for n in range(64)} | {Fraction(n, 48) for n in range(48)}))
"""Places in a whole note that a written note may begin at: sixty-fourths and triplet sixteenths."""
ON_MAIN_GRID = frozenset(GRID)
COARSE = tuple(at for at in GRID if (at * 32).denominator == 1 or (at * 24).denominator == 1)
RARE = tuple(
    sorted({Fraction(n, parts) for parts in (96, 112, 128, 144, 160) for n in range(parts)})
)
"""Places of quintuplets and very short notes, taken only where a tick falls right on one."""
EXACT = Fraction(1, 3000)  # of a whole note; nearer is rounding
NEAR = Fraction(1, 400)
"""A whole note's part by which a tick may miss the grid."""


@dataclass(frozen=True, slots=True)
class TickNote:
    """A note of the file in ticks."""

    start: int
    end: int
    midi: int


def snapped(tick: int, whole: int, grid: Sequence[Fraction]) -> Fraction:
    """The place of the grid nearest to a tick; a rare one only if it fits exactly."""
    full, inside = divmod(tick, whole)
    at = Fraction(inside, whole)
    found = nearest(at, grid)
    if abs(found - at) > EXACT:
        rare = nearest(at, RARE)
        if abs(rare - at) <= EXACT:
            return full + rare
    return full + found


def nearest(at: Fraction, grid: Sequence[Fraction]) -> Fraction:
    """The place of the grid nearest to a place inside a whole note."""
    after = bisect_right(grid, at)
    near = [grid[after - 1], grid[after] if after < len(grid) else Fraction(1)]
    return min(near, key=lambda place: (abs(place - at), place.denominator))


def quantised(notes: Sequence[TickNote], whole: int) -> list[tuple[Fraction, Fraction, int]]:
    """Start, end and pitch on the grid.

    A note that ends off the grid was written shorter than it counts and lasts to the next one.
    """
    starts = [snapped(note.start, whole, GRID) for note in notes]
    found = []
    for place, note in enumerate(notes):
        start = starts[place]
        following = starts[place + 1] if place + 1 < len(notes) else None
        at = Fraction(note.end, whole)
        end = snapped(note.end, whole, GRID)
        plain = abs(at // 1 + nearest(at % 1, GRID) - at) <= NEAR / 4
        if not plain and end != following and start % 1 in ON_MAIN_GRID:
            end = at // 1 + nearest(at % 1, COARSE)
            if following is None:
                end = Fraction(ceil(at * 8), 8)
            elif following - start <= 2 * (end - start):
                end = following
        if following is not None:
            end = min(end, following)
        if end > start:
            found.append((start, end, note.midi))
    return found
