"""Tablature typed by hand: a proposal of the rhythm by the distance of the columns.

Task     give columns their moments when the text states no rhythm
In       RawBars; the full bar
Out      TimedBars, marked as spacing
Method   The bar is laid on a grid of eighths, sixteenths or 32nds, the coarsest that keeps all
         columns apart and near to it; people leave the same margin after every bar line, so the
         usual one is preferred. Without a metre, bars count as six eighths when more of them
         fit these than fit four quarters, or when only their width tells.
References: none; such notation has no standard (common practice).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from liltwright.read.typed_systems import RawBar, RawSystem

Source = Literal["letters", "counts", "spacing"]
_WIDEST_PAD = 3  # columns between a bar line and the first fret that are no time
_FITS = 0.34
"""Slots that a column may stand off the grid."""
_SIX = Fraction(3, 4)  # of a whole note: a bar of 6/8
_TELLING = 3
"""Columns from which a bar says what its grid is."""


@dataclass(frozen=True, slots=True)
class TimedBar:
    """The moments of one bar."""

    starts: dict[int, Fraction]
    """By column of frets."""
    moments: tuple[Fraction, ...]
    """Where something begins or a rest is written."""
    length: Fraction
    source: Source
    shared: bool = False
    """Whether columns without a letter of their own share the time of one."""


def usual_pad(systems: Sequence[RawSystem]) -> int:
    """The margin that most bars leave before their first fret."""
    firsts = Counter(
        bar.columns[0] - bar.begin
        for system in systems
        for bar in system.bars
        if bar.columns and bar.columns[0] - bar.begin <= _WIDEST_PAD
    )
    return min(firsts, key=lambda pad: (-firsts[pad], pad)) if firsts else 1


def full_by_spacing(systems: Sequence[RawSystem]) -> Fraction:
    """Without a metre: bars of six eighths when more fit these, else of four quarters.

    Where the frets fit both, a bar of twelve columns is six eighths of two columns each.
    """
    pad = usual_pad(systems)
    bars = [bar for system in systems for bar in system.bars if bar.columns]
    six = eight = 0
    for bar in bars:
        fits = [_fit(bar, slots, pad)[0] <= _FITS / 2 for slots in (6, 8)]
        if len(bar.columns) >= _TELLING:
            six, eight = six + fits[0], eight + fits[1]
    widths = Counter(bar.end - bar.begin - pad for bar in bars)
    usual = max(widths, key=lambda width: (widths[width], width), default=0)
    by_width = usual % 6 == 0 and usual % 8 != 0
    if six == eight:
        return _SIX if bars and by_width else Fraction(1)
    return _SIX if six > eight and (by_width or six * 2 > len(bars)) else Fraction(1)


def _fit(bar: RawBar, slots: int, usual: int) -> tuple[float, list[int]]:
    """How far the columns stand off a grid of so many slots, at best; and their slots."""
    width = bar.end - bar.begin
    offsets = [column - bar.begin for column in bar.columns]
    best: tuple[float, float, list[int]] = (float("inf"), float("inf"), [])
    pads = {min(offsets[0], usual), offsets[0] if offsets[0] <= _WIDEST_PAD else usual}
    for pad in sorted(pads):
        for extra in (0, 1, 2):
            whole = width - pad + extra
            if whole <= 0:
                continue
            at = [(offset - pad) * slots / whole for offset in offsets]
            places = [round(place) for place in at]
            if len(set(places)) < len(places) or places[-1] >= slots:
                continue
            off = max(abs(one - place) for one, place in zip(at, places, strict=True))
            cost = off + 0.08 * abs(pad - usual) + 0.05 * extra
            if cost < best[0]:
                best = (cost, off, places)
    return best[1], best[2]


def by_spacing(bar: RawBar, full: Fraction, pad: int) -> TimedBar:
    """A bar of known length, its columns on the coarsest grid that they fit."""
    if not bar.columns:
        return TimedBar({}, (Fraction(0),), full, "spacing")
    grids = [int(full * unit) for unit in (8, 16, 32) if (full * unit).denominator == 1]
    fits = [(slots, *_fit(bar, slots, pad)) for slots in grids]
    good = [fit for fit in fits if fit[1] <= _FITS] or sorted(
        (fit for fit in fits if fit[2]), key=lambda fit: fit[1] * full / fit[0]
    )
    if good:
        slots, _, places = good[0]
        starts = [full * place / slots for place in places]
    else:
        starts = [full * place / len(bar.columns) for place in range(len(bar.columns))]
    moments = tuple(sorted({Fraction(0), *starts}))
    return TimedBar(dict(zip(bar.columns, starts, strict=True)), moments, full, "spacing")


def without_bars(bar: RawBar) -> TimedBar:
    """A row without bar lines: the narrowest distance of two columns is an eighth."""
    gap = min(two - one for one, two in pairwise(bar.columns))
    slots = [round((column - bar.columns[0]) / gap) for column in bar.columns]
    starts = {column: Fraction(slot, 8) for column, slot in zip(bar.columns, slots, strict=True)}
    return TimedBar(starts, tuple(starts.values()), Fraction(slots[-1] + 1, 8), "spacing")
