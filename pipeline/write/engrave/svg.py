"""verovio's SVG of one line of music -> a small clean SVG whose bars can be found again.

In:  the SVG text that verovio wrote for a page with a single system, the bars on it.
Out: Drawing: the glyphs it uses and its body, bars marked with data-bar, a rectangle behind each.
Mended on the way: see corrections.py; and a line that begins with a pick-up has a number.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from html import escape
from typing import Any

from liltwright.write.engrave.corrections import (
    SVG,
    children,
    lift_fingers,
    mend_chords,
    mend_letter,
    mend_repeats,
    mend_tab,
    of_class,
    staff_lines,
)
from liltwright.write.engrave.pluck_marks import mark_plucks
from liltwright.write.engrave.tab_marks import mark_tab
from liltwright.write.sheet.bars import SheetBar

_FOOT = 110
"""What the plucking hand's letters need below their feet."""
_HREF = "{http://www.w3.org/1999/xlink}href"
STYLE = (
    "path,ellipse,polygon,polyline,rect{stroke:currentColor}"
    ".ending,.tempo,.reh,.fing{font-weight:bold}"
    ".dir,.dynam,.mNum,.how,.pluck{font-style:italic}"
    ".bar{fill:none;stroke:none}"
    ".doubt>.bar{fill:#fbe3c0}"
    ".query{font-weight:bold;fill:#8a3b12}"
    ".sign{font-family:'New Computer Modern Math'}"
)


@dataclass(frozen=True, slots=True)
class Drawing:
    """One line of music. Lengths in verovio's units, a tenth of its page units."""

    body: str
    glyphs: dict[str, str]
    width: int
    height: int
    bars: tuple[int, ...]
    top: int = 0
    """Height of the upper edge: below 0 where chord names had to rise."""

    @property
    def view(self) -> str:
        """The viewBox."""
        return f"0 {self.top} {self.width} {self.height}"


def standalone(drawing: Drawing, *, font: str) -> str:
    """A complete SVG file of a line, in black."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'viewBox="{drawing.view}" color="black" fill="black" '
        f'font-family="{escape(font)}"><style>{STYLE}</style>'
        f"<defs>{''.join(drawing.glyphs.values())}</defs>{drawing.body}</svg>"
    )


def inline(drawing: Drawing, label: str) -> str:
    """The line as an SVG element for a page that has `glyph_sheet` and STYLE once."""
    return (
        f'<svg class="line" role="img" aria-label="{escape(label)}" '
        f'viewBox="{drawing.view}">{drawing.body}</svg>'
    )


def marked(drawing: Drawing, bars: Collection[int]) -> Drawing:
    """The drawing with the class "doubt" on these bars, and a question mark over each run."""
    body = drawing.body
    for index in set(bars) & set(drawing.bars):
        tag = f'class="measure" data-bar="{index}">'
        before, after = body.split(tag, 1)
        box = re.match(r'<rect class="bar" x="(-?\d+)" y="(-?\d+)" width="(\d+)"[^>]*/>', after)
        if box:
            query = box[0]
            if index - 1 not in bars or index == drawing.bars[0]:
                right = int(box[1]) + int(box[3]) - 60
                at = f'x="{right}" y="{int(box[2]) + 120}" text-anchor="end" font-size="420px"'
                query += f'<text class="query" {at}>?</text>'
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


def drawing_of(text: str, *parts: Sequence[SheetBar], line: Sequence[int]) -> Drawing:
    """Clean one page of verovio's SVG.

    parts : the bars of each part, top to bottom; line : the indices of those that are shown
    """
    from lxml import etree

    root = etree.fromstring(text.encode())
    inner = root.find(f"{SVG}svg")
    assert inner is not None, "verovio changed the frame of its SVG"
    width, height = (int(float(n)) for n in inner.get("viewBox", "").split()[2:])
    glyphs = _glyphs(root.find(f"{SVG}defs"))
    _drop_milestones(inner)
    measures = of_class(inner, "measure")
    feet = [0]
    for number, bars in enumerate(parts):
        bass = any(v.name == "bass" and any(i.notes for i in v.items)
                   for index in line for v in bars[index].voices)  # fmt: skip
        for measure, index in zip(measures, line, strict=True):
            staves = children(measure, "staff")
            if len(parts) > 1:
                staves = staves[2 * number : 2 * number + 2]
            feet.append(_mark_tab(staves, bars[index], bass=bass))
    for measure, index in zip(measures, line, strict=True):
        _mark_bar(measure, index)
    height = max(height, max(feet) + _FOOT)
    top = -lift_fingers(measures, len(parts))
    numbers = (parts[0][index].number for index in line)
    _number_line(measures, next((number for number in numbers if number), 0))
    for element in inner.iter():
        _plain(element)
    groups = [group for group in inner if group.tag == f"{SVG}g"]
    body = "".join(_text_of(group) for group in groups)
    return Drawing(body, glyphs, width, height - top, tuple(line), top)


def _mark_bar(measure: Any, index: int) -> None:
    """Give a bar its index and a rectangle over its staves; tidy what stands at them."""
    from lxml import etree

    lines = staff_lines(children(measure, "staff"))
    measure.set("data-bar", str(index))
    if lines:
        left, right = min(row[0] for row in lines), max(row[2] for row in lines)
        top, bottom = min(row[1] for row in lines), max(row[3] for row in lines)
        box = etree.Element(f"{SVG}rect")
        for name, value in (("class", "bar"), ("x", left), ("y", top - 300),
                            ("width", right - left), ("height", bottom - top + 600)):  # fmt: skip
            box.set(name, str(value))
        measure.insert(0, box)
    mend_repeats(measure)
    mend_chords(measure)
    mend_letter(measure)


def _mark_tab(staves: Sequence[Any], bar: SheetBar, *, bass: bool) -> int:
    """Tidy the tab staff of a part's bar under its notation.

    bass : whether a bass is drawn on the line. Returns the lowest foot of what was written below.
    """
    foot = 0
    if len(staves) > 1:
        strings = sorted({row[1] for row in staff_lines(staves[1:])})
        if len(strings) == 6:
            mark_tab(staves[1], strings, bar)
            foot = mark_plucks(staves[1], strings, bar, bass=bass)
        mend_tab(staves[1], staves[0])
    return foot


def _drop_milestones(root: Any) -> None:
    """The dots by which verovio marks where sections, endings and pages begin."""
    for dot in list(root.iter(f"{SVG}ellipse")):
        kind = dot.getparent().get("class") or ""
        if "Milestone" in kind or "placeholder" in kind:
            dot.getparent().remove(dot)


def _number_line(measures: Sequence[Any], number: int) -> None:
    """The line's bar number above the left end of its first staff, instead of verovio's own.

    verovio leaves it out where a part's letter stands, and at a pick-up.
    """
    from lxml import etree

    for measure in measures:
        for stale in children(measure, "mNum"):
            stale.getparent().remove(stale)
    top = min((row[1] for row in staff_lines(children(measures[0], "staff"))), default=0)
    text = etree.Element(f"{SVG}text")
    for name, value in (("class", "mNum"), ("x", 40), ("y", top - 130),
                        ("text-anchor", "end"), ("font-size", "324px")):  # fmt: skip
        text.set(name, str(value))
    text.text = str(number)
    measures[0].append(text)


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
