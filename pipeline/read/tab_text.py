"""The head, the columns and the signs of text tablature, as they stand in the text.

Task     find the systems of six strings and cut them into bars and columns
In       lines of text
Out      TabHead and ParsedBars
Method   Bar lines are found on the first string, columns under the rhythm marks; a cell is what
         stands on a string from its column to the next.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import cast

from liltwright import keys
from liltwright.errors import PipelineError
from liltwright.keys import parse_key
from liltwright.limits import number, ratio, short, whole
from liltwright.notation import REPEAT_DOT_STRINGS, RHYTHM_MARKS
from liltwright.tab import Setup
from liltwright.tune import TUNE_TYPES, TuneType

OWN_HEAD = re.compile(r"^Tuning .*: (?:[A-G][#b]?[0-9] ?){6}, low to high$", re.MULTILINE)
"""The line by which text tablature of this program is known."""
_STRING = re.compile(r"[A-G][#b]?\s*\|")
_BAR_LINE = re.compile(r"\|+")
_MARK = re.compile(r"([bwhqestxy])(\.{0,2})([3579]?)|([0-9]+)/([0-9]+)")
_CELL = re.compile(r"((?:g[hps]?[0-9]+)*),?(?:([hps]?)([0-9]+)|(\([0-9]+\)))?")
_GRACE = re.compile(r"g([hps]?)([0-9]+)")
_SIGN = re.compile(r"\[([^\]]*)\]")
_VALUES = {mark: value for value, mark in RHYTHM_MARKS.items()}
_IN_THE_TIME_OF = {"3": 2, "5": 4, "7": 4, "9": 8}
"""So many notes of a tuplet take the time of how many."""
_NOTE = re.compile(r"([A-G])([#b]?)([0-9])")


@dataclass(frozen=True, slots=True)
class TabHead:
    """What stands over the first system."""

    title: str
    layer: str
    tune_type: TuneType
    meter: str
    beat: Fraction
    beats_per_minute: float
    setup: Setup
    grace: Fraction
    """Length of a grace note."""


@dataclass(frozen=True, slots=True)
class Cell:
    """What stands on one string in one column."""

    graces: tuple[tuple[str, int], ...] = ()
    """Technique letter and fret of each grace note."""
    technique: str = ""
    fret: int | None = None
    held: bool = False
    stop: bool = False
    ring: str = ""
    """The sign that follows the fret."""
    rings_on: bool = False
    """A ring sign stands here instead of a fret."""


@dataclass(frozen=True, slots=True)
class ParsedBar:
    """One bar of the text."""

    columns: tuple[tuple[Fraction, dict[int, Cell]], ...]
    """Moments from the beginning of the bar, with the cell of every string."""
    length: Fraction
    chords: tuple[tuple[Fraction, str], ...]
    part: str = ""
    ending: tuple[int, ...] = ()
    times: int = 1
    double: bool = False
    stopped_at_end: frozenset[int] = frozenset()


def parse_head(lines: Sequence[str], name: str) -> TabHead:
    """The head of the text. Raises PipelineError when something is missing."""
    text = "\n".join(lines)
    first = re.match(r"\s*(.*): ([a-z-]+)\s*\n", text)
    kind = re.search(r"^([A-Za-z ]+) in ([0-9]+/[0-9]+), (\S+) = ([0-9]+)", text, re.MULTILINE)
    sounds = re.search(r"^Sounds in (\S+ \S+), fingered as (\S+ \S+)$", text, re.MULTILINE)
    shift = re.search(r"^Sounds .*?([0-9]+) semitones?\)? (above|below)", text, re.MULTILINE)
    tuning = re.search(r"^Tuning (.*): ((?:[A-G][#b]?[0-9] ?){6}), low to high", text, re.MULTILINE)
    capo = re.search(r"^Capo ([0-9]+)", text, re.MULTILINE)
    grace = re.search(r"grace note of\s+([0-9]+/[0-9]+)", text)
    if not (first and kind and sounds and tuning):
        raise PipelineError(
            f"{name} is not text tablature of this program: its head must name title and layer, "
            "tune type and metre, key, and tuning."
        )
    tune_type = kind.group(1).lower()
    if tune_type not in TUNE_TYPES:
        raise PipelineError(f'{name} names the tune type "{tune_type}", which is not known.')
    strings = tuple(_midi(*note) for note in _NOTE.findall(tuning.group(2)))
    semitones = whole(shift.group(1)) * (1 if shift.group(2) == "above" else -1) if shift else 0
    setup = Setup(
        tuning.group(1),
        cast("tuple[int, int, int, int, int, int]", strings),
        whole(capo.group(1)) if capo else 0,
        semitones,
        parse_key(sounds.group(1)),
        parse_key(sounds.group(2)),
    )
    title = "" if first.group(1) == "Untitled" else first.group(1)
    return TabHead(
        title,
        first.group(2),
        cast(TuneType, tune_type),
        kind.group(2),
        _step(kind.group(3), name),
        float(number(kind.group(4))),
        setup,
        ratio(grace.group(1)) if grace else Fraction(1, 32),
    )


def parse_bars(lines: Sequence[str], name: str) -> list[ParsedBar]:
    """Every bar of every system. Raises PipelineError when there is none or one is broken."""
    bars: list[ParsedBar] = []
    index = 1
    while index + 5 < len(lines):
        if all(_STRING.match(line) for line in lines[index : index + 6]):
            above = [lines[place] for place in range(max(index - 3, 0), index)]
            bars += _system(above, lines[index : index + 6], name, index + 1)
            index += 6
        else:
            index += 1
    if not bars:
        raise PipelineError(f"{name} holds no tablature: six string lines under rhythm marks.")
    return bars


def _midi(letter: str, sign: str, octave: str) -> int:
    return 12 * (whole(octave) + 1) + keys.pitch_class(letter + sign)


def _step(mark: str, name: str) -> Fraction:
    found = _MARK.fullmatch(mark)
    if not found:
        raise PipelineError(f'{name} has the rhythm mark "{short(mark)}", which is not known.')
    letter, dots, tuplet, over, under = found.groups()
    if over:
        return ratio(f"{over}/{under}")
    value = _VALUES[letter] * (2 - Fraction(1, 2 ** len(dots)))
    return value * _IN_THE_TIME_OF[tuplet] / whole(tuplet) if tuplet else value


def _system(above: list[str], strings: Sequence[str], name: str, number: int) -> list[ParsedBar]:
    rhythm = above[-1]
    signs = chords = ""
    for row in above[-2:-4:-1]:
        if "[" in row:
            signs = row
            break
        if not row.strip() or chords:
            break
        chords = row
    first = strings[0]
    lines = [found.span() for found in _BAR_LINE.finditer(first)]
    marks = [(found.start(), found.group()) for found in re.finditer(r"\S+", rhythm)]
    bars = []
    for (_, begin), (end, after) in pairwise(lines):
        mine = [(at, mark) for at, mark in marks if begin <= at < end]
        if not mine:
            raise PipelineError(
                f"{name}, line {number}: a bar has no rhythm marks over it; every column needs one."
            )
        closes = any(strings[string - 1][end - 1 : end] == ":" for string in REPEAT_DOT_STRINGS)
        inside = _between(chords, begin, end, r"\S+")
        words = [text for _, text in _between(signs, begin, end, _SIGN.pattern)]
        bars.append(_bar(strings, mine, end - closes, inside, words, closes, after - end > 1, name))
    return bars


def _between(row: str, begin: int, end: int, pattern: str) -> list[tuple[int, str]]:
    found = re.finditer(pattern, row)
    return [(one.start(), one.group()) for one in found if begin <= one.start() < end]


def _bar(
    strings: Sequence[str],
    marks: Sequence[tuple[int, str]],
    end: int,
    chords: Sequence[tuple[int, str]],
    words: Sequence[str],
    closes: bool,
    double: bool,
    name: str,
) -> ParsedBar:
    columns = []
    now = Fraction(0)
    at_of: dict[int, Fraction] = {}
    stopped = set()
    for place, (at, mark) in enumerate(marks):
        until = marks[place + 1][0] if place + 1 < len(marks) else end
        cells = {string: _cell(strings[string - 1][at:until]) for string in range(1, 7)}
        if place + 1 == len(marks):
            stopped = {s for s in range(1, 7) if "." in strings[s - 1][at + 1 : until]}
        columns.append((now, cells))
        at_of[at] = now
        now += _step(mark, name)
    plain = [word.strip("[]") for word in words]
    ending = next((word for word in plain if re.fullmatch(r"[0-9,]+\.", word)), "")
    times = next((whole(word[1:]) for word in plain if re.fullmatch(r"x[0-9]+", word)), 2)
    part = next((word for word in plain if re.fullmatch(r"[A-Z]['0-9]*", word)), "")
    return ParsedBar(
        tuple(columns),
        now,
        tuple((at_of[at], symbol) for at, symbol in chords if at in at_of),
        part,
        tuple(whole(time) for time in ending.strip(".,").split(",")) if ending.strip(".,") else (),
        times if closes else 1,
        double,
        frozenset(stopped),
    )


def _cell(text: str) -> Cell:
    stop = text.startswith(".")
    text = text.removeprefix(".")
    if text[:1] in ("=", "~"):
        return Cell(rings_on=True)
    found = _CELL.match(text)
    if not found or not found.group():
        return Cell(stop=stop)
    graces = tuple((t, whole(fret)) for t, fret in _GRACE.findall(found.group(1)))
    held = found.group(4)
    fret = whole(held.strip("()")) if held else whole(found.group(3)) if found.group(3) else None
    after = text[found.end() : found.end() + 1]
    return Cell(graces, found.group(2) or "", fret, bool(held), stop, after)
