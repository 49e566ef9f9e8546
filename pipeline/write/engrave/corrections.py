"""What a music engraver would mark in verovio's drawing of a line, mended.

In:  the staves and signs of one bar as drawn, svg.py. All is changed in place.
Mended on the tab staff: numbers too small to read from a music stand, dots too small to see, three
    dots at a repeat sign where print has two, no rests, gaps in the strings where a tied note shows
    no number, numbers of tuplets far below their stems, the metre and the lower voices' rests that
    stand in the notation already. Above the notation: flats and sharps of chord names in a font
    that is not there, finger numbers across stems and flags, a part's letter on the bar number.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from copy import deepcopy
from typing import Any

from liltwright.write.engrave.tab_marks import STAFF_LINE

SVG = "{http://www.w3.org/2000/svg}"
FRET_PX = 420
"""Size of a fret number; strings are 314 apart. verovio draws 324."""
_VEROVIO_FRET_PX = 324  # size of the figures that verovio's places are made for
_DIGIT_MIDDLE = 0.325
"""Half the height of a digit as a share of its font size."""
_WIDER = 20
"""How much more room a number of FRET_PX needs in its string, on each side."""
_TAB_DOT = 46  # width of a dot, in verovio's units as all below
_APART = 45
"""How much further apart beams stand than verovio sets them."""
_SIGNS = {"\uea63": "♭♭", "\uea64": "♭", "\uea65": "♮", "\uea66": "♯", "\uea67": "♯♯"}
"""Accidentals of figured bass (Standard Music Font Layout 1.4), which verovio puts into chord
names, and the same in any text font."""
_CHORD_PX = "405px"
_FINGER_REACH = 150  # from a figure to a stem that it would touch
_FINGER_HEIGHT = 215  # of a finger's figure
_CHORD_REACH = 700  # from the left end of a chord's name to a finger under it
_NAME_REACH = 2700  # from that of a layer's name
_FAR = 100_000  # beyond any line of music
_BOX_LEFT = 150
"""Where the box of a part's letter may begin, clear of the bar number."""


def of_class(element: Any, name: str) -> list[Any]:
    """The groups anywhere in an element whose first class is `name`."""
    return [g for g in element.iter(f"{SVG}g") if _named(g, name)]


def children(element: Any, name: str) -> list[Any]:
    """The groups that are its own children; staves and signs of a bar, layers of a staff."""
    return [g for g in element if g.tag == f"{SVG}g" and _named(g, name)]


def _named(group: Any, name: str) -> bool:
    kind = group.get("class", "")
    return kind == name or kind.startswith(f"{name} ")


def staff_lines(staves: Sequence[Any]) -> list[list[int]]:
    """The lines of staves as x, y, x, y; a string broken by numbers gives several."""
    return [
        [int(n) for n in found.groups()]
        for staff in staves for path in staff.findall(f"{SVG}path")
        if (found := STAFF_LINE.match(path.get("d", "")))
    ]  # fmt: skip


# ---------------------------------------------------------------- the tab staff


def mend_tab(staff: Any, notation: Any) -> None:
    """A bar's tab staff under its notation."""
    _lift_tuplets(staff)
    for meter in of_class(staff, "meterSig"):
        meter.getparent().remove(meter)
    for layer in children(staff, "layer")[1:]:
        for name in ("rest", "mRest"):
            for rest in of_class(layer, name):
                rest.getparent().remove(rest)
    for note in of_class(staff, "note"):
        if note.get("visibility") == "hidden":  # the end of a tie: the number is not struck again
            _close_line(staff, note)
            note.getparent().remove(note)
    _enlarge(staff)
    _part_beams(staff)
    _copy_rests(staff, notation)


def mend_repeats(measure: Any) -> None:
    """Two dots at a repeat sign on the tab staff, where verovio draws three."""
    for line in children(measure, "barLine"):
        columns = defaultdict(list)
        for use in line.findall(f"{SVG}use"):
            found = re.match(r"translate\((-?\d+), (-?\d+)\)", use.get("transform", ""))
            if found:
                columns[use.get("transform", "").split(" scale")[1], found[1]].append(use)
        for dots in columns.values():
            if len(dots) % 3 == 0:
                for middle in dots[1::3]:
                    line.remove(middle)


