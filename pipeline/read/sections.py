"""Bars as they stand on the page -> sections between repeat signs, in the order they are played.

Task     cut a page at its signs, and put its sections in the order that the header gives
In       ReadBars; an order such as "AABB", or nothing
Out      Section records
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from liltwright.read.bars import ReadBar

LONGEST_ORDER = 500
"""Letters and signs of an order of parts; one that is longer is passed over."""


@dataclass(slots=True)
class Section:
    """A stretch of the page between signs."""

    body: list[ReadBar] = field(default_factory=list)
    endings: list[tuple[tuple[int, ...], list[ReadBar]]] = field(default_factory=list)
    repeats: int = 1
    again: bool = False
    """The same part as the section before, but for its pick-up or ending."""


def sections_of(bars: Sequence[ReadBar]) -> list[Section]:
    """Cut the page into parts, and hand a lone pick-up before a repeat sign to its part."""
    sections = [Section()]
    in_repeat = False  # after a start-repeat sign a double bar does not end the part
    for index, bar in enumerate(bars):
        if bar.opens:
            in_repeat = True
            sections.append(Section())
        section = sections[-1]
        if bar.ending and section.body:
            section.endings.append((bar.ending, []))
            section.repeats = max(section.repeats, *bar.ending)
        elif section.endings and _overruns(section, bars[index:]):
            section = Section()
            sections.append(section)
        (section.endings[-1][1] if section.endings else section.body).append(bar)
        if bar.times > 1:
            section.repeats = max(section.repeats, bar.times)
            in_repeat = False
            if not (section.endings and index + 1 < len(bars) and bars[index + 1].ending):
                sections.append(Section())
        elif bar.closes and not (in_repeat and _repeat_ahead(bars, index)):
            in_repeat = False
            sections.append(Section())
    return [section for section in sections if section.body]


def ordered(sections: list[Section], order: str) -> list[Section]:
    """The sections in the order of a P: field; as they stand where it does not fit them."""
    letters = _expanded(order)
    labels = [section.body[0].label for section in sections]
    if not letters or "" in labels or len(set(labels)) < 2 or set(letters) != set(labels):
        return sections
    return [
        Section(list(section.body), list(section.endings), section.repeats, section.again)
        for letter in letters
        for section in sections
        if section.body[0].label == letter
    ]


def _expanded(order: str) -> str:
    """ "A2B" is "AAB", "(AB)3" is "ABABAB"; dots and spaces are passed over."""
    text = re.sub(r"[.\s]", "", order)
    while len(text) <= LONGEST_ORDER:
        shorter = re.sub(
            r"\(([A-Z]+)\)([0-9]?)", lambda found: found.group(1) * int(found.group(2) or 1), text
        )
        if shorter == text:
            break
        text = shorter
    if len(text) > LONGEST_ORDER:
        return ""
    text = re.sub(r"([A-Z])([0-9])", lambda found: found.group(1) * int(found.group(2)), text)
    return text if re.fullmatch(r"[A-Z]{2,64}", text) else ""


def _overruns(section: Section, ahead: Sequence[ReadBar]) -> bool:
    """Whether the next part begins here although no sign closes the last ending.

    `ahead` is what has not been read. A last ending may be a little longer than the one before;
    one that would go on for four bars more has the next part in it.
    """
    if len(section.endings) < 2 or max(section.endings[-1][0], default=0) != section.repeats:
        return False
    length, before = len(section.endings[-1][1]), len(section.endings[-2][1])
    to_come = 0
    for bar in ahead:
        if bar.opens:
            break
        to_come += 1
        if bar.closes:
            break
    return length >= before and length + to_come >= before + 4


def _repeat_ahead(bars: Sequence[ReadBar], index: int) -> bool:
    for bar in bars[index + 1 :]:
        if bar.opens:
            return False
        if bar.times > 1 or bar.ending:
            return True
    return False
