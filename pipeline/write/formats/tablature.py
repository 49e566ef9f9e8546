"""Layer -> tablature as plain text that survives e-mail.

Task     write a layer so that it reads in any fixed-width font and can be read back exactly
In       Tune with its Arrangement; name of the layer
Out      ASCII text, lines of at most 80 columns
Method   Six lines of strings, the highest on top, named by their notes. A rhythm mark above every
         column says how long until the next one, so that time is exact to the reader and to
         pipeline/read/tablature.py. Bass notes draw a double line, inner notes a wave for as long
         as they ring. Chords stand above, part names, endings and rounds in square brackets.
"""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Sequence
from fractions import Fraction

from liltwright import keys
from liltwright.notation import REPEAT_DOT_STRINGS
from liltwright.tab import Arrangement
from liltwright.tune import KeyName, Tune
from liltwright.write.formats.tab_columns import STOP, STRINGS, TabColumn, columns_of, rhythm_mark
from liltwright.write.sheet.bars import Sheet, SheetBar
from liltwright.write.sheet.layout import sheet_of_layer

WIDTH = 80  # signs of a line: survives e-mail
_NARROWEST = ((Fraction(1, 2), 8), (Fraction(3, 8), 6), (Fraction(1, 4), 5), (Fraction(1, 12), 3))
"""Signs that a column of at least this length has."""


def layer_to_text(tune: Tune, arrangement: Arrangement, name: str, *, hands: bool = False) -> str:
    """A layer, or the "performance", as text tablature.

    hands : write the fingers of both hands under the strings

    Raises UsageError when there is no such layer.
    """
    sheet = sheet_of_layer(tune, arrangement, name)
    drawn = [
        _DrawnBar(bar, columns, hands)
        for bar, columns in zip(sheet.bars, columns_of(sheet), strict=True)
    ]
    names = string_names(arrangement.setup.strings_midi)
    margin = max(len(text) for text in names.values())
    text = _head(sheet, hands)
    for system in _systems(drawn, WIDTH - margin - 1):
        text += "\n" + _system(system, names, margin)
    return text


def string_names(strings_midi: Sequence[int]) -> dict[int, str]:
    """Names of the open strings without the capo, by string number."""
    return {6 - place: keys.note_name(midi) for place, midi in enumerate(strings_midi)}


# ---------------------------------------------------------------- head


def _head(sheet: Sheet, hands: bool) -> str:
    setup = sheet.setup
    if setup is None:
        return ""
    strings = " ".join(keys.note_name(midi, octave=True) for midi in setup.strings_midi)
    capo = f"Capo {setup.capo}, frets count from the capo" if setup.capo else "No capo"
    shift = setup.transpose
    side = "above" if shift > 0 else "below"
    where = f"{_interval(abs(shift))} {side}" if shift else "at the pitch of"
    lines = [
        f"{_ascii(sheet.title) or 'Untitled'}: {sheet.name}",
        f"{sheet.tune_type.capitalize()} in {sheet.meter}, "
        f"{rhythm_mark(sheet.beat)} = {round(sheet.beats_per_minute)}",
        f"Sounds in {_key(setup.sounds_in)}, fingered as {_key(setup.shapes_in)}",
        f"Sounds {where} the tune as written",
        f"Tuning {_ascii(setup.tuning)}: {strings}, low to high",
        capo,
    ]
    for caution in sheet.cautions:
        lines += textwrap.wrap(f"Caution: {_ascii(caution)}", WIDTH, subsequent_indent="  ")
    return "\n".join([*lines, "", *_legend(sheet, hands)]) + "\n"


def _interval(semitones: int) -> str:
    """ "3 semitones", "an octave (12 semitones)"."""
    name = {2: "a tone", 12: "an octave", 24: "two octaves"}.get(semitones)
    words = f"{semitones} semitone{'' if semitones == 1 else 's'}"
    return f"{name} ({words})" if name else words


def _legend(sheet: Sheet, hands: bool) -> list[str]:
    """What the signs mean, as far as they are used."""
    notes = [note for bar in sheet.bars for note in bar.sounding]
    voices = {note.voice for note in notes}
    says = (
        "A mark above the strings is the time to the next mark: w h q e s t are whole, half, "
        'quarter, eighth, sixteenth and 32nd, "." is dotted, 3 of a triplet. A melody note lasts '
        "to the next one or to the bar line."
    )
    if "bass" in voices:
        says += " 3=== is the bass and rings as long as its double line."
    if "inner" in voices:
        says += " 3~~~ is an inner note."
    says += ' (3) is held over the bar line, "." stops its string.'
    if any(note.technique for note in notes):
        says += " h p s: hammer-on, pull-off, slide."
    graces = sorted({note.length for note in notes if note.grace})
    if graces:
        says += f" g3 is a grace note of {graces[0]}, g3,2 that and then a 2."
    if hands:
        says += (
            " Under the strings, for low strings first: the fretting hand's fingers 1 to 4 (0 is "
            "open), below them the plucking hand's p i m a."
        )
    return textwrap.wrap(says, WIDTH)


def _key(key: KeyName) -> str:
    return f"{key.tonic} {key.mode}"