def _enlarge(staff: Any) -> None:
    """Numbers and dots that can be read from a music stand."""
    lower = round((FRET_PX - _VEROVIO_FRET_PX) * _DIGIT_MIDDLE)
    for group in of_class(staff, "tabGrp"):
        for text in group.iter(f"{SVG}text"):
            text.set("class", "fret")
            text.set("y", str(int(text.get("y", "0")) + lower))
            for span in text.iter(f"{SVG}tspan"):
                span.set("font-size", f"{FRET_PX}px")
    top = min((piece[1] for piece in _pieces(staff)), default=0)
    for sign in of_class(staff, "tabDurSym"):
        for dot in sign.findall(f"{SVG}ellipse"):
            x, y = int(dot.get("cx", "0")), int(dot.get("cy", "0"))
            dot.set("cx", str(x + _TAB_DOT // 2))
            dot.set("cy", str(y + (-_TAB_DOT if y < top else _TAB_DOT)))
            for radius in ("rx", "ry"):
                dot.set(radius, str(_TAB_DOT))
    _widen_gaps(staff)


def _part_beams(staff: Any) -> None:
    """Second and third beams further from the first, so that they do not run together."""
    top = min((piece[1] for piece in _pieces(staff)), default=0)
    for group in of_class(staff, "beam"):
        beams = []
        for beam in group.findall(f"{SVG}polygon"):
            points = [
                (int(x), int(y)) for x, y in re.findall(r"(-?\d+),(-?\d+)", beam.get("points", ""))
            ]
            beams.append((min(y for _, y in points), beam, points))
        heights = sorted({y for y, *_ in beams}, reverse=bool(beams) and beams[0][0] > top)
        way = 1 if heights and heights[0] < top else -1
        for y, beam, points in beams:
            further = way * _APART * heights.index(y)
            beam.set("points", " ".join(f"{x},{py + further}" for x, py in points))


def _widen_gaps(staff: Any) -> None:
    """More room in the strings for the larger numbers."""
    strings = defaultdict(list)
    for left, y, right, path in _pieces(staff):
        strings[y].append((left, right, path))
    for y, pieces in strings.items():
        pieces.sort(key=lambda piece: piece[0])
        last = len(pieces) - 1
        for place, (left, right, path) in enumerate(pieces):
            left += _WIDER if place else 0
            right -= _WIDER if place < last else 0
            if left < right:
                path.set("d", f"M{left} {y} L{right} {y}")
            else:
                staff.remove(path)


def _copy_rests(staff: Any, notation: Any) -> None:
    """The melody's rests among the stems above the strings, for those who read the tab alone."""
    voices = children(notation, "layer")
    rows = [row[1] for row in staff_lines([staff])]
    if not voices or not rows:
        return
    middle = min(rows) - 470
    for rest in of_class(voices[0], "rest"):
        for use in rest.findall(f"{SVG}use"):
            sign = deepcopy(use)
            place = use.get("transform", "")
            sign.set("transform", re.sub(r"(\(-?\d+, )-?\d+", rf"\g<1>{middle}", place, count=1))
            staff.append(sign)


def _lift_tuplets(staff: Any) -> None:
    """Put a tuplet's number over its stems; verovio sets it under the tab, far from them."""
    for tuplet in of_class(staff, "tuplet"):
        stems = [path.get("d", "") for stem in of_class(tuplet, "stem") for path in stem]
        tops = [int(y) for d in stems for y in re.findall(r"[ML]-?\d+ (-?\d+)", d)]
        numbers = [use for group in of_class(tuplet, "tupletNum") for use in group]
        for use in numbers if tops else ():
            place = use.get("transform", "")
            use.set("transform", re.sub(r", -?\d+\)", f", {min(tops) - 90})", place, count=1))


def _close_line(staff: Any, note: Any) -> None:
    """Close the gap in a string that was left for a number that is not shown."""
    text = note.find(f"{SVG}text")
    if text is None:
        return
    x, y = int(text.get("x", "0")), int(text.get("y", "0")) - 100
    pieces = list(_pieces(staff))
    near = min((piece[1] for piece in pieces), key=lambda line: abs(line - y), default=y)
    before = [piece for piece in pieces if piece[1] == near and piece[2] <= x]
    after = [piece for piece in pieces if piece[1] == near and piece[0] >= x]
    if before and after:
        left = max(before, key=lambda piece: piece[2])
        right = min(after, key=lambda piece: piece[0])
        left[3].set("d", f"M{left[0]} {near} L{right[2]} {near}")
        staff.remove(right[3])


def _pieces(staff: Any) -> Iterator[tuple[int, int, int, Any]]:
    """The pieces of a staff's lines: left end, height, right end, path."""
    for path in staff.findall(f"{SVG}path"):
        found = STAFF_LINE.match(path.get("d", ""))
        if found:
            yield int(found[1]), int(found[2]), int(found[3]), path


# ---------------------------------------------------------------- above the notation


def mend_chords(measure: Any) -> None:
    """Accidentals of chord names as signs that every text font has."""
    for name in children(measure, "harm"):
        for span in name.iter(f"{SVG}tspan"):
            if span.get("font-family"):
                del span.attrib["font-family"]
                span.set("font-size", _CHORD_PX)
                span.set("class", "sign")
                span.text = "".join(_SIGNS.get(sign, sign) for sign in (span.text or "").strip())


def mend_letter(measure: Any) -> None:
    """Move the box of a part's letter off the bar number at the left end of its line."""
    for letter in children(measure, "reh"):
        box, text = letter.find(f"{SVG}rect"), letter.find(f"{SVG}text")
        if box is None or text is None or int(box.get("x", "0")) >= _BOX_LEFT:
            continue
        right = _BOX_LEFT - int(box.get("x", "0"))
        for element in (box, text):
            element.set("x", str(int(element.get("x", "0")) + right))


def lift_fingers(measures: Sequence[Any], parts: int = 1) -> int:
    """Finger numbers off stems and flags. How far the upper part's chord names had to rise."""
    risen = []
    for number in range(parts):
        band = _band(measures, number, parts)
        # with several parts each has its name over its first bar
        names = {"harm": _CHORD_REACH} | ({"dir": _NAME_REACH} if parts > 1 else {})
        risen.append(_lift_part(measures, number, band, names))
    return risen[0]


def _band(measures: Sequence[Any], number: int, parts: int) -> range:
    """The heights that belong to a part: from under the part above it to its lowest string."""
    if parts == 1:
        return range(-_FAR, _FAR)
    rows = [row for measure in measures for row in staff_lines(children(measure, "staff"))]
    heights = sorted({row[1] for row in rows})
    size = len(heights) // parts
    begin = heights[number * size - 1] + 1 if number else -_FAR
    return range(begin, heights[(number + 1) * size - 1] + 1)


def _lift_part(measures: Sequence[Any], number: int, band: range, names: Mapping[str, int]) -> int:
    """The same for one part, whose signs lie in a band of heights.

    names : kinds of words that rise, and how far to the right one may stand over a finger
    """
    risen = 0
    for measure in measures:
        stems = list(_stems(children(measure, "staff")[2 * number : 2 * number + 1]))
        words = [
            (text, reach)
            for kind, reach in names.items()
            for bar in (measures if kind == "dir" else (measure,))
            for text in _texts(bar, kind, band)
        ]
        for text in _texts(measure, "fing", band):
            x, y = int(text.get("x", "0")), int(text.get("y", "0"))
            y = _clear_of(stems, x, y)
            text.set("y", str(y))
            for name, reach in words:
                if -200 < x - int(name.get("x", "0")) < reach:
                    risen = max(risen, int(name.get("y", "0")) + 45 - (y - _FINGER_HEIGHT))
    for measure in measures if risen else ():
        for text in (t for kind in names for t in _texts(measure, kind, band)):
            text.set("y", str(int(text.get("y", "0")) - risen))
    return risen


def _texts(measure: Any, kind: str, band: range) -> list[Any]:
    """The words of signs of a kind within a band of heights."""
    found = [text for sign in children(measure, kind) for text in sign.iter(f"{SVG}text")]
    return [text for text in found if int(text.get("y", "0")) in band]


def _clear_of(stems: Sequence[tuple[int, int, int]], x: int, y: int) -> int:
    """Where the foot of a finger number at x, y stands clear of the stems beside it."""
    for stem_x, top, foot in stems:
        if abs(stem_x - x) <= _FINGER_REACH and top - 45 < y and y - _FINGER_HEIGHT < foot:
            y = min(y, top - 45) if y < foot else y
    return y


def _stems(staves: Sequence[Any]) -> Iterator[tuple[int, int, int]]:
    for staff in staves:
        for stem in of_class(staff, "stem"):
            for path in stem.findall(f"{SVG}path"):
                found = re.match(r"M(-?\d+) (-?\d+) L-?\d+ (-?\d+)", path.get("d", ""))
                if found:
                    ends = int(found[2]), int(found[3])
                    yield int(found[1]), min(ends), max(ends)
