"""The columns of text tablature: which moments of a bar are shown, and what stands on the strings.

Task     cut a bar at every moment something begins or stops
In       the bars of a Sheet with guitar strings
Out      for each bar its Columns, each with a rhythm mark and a cell for every string
Method   A melody note lasts until the next melody note of its bar or to the bar line, a bass or
         inner note as long as its ring sign goes on; where a melody note does otherwise, a dot on
         its string stops it. A note held over a bar line stands in brackets in the next bar.
         Every note stops when its string is played again.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache

from liltwright.notation import RHYTHM_MARKS
from liltwright.write.sheet.bars import Sheet, SheetBar
from liltwright.write.sheet.values import divided, tuplet_of, value_and_dots
from liltwright.write.sheet.voices import SheetNote

STRINGS = range(1, 7)  # of a guitar
RINGS = {"melody": "-", "bass": "=", "inner": "~"}
TECHNIQUES = {"hammer-on": "h", "pull-off": "p", "slide": "s"}
STOP = "."


@dataclass(slots=True)
class TabColumn:
    """One moment of a bar."""

    at: Fraction
    step: Fraction
    """Time until the next column."""
    chord: str = ""
    cells: dict[int, str] = field(default_factory=dict)
    """What stands on a string here."""
    rings: dict[int, str] = field(default_factory=dict)
    """The sign that fills a string until the next column."""
    stops_after: list[int] = field(default_factory=list)
    """Strings that are stopped at the bar line that follows this column."""

    @property
    def mark(self) -> str:
        """The rhythm mark: how long until the next column."""
        return rhythm_mark(self.step)


@dataclass(frozen=True, slots=True)
class _Ringing:
    """A note with when it begins and ends, counted from the first bar."""

    note: SheetNote
    start: Fraction
    end: Fraction


def columns_of(sheet: Sheet) -> list[list[TabColumn]]:
    """The columns of every bar."""
    begins = [Fraction(0)]
    for bar in sheet.bars:
        begins.append(begins[-1] + bar.length)
    ringing = _ringing(sheet.bars, begins)
    by_bar: list[list[_Ringing]] = [[] for _ in sheet.bars]
    for one in ringing:
        index = bisect_right(begins, one.start) - 1
        while index < len(by_bar) and begins[index] < one.end:
            by_bar[index].append(one)
            index += 1
    return [
        _bar_columns(sheet, bar, begins[index], by_bar[index])
        for index, bar in enumerate(sheet.bars)
    ]


@lru_cache(maxsize=1024)
def rhythm_mark(step: Fraction) -> str:
    """ "q" quarter, "e." dotted eighth, "e3" eighth of a triplet; else the fraction itself."""
    tuplet = tuplet_of(step)
    shown = value_and_dots(step * tuplet[0] / tuplet[1]) if tuplet else value_and_dots(step)
    if shown is None or shown[0] not in RHYTHM_MARKS:
        return str(step)
    return RHYTHM_MARKS[shown[0]] + "." * shown[1] + (str(tuplet[0]) if tuplet else "")


def _ringing(bars: Sequence[SheetBar], begins: Sequence[Fraction]) -> list[_Ringing]:
    """Every note but grace notes, cut where its string is played again or must not ring on."""
    notes = []
    limit = begins[-1]
    limits = [limit] * len(bars)
    for index in range(len(bars) - 1, -1, -1):
        if not bars[index].rings_on:
            limit = begins[index + 1]
        limits[index] = limit
    for index, bar in enumerate(bars):
        for note in bar.sounding:
            if not note.grace:
                start = begins[index] + note.start
                notes.append(_Ringing(note, start, min(start + note.length, limits[index])))
    notes.sort(key=lambda one: (one.start, one.note.string))
    following: dict[int, Fraction] = {}
    done = []
    for one in reversed(notes):
        end = min(one.end, following.get(one.note.string, one.end))
        following[one.note.string] = one.start
        if end > one.start:
            done.append(_Ringing(one.note, one.start, end))
    return done[::-1]


def _bar_columns(
    sheet: Sheet, bar: SheetBar, begin: Fraction, ringing: Sequence[_Ringing]
) -> list[TabColumn]:
    end = begin + bar.length
    stops = _melody_stops(ringing, begin, end)
    moments = {begin} | {max(one.start, begin) for one in ringing}
    moments |= {one.end for one in ringing if one.note.voice != "melody" and one.end < end}
    moments |= {at for at, _ in stops if at < end}
    moments |= {begin + at for at, _ in bar.chords if at < bar.length}
    moments |= {begin + note.start for note in bar.sounding if note.grace}
    columns = _empty(sheet, bar, sorted(at - begin for at in moments))
    chords = dict(bar.chords)
    graces = _grace_cells(bar)
    for column in columns:
        now = begin + column.at
        column.chord = chords.get(column.at, "")
        column.cells |= {s: text for (at, s), text in graces.items() if at == column.at}
        for at, string in stops:
            if at == now:
                column.cells[string] = STOP + column.cells.get(string, "")
            elif at == end and column is columns[-1]:
                column.stops_after.append(string)
        for one in ringing:
            string = one.note.string
            if one.start <= now < one.end:
                column.rings[string] = RINGS[one.note.voice]
            if max(one.start, begin) == now:
                held = one.start < begin
                text = f"({one.note.fret})" if held else _fret(one.note)
                before = column.cells.get(string, "")
                comma = "," if "g" in before and text[0].isdigit() else ""
                column.cells[string] = f"{before}{comma}{text}"
    return columns


def _melody_stops(
    ringing: Sequence[_Ringing], begin: Fraction, end: Fraction
) -> list[tuple[Fraction, int]]:
    """Where a melody note needs a dot, as moment and string."""
    onsets = sorted(one.start for one in ringing if one.note.voice == "melody")
    stops = []
    for one in ringing:
        if one.note.voice != "melody" or one.end > end:
            continue
        after = max(one.start, begin)
        usual = next((at for at in onsets if at > after), end)
        string = one.note.string
        again = (other.start for other in ringing if other.note.string == string)
        usual = min([usual, *(at for at in again if at > after)])
        if one.end != usual:
            stops.append((one.end, one.note.string))
    return stops


def _empty(sheet: Sheet, bar: SheetBar, moments: Sequence[Fraction]) -> list[TabColumn]:
    """Columns at the moments, and more where one rhythm mark cannot say the time between."""
    columns = []
    for place, at in enumerate(moments):
        until = moments[place + 1] if place + 1 < len(moments) else bar.length
        pieces: tuple[Fraction, ...] = (until - at,)
        if not tuplet_of(until - at):
            pieces = divided(bar.offset + at, until - at, sheet.meter)
        for piece in pieces:
            columns.append(TabColumn(at, piece))
            at += piece
    return columns


def _grace_cells(bar: SheetBar) -> dict[tuple[Fraction, int], str]:
    cells: dict[tuple[Fraction, int], str] = {}
    for note in bar.sounding:
        if note.grace:
            place = (note.start, note.string)
            cells[place] = cells.get(place, "") + "g" + _fret(note)
    return cells


def _fret(note: SheetNote) -> str:
    return f"{TECHNIQUES[note.technique] if note.technique else ''}{note.fret}"
