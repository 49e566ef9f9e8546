"""Engraving: a layer, the performance or the plain tune as lines of music in SVG.

Task: notation with tablature under it, every line a phrase.
In:   Tune, Arrangement, layer name. Out: Engraved: the heading's facts and the lines.
Method: our own MusicXML, given line breaks by sheet/systems.py, is drawn by verovio, one
    line to a page; svg.py cleans the drawing. sheets.py sets the
    lines on paper, report/page.py on screen.
References: MusicXML 4.0 (print, new-page). Known faults of verovio on tab staves are mended in
    svg.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from liltwright.options import Paper
from liltwright.tab import Arrangement, Setup
from liltwright.tune import KeyName, Tune
from liltwright.write.engrave.pages import LINE_GAP_MM, PAGE_MM, WIDTH_MM
from liltwright.write.engrave.svg import Drawing, drawing_of
from liltwright.write.sheet.bars import Sheet
from liltwright.write.sheet.drawn import drawn
from liltwright.write.sheet.layout import sheet_of_layer, sheet_of_tune
from liltwright.write.sheet.systems import LINE_NOTES, ROOMY_NOTES, line_weight, lines_of

if TYPE_CHECKING:
    from lxml import etree

LINE_WIDTH = 2350
"""Width of a full line in verovio's units: at 180 mm on paper a staff is 5.5 mm high."""
_HEAD_AND_FOOT_MM = {True: 67.0, False: 48.0}
"""What else stands on the first page of a sheet: with tablature, and without."""
_A_PAGE = 4
"""Lines that any page has room for."""
_SMALLEST = 1.27
"""A sheet is set smaller by at most this to come out on one page."""
_LARGEST = {True: 0.86, False: 0.74}
"""And larger by at most this where a page has room: with tablature, and without."""
_USUAL_LINE_MM = {True: 45.0, False: 17.0}
"""What a line takes at the usual size, to begin with."""


@dataclass(frozen=True, slots=True)
class Engraved:
    """A sheet as lines of music."""

    sheet: Sheet
    lines: tuple[Drawing, ...]
    musicxml: bytes

    def height_mm(self, paper: Paper) -> float:
        """Height on paper with the gaps between the lines."""
        unit = WIDTH_MM[paper] / max(line.width for line in self.lines)
        return sum(unit * line.height + LINE_GAP_MM for line in self.lines)


def engrave_layer(
    tune: Tune, arrangement: Arrangement, name: str, *, paper: Paper = "a4"
) -> Engraved:
    """A layer, or "performance", as notation and tablature, of a size that suits the paper."""
    return engrave(sheet_of_layer(tune, arrangement, name), paper=paper)


def engrave_tune(tune: Tune, *, paper: Paper = "a4") -> Engraved:
    """The plain tune as a lead sheet."""
    return engrave(sheet_of_tune(tune), paper=paper)


def engrave(sheet: Sheet, *, paper: Paper = "a4") -> Engraved:
    """Draw a sheet, four bars on a line."""
    from liltwright.write.formats.musicxml import sheet_to_musicxml

    plain = drawn(sheet)
    musicxml = sheet_to_musicxml(plain)
    lines = lines_of(plain.bars)
    roomy = lines_of(plain.bars, capacity=ROOMY_NOTES)
    if len(roomy) <= _A_PAGE:
        lines = roomy
    broken = with_breaks(musicxml, lines).decode()
    tab = plain.setup is not None
    room_mm = PAGE_MM[paper] - _HEAD_AND_FOOT_MM[tab]
    fullest = max(line_weight(plain.bars, line) for line in lines) / LINE_NOTES
    guess = len(lines) * (_USUAL_LINE_MM[tab] + LINE_GAP_MM) / room_mm
    size = min(1.0, max(_LARGEST[tab], fullest, guess))
    music = Engraved(plain, _draw(plain, broken, lines, LINE_WIDTH * size), musicxml)
    over = music.height_mm(paper) / room_mm
    if over > 1.0 and size * over <= _SMALLEST:
        width = LINE_WIDTH * size * over * 1.01
        music = Engraved(plain, _draw(plain, broken, lines, width), musicxml)
    return music


