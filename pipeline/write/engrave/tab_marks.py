"""What verovio leaves out of a tab staff: grace notes, hammer-ons, pull-offs and slides.

In:  one bar's tab staff as drawn (without its grace notes, see engraving.py) and the
    bar. Out: small fret numbers before the notes that they grace, arcs with h, p or s between notes
    that are not plucked and the note before on their string.
Known fault: verovio draws grace notes on a tab staff like ordinary notes that take their time
    (rism-digital/verovio issue 4429), so everything after them stands in the wrong place.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from liltwright.write.sheet.bars import SheetBar
from liltwright.write.sheet.voices import SheetNote, Voice, VoiceItem

STAFF_LINE = re.compile(r"M(-?\d+) (-?\d+) L(-?\d+) (-?\d+)$")
"""A staff line or a piece of one, as verovio draws it."""
_SVG = "{http://www.w3.org/2000/svg}"
_LETTERS = {"hammer-on": "h", "pull-off": "p", "slide": "s"}
_BASELINE = 110
"""How far the foot of a grace note's number lies below its string."""
_GRACE_STEP = 265  # from grace note to grace note, in verovio's units as all below
_GAP = 105
"""How far a string is cut left and right of a grace note's number."""
_SMALL = 340
"""Size of a grace note's number."""
_LETTER = 290  # size of a letter
_ARC = 170  # height of an arc


@dataclass(frozen=True, slots=True)
class NumberPlace:
    """A number on the tab staff."""

    note: SheetNote
    x: int
    y: int


def mark_tab(staff: Any, string_ys: Sequence[int], bar: SheetBar) -> None:
    """Add to a bar's tab staff, in place. string_ys : heights of strings 1 to 6."""
    for places in _by_voice(staff, string_ys, bar):
        for place in places:
            if place.note.grace:
                _cut_string(staff, place)
                number, y = str(place.note.fret), place.y + _BASELINE
                staff.append(text_element(place.x, y, number, "fret", _SMALL))
        for place in places:
            before = _before(places, place)
            if place.note.technique and before is not None:
                for mark in _joined(before, place):
                    staff.append(mark)


def places_of(staff: Any, string_ys: Sequence[int], bar: SheetBar) -> Iterator[NumberPlace]:
    """Every number on a bar's tab staff."""
    for places in _by_voice(staff, string_ys, bar):
        yield from places


def _by_voice(staff: Any, string_ys: Sequence[int], bar: SheetBar) -> Iterator[list[NumberPlace]]:
    layers = [g for g in staff.iter(f"{_SVG}g") if _kind(g) == "layer"]
    for layer, voice in zip(layers, bar.voices, strict=False):
        yield list(_places(layer, voice, string_ys))


def _places(layer: Any, voice: Voice, ys: Sequence[int]) -> Iterator[NumberPlace]:
    """Every number of a voice in playing order; nothing where the drawing has other events."""
    events = [g for g in layer.iter(f"{_SVG}g") if _kind(g) == "tabGrp"]
    items = [item for item in voice.items if item.notes]
    if len(events) != len(items):
        return
    for event, item in zip(events, items, strict=True):
        text = next(iter(event.iter(f"{_SVG}text")), None)
        if text is not None and not item.tied_in:
            yield from _of_item(item, int(text.get("x", "0")), ys)


def _of_item(item: VoiceItem, x: int, ys: Sequence[int]) -> Iterator[NumberPlace]:
    for at, grace in enumerate(item.graces):
        left = x - _GRACE_STEP * (len(item.graces) - at) - 20
        yield NumberPlace(grace, left, ys[grace.string - 1])
    for note in item.notes:
        yield NumberPlace(note, x, ys[note.string - 1])


def _cut_string(staff: Any, place: NumberPlace) -> None:
    """Leave room for a number in the line of its string."""
    from lxml import etree

    for path in staff.findall(f"{_SVG}path"):
        found = STAFF_LINE.match(path.get("d", ""))
        left, y, right, _ = (int(n) for n in found.groups()) if found else (0, -1, 0, 0)
        if y == place.y and left < place.x - _GAP and right > place.x + _GAP:
            path.set("d", f"M{left} {y} L{place.x - _GAP} {y}")
            rest = etree.Element(f"{_SVG}path")
            rest.set("d", f"M{place.x + _GAP} {y} L{right} {y}")
            rest.set("stroke-width", path.get("stroke-width", "13"))
            path.addnext(rest)
            return


def _before(places: Sequence[NumberPlace], place: NumberPlace) -> NumberPlace | None:
    """The number before on the same string."""
    earlier = [p for p in places if p.x < place.x and p.note.string == place.note.string]
    return max(earlier, key=lambda p: p.x, default=None)


def _joined(before: NumberPlace, place: NumberPlace) -> Iterator[Any]:
    """An arc over two numbers and the letter of the technique above it."""
    from lxml import etree

    left, right, top = before.x + 40, place.x - 40, place.y - 130
    middle = (left + right) // 2
    arc = etree.Element(f"{_SVG}path")
    arc.set("class", "arc")
    arc.set("fill", "none")
    arc.set("stroke-width", "20")
    arc.set("d", f"M{left},{top} Q{middle},{top - _ARC} {right},{top}")
    yield arc
    letter = _LETTERS[place.note.technique or "slide"]
    yield text_element(middle, top - _ARC // 2 - 40, letter, "how", _LETTER)


def text_element(x: int, y: int, words: str, kind: str, size: int) -> Any:
    """A word in the drawing, centred at x; its foot at y."""
    from lxml import etree

    text = etree.Element(f"{_SVG}text")
    for name, value in (("class", kind), ("x", x), ("y", y), ("text-anchor", "middle"),
                        ("font-size", f"{size}px")):  # fmt: skip
        text.set(name, str(value))
    text.text = words
    return text


def _kind(group: Any) -> str:
    return ((group.get("class") or "").split() or [""])[0]
