"""Tablature typed by hand: one system of six strings cut into bars, frets and signs.

Task     say which frets stand in which column of which bar, and what the signs at them are
In       a Block of six Lines
Out      RawBars
Method   The strings are laid under each other by their first bar line. A column is a bar line when
         most strings have one there; a string that has none there, or one elsewhere, is refused at
         that place. Digits are frets, two at the most; the digits after a bend or release are where
         the bend goes, not a note. Frets of one chord that stand a column apart because one has two
         digits belong together.
References: none; such notation has no standard (common practice).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from liltwright.limits import limit
from liltwright.read.typed_lines import Block, refusal

REACHED = "hp/\\st"
"""Signs before a fret that say how it is reached."""
BENDS = "br^"
"""Signs after a fret whose digits are no note."""
AFTER = "~vx><)]}=*.'+TM"
BEFORE = "(<[{g"
FILL = '-: ,|o"'
SIGNS = {*REACHED, *BENDS, *AFTER, *BEFORE, *FILL}
_CAPITALS = {"H": "h", "P": "p", "S": "s", "B": "b", "R": "r", "X": "x", "V": "v", "G": "g"}
_TIMES = re.compile(r"(?:\bx ?|\btimes? ?|\()(\d{1,9})\b|\b(\d{1,9}) ?(?:x|times)(?![a-z])", re.I)
_MOST_FRET_DIGITS = 2  # of a fret's number
_NUMBERED = ["1|", "2|", "3|", "4|", "5|", "6|"]
"""String numbers in place of tuning letters."""


@dataclass(slots=True)
class TypedFret:
    """One fret as it stands in the text."""

    string: int
    fret: int
    column: int
    """Of the string, not of the line."""
    width: int
    marks: list[str]
    rings_to: int
    """Column where a row of = or ~ after the fret ends; the fret's own column without one."""


@dataclass(slots=True)
class RawBar:
    """One bar; columns count from the beginning of the string."""

    begin: int
    end: int
    notes: list[TypedFret]
    place: tuple[int, int]
    opens: bool = False
    times: int = 1
    double: bool = False
    ending: tuple[int, ...] = ()
    columns: list[int] = field(default_factory=list)
    """Columns where something is played, in order."""


@dataclass(frozen=True, slots=True)
class RawSystem:
    """The bars of one block, and at which column of its lines the strings begin."""

    bars: tuple[RawBar, ...]
    origin: int
    block: Block
    has_bar_lines: bool