def narrowed(music: Engraved) -> Engraved:
    """The same music with two bars on a line, for a small screen."""
    sheet = music.sheet
    lines = lines_of(sheet.bars, bars_per_line=2, capacity=LINE_NOTES / 2)
    broken = with_breaks(music.musicxml, lines).decode()
    return Engraved(sheet, _draw(sheet, broken, lines, 0.56 * LINE_WIDTH), music.musicxml)


def _draw(
    sheet: Sheet, musicxml: str, lines: Sequence[Sequence[int]], width: float
) -> tuple[Drawing, ...]:
    kit = toolkit()
    usual = max(len(line) for line in lines)
    kit.setOptions(options(round(width), fill_last=len(lines[-1]) > usual / 2))
    kit.resetXmlIdSeed(1)
    kit.loadData(musicxml)
    return tuple(
        drawing_of(kit.renderToSVG(page), sheet.bars, line=line)
        for page, line in enumerate(lines, start=1)
    )


def options(width: int, *, fill_last: bool) -> dict[str, Any]:
    """What verovio is told; a last line as long as the others is spread, a short one is not."""
    return {
        "pageWidth": width,
        "pageHeight": 6000,
        "adjustPageHeight": True,
        "pageMarginLeft": 25,
        "pageMarginRight": 5,
        "pageMarginTop": 10,
        "pageMarginBottom": 10,
        "scale": 100,
        "breaks": "encoded",
        "header": "none",
        "footer": "none",
        "svgViewBox": True,
        "svgFormatRaw": True,
        "minLastJustification": 0.0 if fill_last else 0.8,
        "spacingBraceGroup": 12,
        "spacingStaff": 12,
    }


@cache
def toolkit() -> Any:
    """One verovio for the whole run: loading its fonts takes longer than drawing."""
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    return verovio.toolkit()


def with_breaks(musicxml: bytes, lines: Sequence[Sequence[int]]) -> bytes:
    """The MusicXML with a new page at the first bar of every line but the first."""
    from lxml import etree

    root = etree.fromstring(musicxml)
    measures = root.findall("part/measure")
    for stale in root.findall("part/measure/print"):
        stale.getparent().remove(stale)
    for line in lines[1:]:
        mark = etree.Element("print")
        mark.set("new-page", "yes")
        measures[line[0]].insert(0, mark)
    _leave_out(root)
    return etree.tostring(root)


def _leave_out(root: etree._Element) -> None:
    """What the heading of the sheet says already, and grace notes of the tab staff."""
    for path in ("work", "movement-title", "credit", "identification"):
        for element in root.findall(path):
            root.remove(element)
    for note in list(root.iter("note")):
        if note.find("grace") is not None and note.findtext("staff") == "2":
            note.getparent().remove(note)
    for name in root.iter("part-name", "part-abbreviation"):
        name.text = ""
    for direction in list(root.iter("direction")):
        words = " ".join(element.text or "" for element in direction.iter("words"))
        if direction.find("direction-type/metronome") is not None or "uning" in words[:7]:
            direction.getparent().remove(direction)


# ---------------------------------------------------------------- words for the heading


def layer_title(name: str) -> str:
    """A layer's name as a heading: "plain-bass" is "Plain bass"."""
    return name.replace("-", " ").capitalize()


def key_words(key: KeyName) -> str:
    """ "E mixolydian", with a real sharp or flat sign."""
    return f"{pretty(key.tonic)} {key.mode}"


def pretty(name: str) -> str:
    """A tonic or chord name with real accidentals."""
    return name[:1] + name[1:].replace("#", "♯").replace("b", "♭")


def tuning_words(setup: Setup) -> str:
    """The tuning by name and by strings, low to high: "Drop D (D A D G B E)"."""
    from liltwright import keys

    strings = " ".join(pretty(keys.note_name(midi)) for midi in setup.strings_midi)
    name = setup.tuning
    return strings if name.replace(" ", "") == strings.replace(" ", "") else f"{name} ({strings})"


def capo_words(setup: Setup) -> str:
    """ "no capo" or "capo 2"."""
    return f"capo {setup.capo}" if setup.capo else "no capo"
