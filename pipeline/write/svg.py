"""verovio's SVG of one line of music -> a small clean SVG whose bars can be found again.

In:  the SVG text that verovio wrote for a page with a single system, the bars on it.
Out: Drawing: the glyphs it uses and its body, bars marked with data-bar, a rectangle behind each.
Mended on the way, as a music engraver would mark it: rests of the lower voices and the metre on
    the tab staff, which stand in the notation above already; gaps in the strings where a tied note
    shows no number; numbers of tuplets far below their stems; a line that begins with a pick-up
    and has no bar number.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from html import escape
from typing import Any

from pipeline.write.sheet import SheetBar
from pipeline.write.tab_marks import STAFF_LINE, mark_tab

_SVG = "{http://www.w3.org/2000/svg}"
_HREF = "{http://www.w3.org/1999/xlink}href"
STYLE = (
    "path,ellipse,polygon,polyline,rect{stroke:currentColor}"
    ".ending,.tempo,.reh,.fing{font-weight:bold}"
    ".dir,.dynam,.mNum,.how{font-style:italic}"
    ".bar{fill:none;stroke:none}"
    ".doubt>.bar{fill:#fbe3c0}"
    ".query{font-weight:bold;fill:#8a3b12}"
)


@dataclass(frozen=True, slots=True)
class Drawing:
    """One line of music. Lengths in verovio's units, a tenth of its page units."""

    body: str
    glyphs: dict[str, str]
    width: int
    height: int
    bars: tuple[int, ...]


def standalone(drawing: Drawing, *, font: str) -> str:
    """A complete SVG file of a line, in black."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'viewBox="0 0 {drawing.width} {drawing.height}" color="black" fill="black" '
        f'font-family="{escape(font)}"><style>{STYLE}</style>'
        f"<defs>{''.join(drawing.glyphs.values())}</defs>{drawing.body}</svg>"
    )


def inline(drawing: Drawing, label: str) -> str:
    """The line as an SVG element for a page that has `glyph_sheet` and STYLE once."""
    return (
        f'<svg class="line" role="img" aria-label="{escape(label)}" '
        f'viewBox="0 0 {drawing.width} {drawing.height}">{drawing.body}</svg>'
    )


def marked(drawing: Drawing, bars: Collection[int]) -> Drawing:
    """The drawing with a question mark over each of these bars, and the class "doubt" on it."""
    body = drawing.body
    for index in set(bars) & set(drawing.bars):
        tag = f'class="measure" data-bar="{index}">'
        before, after = body.split(tag, 1)
        box = re.match(r'<rect class="bar" x="(-?\d+)" y="(-?\d+)"[^>]*/>', after)
        if box:
            at = f'x="{int(box[1]) + 120}" y="{int(box[2]) + 120}" font-size="420px"'
            query = f'{box[0]}<text class="query" {at}>?</text>'
            body = f"{before}{tag.replace('measure', 'measure doubt')}{query}{after[box.end() :]}"
    return replace(drawing, body=body)


def glyph_sheet(drawings: Sequence[Drawing]) -> str:
    """Every glyph of the drawings once, in an SVG that shows nothing."""
    glyphs: dict[str, str] = {}
    for drawing in drawings:
        glyphs |= drawing.glyphs
    shapes = "".join(glyphs[name] for name in sorted(glyphs))
    hidden = 'width="0" height="0" aria-hidden="true" focusable="false"'
    return f"<svg {hidden}><defs>{shapes}</defs></svg>"


def drawing_of(text: str, bars: Sequence[SheetBar], line: Sequence[int]) -> Drawing:
    """Clean one page of verovio's SVG that shows those of `bars` whose indices are in `line`."""
    from lxml import etree

    root = etree.fromstring(text.encode())
    inner = root.find(f"{_SVG}svg")
    assert inner is not None, "verovio changed the frame of its SVG"
    width, height = (int(float(n)) for n in inner.get("viewBox", "").split()[2:])
    glyphs = _glyphs(root.find(f"{_SVG}defs"))
    _drop_milestones(inner)
    measures = _of_class(inner, "measure")
    for measure, index in zip(measures, line, strict=True):
        _mark_bar(measure, index, bars[index])
    _number_line(measures, next((bars[i].number for i in line if bars[i].number), 0))
    for element in inner.iter():
        _plain(element)
    groups = [group for group in inner if group.tag == f"{_SVG}g"]
    body = "".join(_text_of(group) for group in groups)
    return Drawing(body, glyphs, width, height, tuple(line))


def _of_class(element: Any, name: str) -> list[Any]:
    return [g for g in element.iter(f"{_SVG}g") if (g.get("class") or "").split()[:1] == [name]]