def system_of(block: Block, name: str) -> RawSystem:
    """Cut one system. Raises PipelineError with line and column when it is not well formed."""
    begins = _begins(block)
    rows, tails = [], []
    for line, begin in zip(block.lines, begins, strict=True):
        body, tail = _split_tail(line.text[begin:])
        rows.append(body)
        tails.append(tail)
    _check_lengths(rows, begins, block, name)
    places = [
        [line.places[min(begin + at, len(line.places) - 1)] for at in range(len(row))]
        for line, begin, row in zip(block.lines, begins, rows, strict=True)
    ]
    width = len(rows[0])
    if not any(row.strip("|") for row in rows):
        place = block.lines[0].places[0]
        raise refusal(name, place, "the system is empty; write dashes and frets into it")
    barred = [sum(row[at] == "|" for row in rows) > len(rows) // 2 for at in range(width)]
    _check_bar_lines(rows, barred, places, name)
    groups = _bar_groups(barred)
    starts, ends = bool(groups) and groups[0][0] == 0, bool(groups) and groups[-1][1] == width
    edges = ([] if starts else [(0, 0)]) + groups + ([] if ends else [(width, width)])
    bars: list[RawBar] = []
    held: list[TypedFret | None] = [None] * len(rows)
    for (before, begin), (end, after) in pairwise(edges):
        bar = RawBar(begin, end, [], places[0][min(begin, width - 1)])
        bar.opens = _is_repeat([row[begin : begin + 1] for row in rows]) and begin > before
        closes = _is_repeat([row[end - 1 : end] for row in rows]) and after > end
        bar.times = 2 if closes else 1
        bar.double = after - end > 1
        inner = (begin + bar.opens, end - closes)
        for index, row in enumerate(rows):
            held[index] = _cells(bar, index + 1, row, inner, places[index], name, held[index])
        _align(bar)
        bars.append(bar)
    _set_times(bars[-1], block, tails, name)
    return RawSystem(tuple(bars), begins[0], block, bool(groups))


def _set_times(bar: RawBar, block: Block, tails: Sequence[str], name: str) -> None:
    """How often the system is played, when words behind it say so."""
    for line, tail in zip(block.lines, tails, strict=True):
        found = _TIMES.search(tail)
        if not found:
            continue
        which = 1 if found.group(1) else 2
        count = int(found.group(which))
        if not 1 <= count <= limit("repeats"):
            raise refusal(
                name,
                line.places[len(line.text) - len(tail) + found.start(which)],
                f"the part is repeated {count} times, the limit is {limit('repeats')}; "
                "write a smaller number of times",
            )
        bar.times = count
        return


def _begins(block: Block) -> list[int]:
    """Where the strings begin, so that they stand under each other."""
    own = [line.begin for line in block.lines]
    if [line.text[at : at + 2] for line, at in zip(block.lines, own, strict=True)] == _NUMBERED:
        return [at + 1 for at in own]
    bodies = {len(_split_tail(line.text[line.begin :])[0]) for line in block.lines}
    if len(bodies) > 1 and all(line.text[line.begin : line.begin + 1] != "|" for line in
                               block.lines):  # fmt: skip
        ends = {line.begin + len(_split_tail(line.text[line.begin :])[0]) for line in block.lines}
        if len(ends) == 1:
            return [max(own)] * len(own)
    return own


def _split_tail(body: str) -> tuple[str, str]:
    """A string, and the words after its last bar line."""
    last = body.rfind("|")
    tail = body[last + 1 :]
    if last > 0 and tail.strip() and not re.search(r"-{2}", tail) and (
        tail[:1] in " (xX" or re.match(r"\d+ ?x", tail)
    ):  # fmt: skip
        return body[: last + 1], tail
    found = re.search(r"\s", body)
    if found and "-" not in body[found.start() :]:
        return body[: found.start()], body[found.start() :]
    return body, ""


def _check_lengths(rows: Sequence[str], begins: Sequence[int], block: Block, name: str) -> None:
    usual, most = Counter(map(len, rows)).most_common(1)[0]
    if most == len(rows):
        return
    if most < 2:
        usual = len(rows[0])
    good = next(row for row in rows if len(row) == usual)
    wanted = [at for at, sign in enumerate(good) if sign == "|"]
    for row, begin, line in zip(rows, begins, block.lines, strict=True):
        if len(row) == usual:
            continue
        bars = [at for at, sign in enumerate(row) if sign == "|"]
        at = next(
            (max(0, have) for have, want in zip(bars, wanted, strict=False) if have != want),
            min(len(row), usual),
        )
        off = abs(len(row) - usual)
        side = "longer" if len(row) > usual else "shorter"
        place = line.places[begin + at] if begin + at < len(line.places) else line.end
        raise refusal(
            name,
            place,
            f"this string is {off} sign{'s' * (off > 1)} {side} than the others of its system, "
            f"from about here; put in or take out dashes until all six are {usual} signs long",
        )


def _check_bar_lines(
    rows: Sequence[str],
    barred: Sequence[bool],
    places: Sequence[Sequence[tuple[int, int]]],
    name: str,
) -> None:
    for at, is_bar in enumerate(barred):
        for index, row in enumerate(rows):
            if (row[at] == "|") != is_bar and not (is_bar and row[at] in ":*"):
                what = "has no bar line where the others have one" if is_bar else (
                    "has a bar line where the others have none")  # fmt: skip
                raise refusal(
                    name,
                    places[index][at],
                    f"string {index + 1} {what}; put the bar lines under each other",
                )


def _bar_groups(barred: Sequence[bool]) -> list[tuple[int, int]]:
    """Bar lines that stand side by side, as first column and the one after the last."""
    groups: list[tuple[int, int]] = []
    for at, is_bar in enumerate(barred):
        if is_bar and groups and groups[-1][1] == at:
            groups[-1] = (groups[-1][0], at + 1)
        elif is_bar:
            groups.append((at, at + 1))
    return groups


def _is_repeat(signs: Sequence[str]) -> bool:
    """Whether the signs beside a bar line are the dots of a repeat."""
    dots = sum(sign in (":", "o", "*") for sign in signs)
    return ":" in signs or (dots >= 2 and all(sign in ("-", "o", "*") for sign in signs))


def _cells(
    bar: RawBar,
    string: int,
    row: str,
    inner: tuple[int, int],
    places: Sequence[tuple[int, int]],
    name: str,
    last: TypedFret | None,
) -> TypedFret | None:
    """Put the frets of one string into the bar; the last one comes back, for signs after it."""
    at, end = inner
    reached: list[str] = []
    while at < end:
        sign = _CAPITALS.get(row[at], row[at])
        if sign.isascii() and sign.isdigit():
            digits = re.compile(r"[0-9]+").match(row, at, end)
            assert digits
            text = digits.group()
            before = row[inner[0] : at].rstrip("(")[-1:]
            bent = last is not None and before in ("b", "r", "^", "B", "R")
            if len(text) > _MOST_FRET_DIGITS or int(text) > limit("typed_fret"):
                raise refusal(
                    name,
                    places[at],
                    f"{text[:12]} is above the limit of fret {limit('typed_fret')}; "
                    "correct it, or put a dash between two frets",
                )
            if bent and last is not None:
                reached = [one for one in reached if one != "("]
                last.marks[-1:] = [last.marks[-1] + text] if last.marks else []
            else:
                last = TypedFret(string, int(text), at, len(text), reached, at)
                bar.notes.append(last)
                reached = []
            at = digits.end()
            continue
        if sign not in SIGNS:
            raise refusal(
                name,
                places[at],
                f'"{sign if sign.isprintable() else "?"}" is no fret and no sign that is known; '
                "use h p / \\ s t b r x ~ ( ) < > ^ = * or a dash",
            )
        touching = last is not None and at > inner[0] and row[at - 1] not in FILL
        if sign == "x" and not touching:
            last = TypedFret(string, 0, at, 1, [*reached, "x"], at)
            bar.notes.append(last)
            reached = []
        elif sign in REACHED or sign in BEFORE:
            reached.append(sign)
        elif sign in (*BENDS, *AFTER) and last is not None:
            _sign_after(last, sign, at, row[at - 1 : at], touching)
        at += 1
    if reached and last is not None and reached[-1] in "/\\s":
        last.marks.append("to" + reached[-1])
    return last if end == bar.end else None


def _sign_after(last: TypedFret, sign: str, at: int, before: str, touching: bool) -> None:
    """Give a sign to the fret before it."""
    if sign in "=~":
        if sign not in last.marks:
            last.marks.append(sign)
        if touching or before == sign:
            last.rings_to = at + 1
    elif touching and sign not in ")]}>":
        last.marks.append(sign)


def _align(bar: RawBar) -> None:
    """Move the frets of one chord that stand a column apart into one column."""
    by_column: dict[int, list[TypedFret]] = {}
    for note in bar.notes:
        by_column.setdefault(note.column, []).append(note)
    for column in sorted(by_column):
        later = by_column.get(column + 1)
        here = by_column[column]
        wide = any(note.width == 2 for note in here) and all(n.width == 2 for n in here)
        strings = {note.string for note in here}
        if later and wide and all(
            note.width == 1 and note.string not in strings for note in later
        ):  # fmt: skip
            for note in later:
                note.column = column
            here += later
            by_column[column + 1] = []
    bar.columns = sorted({note.column for note in bar.notes})
    bar.notes.sort(key=lambda note: (note.column, note.string))
