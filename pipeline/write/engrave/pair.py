"""Two layers under one another in one system, bar under bar, so that they can be compared.

Task: show what a layer has that another has not.
In:   the Sheets of two layers of one tune. Out: the lines, drawn.
Method: our MusicXML of both, joined as two parts of one score, so that the engraver itself sets the
    bars and what sounds together under one another. Part letters, endings and
    chords stand over the upper one; each line begins with the layers' names.
References: MusicXML 4.0 (part-list).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from liltwright.write.engrave.engraving import (
    LINE_WIDTH,
    layer_title,
    options,
    toolkit,
    with_breaks,
)
from liltwright.write.engrave.svg import Drawing, drawing_of
from liltwright.write.sheet.drawn import drawn
from liltwright.write.sheet.layout import Sheet
from liltwright.write.sheet.systems import LINE_NOTES, line_weight, lines_of

if TYPE_CHECKING:
    from lxml import etree

ROOM = {"spacingStaff": 30, "spacingBraceGroup": 4}
"""Between the layers, where the letters of the plucking hand stand; a layer's own staves are set
as near as their notes allow. In verovio's units."""


def engrave_pair(upper: Sheet, lower: Sheet, *, narrow: bool = False) -> tuple[Drawing, ...]:
    """Lines of both sheets, which have the same bars."""
    sheets = tuple(drawn(sheet) for sheet in (upper, lower))
    fuller = max(sheets, key=lambda one: line_weight(one.bars, range(len(one.bars)))).bars
    lines = lines_of(fuller)
    if narrow:
        lines = lines_of(fuller, bars_per_line=2, capacity=LINE_NOTES / 2)
    usual = max(len(line) for line in lines)
    width = round(LINE_WIDTH * (0.56 if narrow else 0.9))
    kit = toolkit()
    kit.setOptions({**options(width, fill_last=len(lines[-1]) > usual / 2), **ROOM})
    kit.resetXmlIdSeed(1)
    kit.loadData(_joined(sheets, lines).decode())
    return tuple(
        drawing_of(kit.renderToSVG(page), *(sheet.bars for sheet in sheets), line=line)
        for page, line in enumerate(lines, start=1)
    )


def _joined(sheets: Sequence[Sheet], lines: Sequence[Sequence[int]]) -> bytes:
    """The MusicXML of the sheets as parts of one score, with its line breaks."""
    from lxml import etree

    from liltwright.write.formats.musicxml import sheet_to_musicxml

    roots = [etree.fromstring(with_breaks(sheet_to_musicxml(sheet), lines)) for sheet in sheets]
    first = roots[0]
    for number, (root, sheet) in enumerate(zip(roots, sheets, strict=True), start=1):
        name, part = root.find("part-list/score-part"), root.find("part")
        assert name is not None
        assert part is not None
        for element in (name, part):
            element.set("id", f"P{number}")
        for stale in list(name)[1:]:  # the instrument, which is numbered with the part
            name.remove(stale)
        _named(part, layer_title(sheet.name), lines)
        if number > 1:
            _only_notes(part)
            first.find("part-list").append(name)
            first.append(part)
    return etree.tostring(first)


def _named(part: etree._Element, words: str, lines: Sequence[Sequence[int]]) -> None:
    """The layer's name over the first bar of every line."""
    from lxml import etree

    measures = part.findall("measure")
    for line in lines:
        direction = etree.Element("direction", placement="above")
        kind = etree.SubElement(direction, "direction-type")
        etree.SubElement(kind, "words").text = words
        measure = measures[line[0]]
        before = [child for child in measure if child.tag in ("print", "attributes", "barline")]
        measure.insert(len(before), direction)


def _only_notes(part: etree._Element) -> None:
    """Without what stands over the upper part already."""
    for direction in list(part.iter("direction")):
        if direction.find("direction-type/rehearsal") is not None:
            direction.getparent().remove(direction)
    for stale in list(part.iter("ending", "harmony", "print")):
        stale.getparent().remove(stale)
