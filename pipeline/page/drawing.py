"""Music for the page: engraved on the server, every note marked so that it can be chosen.

Task: a tune or a layer as SVG whose notes carry their place in the tune.
In: a Tune, or an Arrangement and a layer's name; whether the screen is narrow. Out: HTML.
Method: the engraver of the sheets draws it (verovio, one at a time: it is not safe for threads).
In a measure the notes of the first voice come in order; a note that is drawn as several tied heads
gives all of them its number.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Collection, Iterator, Sequence

from liltwright.tab import Arrangement
from liltwright.tune import Tune
from liltwright.write.engrave.engraving import Engraved, engrave, narrowed
from liltwright.write.engrave.pair import engrave_pair
from liltwright.write.engrave.sheets import bars_label
from liltwright.write.engrave.svg import Drawing, glyph_sheet, inline, marked
from liltwright.write.formats.musicxml import sheet_to_musicxml
from liltwright.write.sheet.bars import Sheet, SheetBar
from liltwright.write.sheet.drawn import drawn
from liltwright.write.sheet.layout import sheet_of_layer, sheet_of_tune

_engraver = threading.Lock()
_MEASURE = re.compile(r'(?=<g class="measure(?: doubt)?" data-bar="\d+">)')
_STAFF = '<g class="staff">'
_NOTE = re.compile(r'<g class="note"')


def warm_engraver() -> None:
    """Load the engraver's fonts."""
    from liltwright.write.engrave.engraving import toolkit

    with _engraver:
        toolkit()


def tune_music(tune: Tune, *, narrow: bool, doubts: Collection[int] = ()) -> str:
    """The plain tune; `doubts` are indices of written bars to be marked."""
    return _html(sheet_of_tune(tune), narrow, doubts)


def layer_music(tune: Tune, arrangement: Arrangement, name: str, *, narrow: bool) -> str:
    """A layer as notation and tablature. Raises UsageError when there is none of this name."""
    return _html(sheet_of_layer(tune, arrangement, name), narrow, ())


def pair_music(
    tune: Tune, arrangement: Arrangement, upper: str, lower: str, *, narrow: bool
) -> str:
    """Two layers bar under bar. Raises UsageError when there is none of a name."""
    sheets = [sheet_of_layer(tune, arrangement, name) for name in (upper, lower)]
    with _engraver:
        lines = engrave_pair(*sheets, narrow=narrow)
    bars = [drawn(sheet).bars for sheet in sheets]
    return glyph_sheet(lines) + "".join(_line(line, *bars) for line in lines)


def _html(sheet: Sheet, narrow: bool, doubts: Collection[int]) -> str:
    with _engraver:
        music = _narrow(sheet) if narrow else engrave(sheet)
    bars = music.sheet.bars
    places = {i for i, bar in enumerate(bars) if bar.written in doubts}
    lines = [_line(marked(line, places), bars) for line in music.lines]
    return glyph_sheet(music.lines) + "".join(lines)


def _narrow(sheet: Sheet) -> Engraved:
    plain = drawn(sheet)
    return narrowed(Engraved(plain, (), sheet_to_musicxml(plain)))


def _line(drawing: Drawing, *parts: tuple[SheetBar, ...]) -> str:
    """A line with its bars numbered; the bars of each part on it, top to bottom."""
    pieces = _MEASURE.split(inline(drawing, bars_label(parts[0], drawing)))
    return pieces[0] + "".join(_numbered(piece, parts) for piece in pieces[1:])


def _numbered(measure: str, parts: Sequence[tuple[SheetBar, ...]]) -> str:
    """A measure with its written bar, and the number of its tune note on each head."""
    found = re.match(r'<g class="(measure(?: doubt)?)" data-bar="(\d+)">', measure)
    if not found:
        return measure
    bars = [part[int(found[2])] for part in parts]
    head, *staves = measure[found.end() :].split(_STAFF)
    each = max(len(staves) // len(bars), 1)
    body = _STAFF.join([head, *(_staff(staff, bars[n // each]) for n, staff in enumerate(staves))])
    return f'<g class="{found[1]}" data-written="{bars[0].written}">{body}'


def _staff(staff: str, bar: SheetBar) -> str:
    """The heads of the first voice, which come first, numbered."""
    numbers = _heads(bar)

    def number(match: re.Match[str]) -> str:
        which = next(numbers, None)
        return match[0] if which is None else f'{match[0]} data-note="{which}"'

    return _NOTE.sub(number, staff)


def _heads(bar: SheetBar) -> Iterator[int]:
    """The number of the tune's note for each head of the first voice.

    A head that continues a note of the bar before has the number -1.
    """
    if not bar.voices or bar.voices[0].name != "melody":
        return
    which = -1
    for item in bar.voices[0].items:
        if not item.notes:
            continue
        which += not item.tied_in
        for _ in item.graces:
            yield which
        for _ in item.notes:
            yield which
