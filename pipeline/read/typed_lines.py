"""Tablature typed by hand: its lines, cleaned, and which of them are strings.

Task     find the groups of six string lines in an e-mail or a text file
In       text
Out      Lines whose every sign knows the line and column it was typed in; Blocks of six of them
Method   quoting ("> "), tabs, invisible signs and the many dashes of word processors are made
         plain first. A string line consists mostly of dashes, digits and bar lines. Lines that a
         mail program has wrapped are joined when six pairs in a row show it; blank lines inside a
         group do not end it.
References: none; such notation has no standard (common practice).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from typing import NoReturn

from liltwright.errors import PipelineError
from liltwright.limits import check, limit

STRINGS = 6  # of a guitar
FEWEST_LINES = 4
"""A group of fewer lines is an example in words, not a system with strings missing."""
_TAB_STOP = 8  # columns, as terminals have it
_SHORTEST_WRAPPED = 30  # columns: a mail program breaks no shorter line
_DASHES = "\u2010\u2011\u2012\u2013\u2014\u2015\u2212\u2500\u2501\u2574\u2576\ufe58\ufe63\uff0d_"
_BARS = "\u2502\u2503\u2551\u00a6\u2223\u23d0\uff5c\u01c0"
_PLAIN = {
    **dict.fromkeys(_DASHES, "-"),
    **dict.fromkeys(_BARS, "|"),
    **dict.fromkeys("\u2018\u2019\u02bc\u2032", "'"),
    **dict.fromkeys("\u201c\u201d\u201f", '"'),
    **dict.fromkeys("\u223c\u02dc\u301c\uff5e", "~"),
    **dict.fromkeys("\u2022\u25cf\u00b7", "*"),
    **dict.fromkeys("\u2044\u2215", "/"),
    "\u00d7": "x", "\u266f": "#", "\u266d": "b", "\u2216": "\\",
}  # fmt: skip
_QUOTE = re.compile(r"(?:[ ]{0,3}>)+ ?")
_LABEL = re.compile(r"\s*([A-Ga-g][#b]?)[0-9]?\s*(?:[:)]\s*)?(?=[|\-])")
_STRING_SIGNS = re.compile(r"[-0-9|=~]")
_WORD = re.compile(r"[A-Za-z]{2}")
_REST = re.compile(r"[-0-9|:hpbrtsxHPBRTSX/\\~()<>^=*.]+")
_ENOUGH = 0.6  # share of a line's signs that must be those of a string
_DRAWN = "-=~"
_FEWEST_DASHES = 3  # of a line that is a string


@dataclass(frozen=True, slots=True)
class TextLine:
    """One line made plain."""

    text: str
    places: tuple[tuple[int, int], ...]
    """Line and column, counted from 1, where each sign of the text was typed."""
    number: int
    is_string: bool = False
    label: str = ""
    """The tuning letter before the string."""
    begin: int = 0
    """Where the string begins, after its letter."""

    @property
    def end(self) -> tuple[int, int]:
        """The place after the last sign."""
        line, column = self.places[-1] if self.places else (self.number, 0)
        return line, column + 1


@dataclass(frozen=True, slots=True)
class Block:
    """Six string lines, the highest string on top."""

    lines: tuple[TextLine, ...]
    first: int
    """Index of the first line and of the one after the last, among all lines."""
    after: int


def refusal(name: str, place: tuple[int, int], fault: str) -> PipelineError:
    """What to raise for a place of the text."""
    return PipelineError(f"{name}, line {place[0]}, column {place[1]}: {fault}.")


def plain_lines(text: str, name: str) -> list[TextLine]:
    """All lines, cleaned and classified. Raises PipelineError when the text is too long."""
    raw = text.splitlines()
    check("text_line", max(map(len, raw), default=0), name)
    check("text_tune", len(text), name)
    lines = [_plain(one, number) for number, one in enumerate(raw, 1)]
    return [_classified(line) for line in _unwrapped(lines)]


def looks_typed(text: str) -> bool:
    """Whether enough string lines follow each other for a system, blank lines left aside."""
    count, longest = 0, limit("text_line")
    for number, one in enumerate(text.splitlines()):
        if sum(map(one.count, _DRAWN + _DASHES)) < _FEWEST_DASHES:
            count = count if not one.strip(" \t>") else 0
            continue
        if len(one) <= longest and _classified(_plain(one, number)).is_string:
            count += 1
            if count >= FEWEST_LINES:
                return True
        else:
            count = 0
    return False


def blocks_of(lines: Sequence[TextLine], name: str) -> tuple[list[Block], list[str]]:
    """The systems, and remarks on lines left out.

    Raises PipelineError when strings are missing or too many, or when there is no system.
    """
    blocks: list[Block] = []
    remarks: list[str] = []
    for run in _runs(lines):
        groups = _without_rules(run, lines)
        size = sum(map(len, groups))
        if size < FEWEST_LINES:
            if size:
                number = lines[groups[0][0]].number
                remarks.append(f"Line {number} looks like a string but stands alone: left out.")
            continue
        waiting: list[int] = []
        for group in groups:
            waiting_before = len(waiting)
            waiting += group
            if len(waiting) == STRINGS or (not waiting_before and len(group) % STRINGS == 0):
                for at in range(0, len(waiting), STRINGS):
                    six = waiting[at : at + STRINGS]
                    found = tuple(lines[index] for index in six)
                    blocks.append(Block(found, six[0], six[-1] + 1))
                waiting = []
            elif len(waiting) > STRINGS:
                _wrong_count(waiting, waiting_before or len(waiting), lines, name)
        if waiting:
            _wrong_count(waiting, len(waiting), lines, name)
    if not blocks:
        raise PipelineError(
            f"{name}, line 1, column 1: no system was found in the text; "
            "write six lines of dashes with fret numbers, the highest string on top."
        )
    return blocks, remarks


def _wrong_count(
    waiting: Sequence[int], count: int, lines: Sequence[TextLine], name: str
) -> NoReturn:
    place = lines[waiting[0]].places[0]
    raise refusal(
        name,
        place,
        f"the system that begins here has {count} strings, a guitar has {STRINGS}; "
        "write one line for every string",
    )


def _plain(raw: str, number: int) -> TextLine:
    quote = _QUOTE.match(raw)
    start = quote.end() if quote else 0
    signs: list[str] = []
    places: list[tuple[int, int]] = []
    for column, sign in enumerate(islice(raw, start, None), start + 1):
        if sign == "\t":
            fill = _TAB_STOP - len(signs) % _TAB_STOP
            signs += " " * fill
            places += [(number, column)] * fill
            continue
        if sign > "~":
            sign = _PLAIN.get(sign) or _one_sign(sign)
        elif sign == "_":
            sign = "-"
        if sign:
            signs.append(sign)
            places.append((number, column))
    while signs and signs[-1] == " ":
        signs.pop()
    return TextLine("".join(signs), tuple(places[: len(signs)]), number)


def _one_sign(sign: str) -> str:
    if unicodedata.category(sign) in ("Cf", "Mn", "Cc"):
        return ""
    if unicodedata.category(sign) == "Zs":
        return " "
    folded = unicodedata.normalize("NFKC", sign)
    return folded if len(folded) == 1 else sign


def _classified(line: TextLine) -> TextLine:
    text = line.text
    if "-" not in text or sum(map(text.count, _DRAWN)) < _FEWEST_DASHES:
        return line
    label = _LABEL.match(text)
    begin = label.end() if label else len(text) - len(text.lstrip())
    body = text[begin:]
    last = body.rfind("|")
    body = body[: last + 1] if last > 0 and "--" not in body[last:] else body
    solid = len(body) - body.count(" ")
    if len(_STRING_SIGNS.findall(body)) < _ENOUGH * solid:
        return line
    inside = body.strip("| ")
    if " " in inside and ("|" not in inside or inside.count(" ") > solid or _WORD.search(inside)):
        return line
    return TextLine(text, line.places, line.number, True, label.group(1) if label else "", begin)


def _unwrapped(lines: Sequence[TextLine]) -> list[TextLine]:
    """Join six string lines with the rests that a mail program has put on lines of their own."""
    done: list[TextLine] = []
    at = 0
    while at < len(lines):
        pairs = lines[at : at + 2 * STRINGS]
        if len(pairs) == 2 * STRINGS and _are_wrapped(pairs):
            for head, rest in zip(pairs[::2], pairs[1::2], strict=True):
                done.append(TextLine(head.text + rest.text, head.places + rest.places, head.number))
            at += 2 * STRINGS
        else:
            done.append(lines[at])
            at += 1
    return done


def _are_wrapped(pairs: Sequence[TextLine]) -> bool:
    heads, rests = pairs[::2], pairs[1::2]
    longest = len(heads[0].text)
    if longest < _SHORTEST_WRAPPED or not rests[0].text or len(rests[0].text) >= longest:
        return False
    return all(len(head.text) == longest and _classified(head).is_string for head in heads) and all(
        len(rest.text) == len(rests[0].text) and _REST.fullmatch(rest.text) for rest in rests
    )


def _runs(lines: Sequence[TextLine]) -> list[list[list[int]]]:
    """String lines with only blank lines between them, as groups without blank lines."""
    runs: list[list[list[int]]] = []
    going = fresh = False
    for index, line in enumerate(lines):
        if line.is_string:
            if not going:
                runs.append([])
            if fresh or not going:
                runs[-1].append([])
            runs[-1][-1].append(index)
            going, fresh = True, False
        elif line.text.strip():
            going = False
        else:
            fresh = True
    return runs


def _without_rules(run: Sequence[list[int]], lines: Sequence[TextLine]) -> list[list[int]]:
    """Take rules of mere dashes out of a run whose strings have letters or bar lines."""
    flat = [index for group in run for index in group]
    marked = [index for index in flat if lines[index].label or "|" in lines[index].text]
    if not marked:
        return [] if all(not re.search(r"\d", lines[i].text) for i in flat) else list(run)
    rest = set(flat) - set(marked)
    plain = {index for index in rest if not re.search(r"\d", lines[index].text)}
    inner = set(range(marked[0], marked[-1] + 1))
    drop = plain if len(flat) - len(plain) == len(flat) // STRINGS * STRINGS else plain - inner
    kept = [[i for i in group if i not in drop] for group in run]
    return [group for group in kept if group]
