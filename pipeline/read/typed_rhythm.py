"""Tablature typed by hand: when each column of frets is played.

Task     give the columns of a bar their moments, and say whether the text states them
In       RawSystems; the lines around them; the metre, if the text names one
Out      for every bar a TimedBar
Method   Letters above the strings (w h q e s t, dotted, 3 of a triplet) say how long until the next
         letter; counts such as "1 & 2 &" say where the beats are. Without either, or where a bar
         has no sign over it, typed_spacing.py proposes the moments.
References: none; such notation has no standard (common practice).
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from statistics import median
from typing import TypeVar

from liltwright.limits import limit, ratio
from liltwright.notation import RHYTHM_MARKS
from liltwright.read.typed_lines import TextLine, refusal
from liltwright.read.typed_spacing import (
    TimedBar,
    by_spacing,
    full_by_spacing,
    usual_pad,
    without_bars,
)
from liltwright.read.typed_systems import RawBar, RawSystem

T = TypeVar("T")
_MARK = re.compile(r"([bwhqestxyBWHQEST])(\.{0,2})([3579]?)|([0-9]{1,9}/[0-9]{1,9})")
_VALUES = {mark: value for value, mark in RHYTHM_MARKS.items()}
_IN_THE_TIME_OF = {"3": 2, "5": 4, "7": 4, "9": 8}
"""So many notes of a tuplet take the time of how many."""
_CHORD_LETTERS = frozenset("BE")
_COUNT = re.compile(r"[1-9]|1[0-2]|[&+ea]|and")
_SHORT_BAR = 0.6
"""Of the usual width: a narrower bar at an edge of a part is a pick-up or its rest."""


def timed(
    systems: Sequence[RawSystem], lines: Sequence[TextLine], meter: str | None, name: str
) -> tuple[list[TimedBar], Fraction]:
    """Every bar in order, and the full bar that spacing was measured by.

    Raises PipelineError with line and column for a length that cannot be.
    """
    full = Fraction(meter) if meter else full_by_spacing(systems)
    widths = [bar.end - bar.begin for system in systems for bar in system.bars if bar.columns]
    usual = median(widths) if len(widths) >= 3 else 0.0
    pad = usual_pad(systems)
    counts_above = bool(systems) and _counts(_adjacent(systems[0], lines, above=True)) is not None
    done: list[TimedBar] = []
    bars = [bar for system in systems for bar in system.bars]
    for system in systems:
        letters = next(
            (steps for row in _above(system, lines) if (steps := _letters(row, name))), None
        )
        counts = None if letters else _counts(_adjacent(system, lines, above=counts_above))
        for bar in system.bars:
            found: TimedBar | None = None
            if letters:
                found = _by_letters(bar, _within(letters, bar, system.origin), name)
            elif counts:
                found = _by_counts(bar, _within(counts, bar, system.origin), meter, full)
            if found is None and not system.has_bar_lines and len(bar.columns) > full * 8:
                found = without_bars(bar)
            if found is None:
                index = len(done)
                edge = (
                    index in (0, len(bars) - 1)
                    or bar.opens
                    or bars[index - 1].double
                    or bar.times > 1
                    or bar.double
                )
                short = edge and usual and bar.end - bar.begin <= _SHORT_BAR * usual
                part = full
                if short:
                    eighths = round((bar.end - bar.begin) / usual * float(full) * 8)
                    part = min(full, Fraction(max(1, eighths), 8))
                found = by_spacing(bar, part, pad)
            done.append(found)
    return done, full


# ---------------------------------------------------------------- rows around a system


def _above(system: RawSystem, lines: Sequence[TextLine]) -> list[TextLine]:
    """The rows over a system, the nearest first."""
    rows = []
    for index in range(system.block.first - 1, max(system.block.first - 5, -1), -1):
        if lines[index].is_string:
            break
        if lines[index].text.strip():
            rows.append(lines[index])
    return rows[:3]


def _adjacent(system: RawSystem, lines: Sequence[TextLine], *, above: bool) -> TextLine | None:
    index = system.block.first - 1 if above else system.block.after
    line = lines[index] if 0 <= index < len(lines) else None
    return line if line is not None and not line.is_string and line.text.strip() else None


def endings_of(system: RawSystem, lines: Sequence[TextLine]) -> list[tuple[int, tuple[int, ...]]]:
    """Endings over a system: column of the strings, and the times through that play it."""
    found = []
    for row in _above(system, lines):
        for one in re.finditer(
            r"(?<![^\s|\[_])([1-4](?: ?, ?[1-4]){0,3})(?:\.|st|nd|rd|th)(?=[\s_\]|-]|$)", row.text
        ):
            times = tuple(int(time) for time in re.findall(r"\d", one.group(1)))
            found.append((one.start() - system.origin, times))
    return found


def _letters(row: TextLine, name: str) -> list[tuple[int, Fraction]] | None:
    """The steps of a row of rhythm letters with their columns; None when it is no such row."""
    tokens = [(one.start(), one.group()) for one in re.finditer(r"[^\s|]+", row.text)]
    matches = [(at, _MARK.fullmatch(text)) for at, text in tokens]
    if not tokens or any(match is None for _, match in matches):
        return None
    firsts = {text[0] for _, text in tokens}
    if firsts <= _CHORD_LETTERS or not any(first.isalpha() for first in firsts):
        return None
    steps = []
    for at, match in matches:
        assert match
        letter, dots, tuplet, quotient = match.groups()
        if quotient:
            upper, _, lower = quotient.partition("/")
            if not int(lower) or not int(upper) or int(lower) > limit("denominator"):
                raise refusal(name, row.places[at], f'"{quotient}" is no length; write 1/8, or e')
            step = ratio(quotient)
        else:
            step = _VALUES[letter.lower()] * (2 - Fraction(1, 2 ** len(dots)))
            step = step * _IN_THE_TIME_OF[tuplet] / int(tuplet) if tuplet else step
        if step > limit("note_whole_notes"):
            raise refusal(
                name,
                row.places[at],
                f'"{quotient}" is longer than {limit("note_whole_notes")} whole notes; correct it',
            )
        steps.append((at, step))
    return steps


def _counts(row: TextLine | None) -> list[tuple[int, str]] | None:
    """The tokens of a row such as "1 & 2 &" with their columns; None when it is no such row."""
    if row is None:
        return None
    tokens = [(one.start(), one.group()) for one in re.finditer(r"[^\s|]+", row.text)]
    if len(tokens) < 2 or tokens[0][1] not in ("1", "&", "+", "and", "2", "3", "4", "6"):
        return None
    if not all(_COUNT.fullmatch(text) for _, text in tokens):
        return None
    return tokens if any(text == "1" for _, text in tokens) else None


# ---------------------------------------------------------------- stated rhythm


def _within(row: Sequence[tuple[int, T]], bar: RawBar, origin: int) -> list[tuple[int, T]]:
    """What stands over one bar, by column of the strings."""
    first = bisect_left(row, bar.begin + origin, key=_column)
    last = bisect_left(row, bar.end + origin, key=_column)
    return [(column - origin, what) for column, what in row[first:last]]


def _column(token: tuple[int, object]) -> int:
    return token[0]


def _nearest(columns: Sequence[int], column: int) -> int:
    """The place of the nearest of some columns in order."""
    after = min(bisect_left(columns, column), len(columns) - 1)
    before = max(after - 1, 0)
    return before if column - columns[before] <= columns[after] - column else after


def _by_letters(bar: RawBar, marks: Sequence[tuple[int, Fraction]], name: str) -> TimedBar | None:
    if not marks:
        return None
    begins: list[Fraction] = []
    now = Fraction(0)
    for _, step in marks:
        begins.append(now)
        now += step
        if now.denominator > limit("denominator"):
            raise refusal(
                name,
                bar.place,
                "the lengths over this bar add up to no length that can be played; correct them",
            )
    at = [column for column, _ in marks]
    under: dict[int, list[int]] = {}
    for column in bar.columns:
        near = _nearest(at, column)
        if abs(at[near] - column) > 1 or near in under:
            near = bisect_right(at, column + 1) - 1
        if near < 0:
            return None
        under.setdefault(near, []).append(column)
    starts = {}
    for index, columns in under.items():
        for place, column in enumerate(columns):
            starts[column] = begins[index] + marks[index][1] * place / len(columns)
    moments = tuple(sorted({*begins, *starts.values()}))
    shared = any(len(columns) > 1 for columns in under.values())
    return TimedBar(starts, moments, now, "letters", shared)


def _by_counts(
    bar: RawBar, tokens: Sequence[tuple[int, str]], meter: str | None, full: Fraction
) -> TimedBar | None:
    numbers = [int(text) for _, text in tokens if text.isdigit()]
    if not numbers:
        return None
    lower = int(meter.partition("/")[2]) if meter else 4
    most = max(numbers)
    if meter is None:
        lower = 8 if most in (6, 9, 12) else 4
        full = Fraction(max(most, 2), lower)
    unit = Fraction(1, lower)
    thirds = lower >= 8 and most * 3 <= full * lower
    unit = unit * 3 if thirds else unit
    parts = {"&": Fraction(1, 2), "+": Fraction(1, 2), "and": Fraction(1, 2),
             "e": Fraction(1, 4), "a": Fraction(3, 4)}  # fmt: skip
    if thirds:
        parts |= dict.fromkeys(("&", "+", "and", "e"), Fraction(1, 3)) | {"a": Fraction(2, 3)}
    at = Fraction(numbers[0] - 1 if tokens[0][1].isdigit() else numbers[0] - 2) * unit
    anchors = []
    for column, text in tokens:
        if text.isdigit():
            at = (int(text) - 1) * unit
            anchors.append((column, at))
        else:
            anchors.append((column, at + parts[text] * unit))
    if any(two[1] <= one[1] for one, two in pairwise(anchors)):
        return None
    starts: dict[int, Fraction] = {}
    taken: set[Fraction] = set()
    shared = False
    where = [place for place, _ in anchors]
    for column in bar.columns:
        near = anchors[_nearest(where, column)]
        if abs(near[0] - column) <= 1 and near[1] not in taken:
            starts[column] = near[1]
            taken.add(near[1])
            continue
        shared = True
        place = bisect_right(where, column)
        before = anchors[place - 1]
        after = anchors[place] if place < len(anchors) else (bar.end, full)
        if not place or after[0] <= before[0]:
            return None
        part = Fraction(column - before[0], after[0] - before[0])
        starts[column] = Fraction(round((before[1] + part * (after[1] - before[1])) * 32), 32)
    if len(set(starts.values())) < len(starts) or any(not 0 <= s < full for s in starts.values()):
        return None
    return TimedBar(starts, tuple(sorted({Fraction(0), *starts.values()})), full, "counts", shared)