def _ascii(text: str) -> str:
    plain = unicodedata.normalize("NFKD", " ".join(text.split()))
    plain = plain.replace("\u2013", "-").replace("\u2014", "-").replace("\u2019", "'")
    return plain.encode("ascii", "ignore").decode()


# ---------------------------------------------------------------- bars


class _DrawnBar:
    """One bar as text, without the bar line before it."""

    def __init__(self, bar: SheetBar, columns: Sequence[TabColumn], hands: bool) -> None:
        self.bar = bar
        self.signs = _signs(bar)
        fingers = [_fingers(bar, column) if hands else ("", "") for column in columns]
        widths = [
            max(_width(column), len(marks[0]) + 1)
            for column, marks in zip(columns, fingers, strict=True)
        ]
        widths[-1] += max(0, len(self.signs) + 1 - sum(widths))
        self.chords = "".join(
            column.chord.ljust(width) for column, width in zip(columns, widths, strict=True)
        )
        self.rhythm = "".join(
            column.mark.ljust(width) for column, width in zip(columns, widths, strict=True)
        )
        self.fretting, self.plucking = (
            "".join(marks[hand].ljust(width) for marks, width in zip(fingers, widths, strict=True))
            for hand in (0, 1)
        )
        self.strings = {
            string: "".join(
                _cell(column, string, width) for column, width in zip(columns, widths, strict=True)
            )
            for string in STRINGS
        }
        for string in columns[-1].stops_after:
            self.strings[string] = self.strings[string][:-1] + STOP
        self.width = sum(widths)

    def bar_line(self, string: int) -> str:
        """The bar line after this bar on one string."""
        if self.bar.closes_repeat:
            return ":||" if string in REPEAT_DOT_STRINGS else "-||"
        return "||" if self.bar.double_bar or self.bar.last or self.bar.ends_ending else "|"

    @property
    def full_width(self) -> int:
        """Columns taken with the bar line after it."""
        return self.width + len(self.bar_line(1)) + 1


def _signs(bar: SheetBar) -> str:
    signs = []
    if bar.part:
        signs.append(f"[{_ascii(bar.part)}]")
    if bar.ending:
        signs.append("[" + ",".join(str(time) for time in bar.ending) + ".]")
    if bar.closes_repeat > 2:
        signs.append(f"[x{bar.closes_repeat}]")
    if bar.heading:
        signs.append(f"[{_ascii(bar.heading)}]")
    if bar.dynamic:
        signs.append(f"[{bar.dynamic}]")
    return "".join(signs)


def _fingers(bar: SheetBar, column: TabColumn) -> tuple[str, str]:
    """Fingers of the fretting and of the plucking hand on the notes that begin in a column."""
    notes = [note for note in bar.sounding if note.start == column.at and not note.grace]
    notes.sort(key=lambda note: -note.string)
    plucked = ["-" if note.technique else note.pluck or "-" for note in notes]
    return "".join(str(note.finger) for note in notes), "".join(plucked)


def _width(column: TabColumn) -> int:
    """Wide enough for what stands in the column; longer times are wider."""
    usual = next((width for least, width in _NARROWEST if column.step >= least), 2)
    cells = [len(text) + 1 for text in column.cells.values()]
    chord = len(column.chord) + 1 if column.chord else 0
    return max(usual, len(column.mark) + 1, chord, *cells, 2)


def _cell(column: TabColumn, string: int, width: int) -> str:
    return (
        column.cells.get(string, "").ljust(width, "-")
        if (string not in column.rings)
        else column.cells.get(string, "").ljust(width, column.rings[string])
    )


def _systems(bars: Sequence[_DrawnBar], width: int) -> list[list[_DrawnBar]]:
    """Bars in lines: a part begins a new one."""
    systems: list[list[_DrawnBar]] = []
    used = 0
    for drawn in bars:
        needed = drawn.full_width
        if not systems or drawn.bar.part or used + needed > width:
            systems.append([])
            used = 3
        systems[-1].append(drawn)
        used += needed
    return systems


def _system(bars: Sequence[_DrawnBar], names: dict[int, str], margin: int) -> str:
    opens = bars[0].bar.opens_repeat
    left = {string: "||:" if string in REPEAT_DOT_STRINGS else "||-" for string in STRINGS}
    if not opens:
        left = dict.fromkeys(STRINGS, "|")
    rows = {"signs": "", "chords": "", "rhythm": "", "fretting": "", "plucking": ""}
    strings = {string: names[string].ljust(margin) + left[string] for string in STRINGS}
    for drawn in bars:
        at = len(strings[1]) + 1
        for row, text in (
            ("signs", drawn.signs),
            ("chords", drawn.chords),
            ("rhythm", drawn.rhythm),
            ("fretting", drawn.fretting),
            ("plucking", drawn.plucking),
        ):
            rows[row] = rows[row].ljust(at) + text.rstrip()
        for string in STRINGS:
            strings[string] += "-" + drawn.strings[string] + drawn.bar_line(string)
    lines = [text for text in (rows["signs"], rows["chords"]) if text.strip()]
    lines += [rows["rhythm"], *(strings[string] for string in STRINGS)]
    lines += [text for text in (rows["fretting"], rows["plucking"]) if text.strip()]
    return "\n".join(line.rstrip() for line in lines) + "\n"