def _mark_bar(measure: Any, index: int, bar: SheetBar) -> None:
    """Give a bar its index and a rectangle over its staves; tidy its tab staff."""
    from lxml import etree

    staves = _of_class(measure, "staff")
    lines = _string_lines(staves)
    measure.set("data-bar", str(index))
    if lines:
        left, right = min(row[0] for row in lines), max(row[2] for row in lines)
        top, bottom = min(row[1] for row in lines), max(row[3] for row in lines)
        box = etree.Element(f"{_SVG}rect")
        for name, value in (("class", "bar"), ("x", left), ("y", top - 300),
                            ("width", right - left), ("height", bottom - top + 600)):  # fmt: skip
            box.set(name, str(value))
        measure.insert(0, box)
    if len(staves) > 1:
        strings = sorted({row[1] for row in _string_lines(staves[1:])})
        if len(strings) == 6:
            mark_tab(staves[1], strings, bar)
        _tidy_tab(staves[1])


def _drop_milestones(root: Any) -> None:
    """The dots by which verovio marks where sections, endings and pages begin."""
    for dot in list(root.iter(f"{_SVG}ellipse")):
        kind = dot.getparent().get("class") or ""
        if "Milestone" in kind or "placeholder" in kind:
            dot.getparent().remove(dot)


def _number_line(measures: Sequence[Any], number: int) -> None:
    """The line's bar number above the left end of its first staff, instead of verovio's own.

    verovio leaves it out where a part's letter stands, and at a pick-up.
    """
    from lxml import etree

    for measure in measures:
        for stale in _of_class(measure, "mNum"):
            stale.getparent().remove(stale)
    top = min((row[1] for row in _string_lines(_of_class(measures[0], "staff"))), default=0)
    text = etree.Element(f"{_SVG}text")
    for name, value in (("class", "mNum"), ("x", -70), ("y", top - 130),
                        ("text-anchor", "middle"), ("font-size", "324px")):  # fmt: skip
        text.set(name, str(value))
    text.text = str(number)
    measures[0].append(text)


def _string_lines(staves: Sequence[Any]) -> list[list[int]]:
    """The lines of staves as x, y, x, y; a string broken by numbers gives several."""
    return [
        [int(n) for n in found.groups()]
        for staff in staves for path in staff.findall(f"{_SVG}path")
        if (found := STAFF_LINE.match(path.get("d", "")))
    ]  # fmt: skip


def _tidy_tab(staff: Any) -> None:
    _lift_tuplets(staff)
    for meter in _of_class(staff, "meterSig"):
        meter.getparent().remove(meter)
    for layer in _of_class(staff, "layer")[1:]:
        for name in ("rest", "mRest"):
            for rest in _of_class(layer, name):
                rest.getparent().remove(rest)
    for note in _of_class(staff, "note"):
        if note.get("visibility") == "hidden":  # the end of a tie: the number is not struck again
            _close_line(staff, note)
            note.getparent().remove(note)
    for group in _of_class(staff, "tabGrp"):
        for text in group.iter(f"{_SVG}text"):
            text.set("class", "fret")


def _lift_tuplets(staff: Any) -> None:
    """Put a tuplet's number over its stems; verovio sets it under the tab, far from them."""
    for tuplet in _of_class(staff, "tuplet"):
        stems = [path.get("d", "") for stem in _of_class(tuplet, "stem") for path in stem]
        tops = [int(y) for d in stems for y in re.findall(r"[ML]-?\d+ (-?\d+)", d)]
        numbers = [use for group in _of_class(tuplet, "tupletNum") for use in group]
        for use in numbers if tops else ():
            place = use.get("transform", "")
            use.set("transform", re.sub(r", -?\d+\)", f", {min(tops) - 90})", place, count=1))


def _close_line(staff: Any, note: Any) -> None:
    """Draw the string line through the gap that was left for a number that is not shown."""
    from lxml import etree

    text = note.find(f"{_SVG}text")
    if text is None:
        return
    x, y = int(text.get("x", "0")), int(text.get("y", "0")) - 100
    rows = _string_lines([staff])
    near = min((row[1] for row in rows), key=lambda line: abs(line - y), default=y)
    before = [row[2] for row in rows if row[1] == near and row[2] <= x]
    after = [row[0] for row in rows if row[1] == near and row[0] >= x]
    if before and after:
        path = etree.Element(f"{_SVG}path")
        path.set("d", f"M{max(before)} {near} L{min(after)} {near}")
        path.set("stroke-width", "13")
        staff.insert(0, path)


def _plain(element: Any) -> None:
    """Drop what only the original needed: ids, empty groups' markers, white space, xlink."""
    element.text = element.text.strip() if element.text and element.text.strip() else None
    element.tail = None
    element.attrib.pop("id", None)
    target = element.attrib.pop(_HREF, None)
    if target:
        element.set("href", "#" + _glyph_name(target))


def _glyphs(defs: Any) -> dict[str, str]:
    """Each glyph under a name that is the same in every drawing."""
    found = {}
    for glyph in () if defs is None else defs:
        name = _glyph_name(glyph.get("id", ""))
        glyph.set("id", name)
        for element in glyph.iter():
            element.tail = element.text = None
        found[name] = _text_of(glyph)
    return found


def _glyph_name(identifier: str) -> str:
    return "g" + identifier.lstrip("#").split("-")[0]


def _text_of(element: Any) -> str:
    from lxml import etree

    text = etree.tostring(element, encoding="unicode")
    return re.sub(r' xmlns(:\w+)?="[^"]*"', "", text)
