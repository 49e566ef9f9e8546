"""Tune or layer -> ABC notation 2.1.

Task     write a tune as a tune book prints it, so that a player can read and mend it by hand
In       Tune; for a layer its Arrangement
Out      ABC text: the standard's version line, X T R M L Q K in this order, four bars a line
Method   notes are beamed by the beat; an accidental is written wherever one of the two readings of
         the standard (accidentals for one octave or for all) would miss it; swing is written
         plainly, as even notes. A layer has one ABC voice for melody, bass and inner notes each.
References  ABC notation standard 2.1, sections 3.1 (fields), 4 (music code), 7 (voices).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache

from liltwright import keys, models
from liltwright.tab import Arrangement
from liltwright.tune import KeyName, Tune
from liltwright.write.sheet.bars import Sheet, SheetBar
from liltwright.write.sheet.layout import sheet_of_layer, sheet_of_tune
from liltwright.write.sheet.values import beam_group, beat_group, value_and_dots
from liltwright.write.sheet.voices import SheetNote, VoiceItem, VoiceName

EIGHTH, SIXTEENTH = Fraction(1, 8), Fraction(1, 16)  # of a whole note
BARS_A_LINE = 4  # a phrase of the dance tunes
_spelled = cache(keys.spell)
_alters = cache(keys.signature_alters)
_ACCIDENTALS = {-2: "__", -1: "_", 0: "=", 1: "^", 2: "^^"}


def tune_to_abc(tune: Tune, *, ornaments: bool = False) -> str:
    """The plain tune as ABC 2.1; with its ornaments only when asked for."""
    sheet = sheet_of_tune(tune)
    pins = "".join(f"%%pin {' '.join(pin.split())}\n" for pin in tune.pins)
    return _header(sheet) + pins + _body(sheet, "melody", ornaments)


def layer_to_abc(tune: Tune, arrangement: Arrangement, name: str) -> str:
    """A layer, or the "performance", as ABC 2.1 with a voice each for melody, bass, inner notes.

    Pitches are written as they sound. Raises UsageError when there is no such layer.
    """
    sheet = sheet_of_layer(tune, arrangement, name)
    used = {voice.name for bar in sheet.bars for voice in bar.voices}
    text = _header(sheet)
    order: tuple[VoiceName, ...] = ("melody", "inner", "bass")
    for voice in order:
        if voice in used:
            text += f'V:{voice} name="{voice}"\n' + _body(sheet, voice, False)
    return text


def key_field(key: KeyName, signature: int) -> str:
    """The K: field's text; explicit accidentals where the signature is not the mode's own."""
    short = {"major": "", "minor": "m"}.get(key.mode)
    if short is None:
        short = models.read_json("modes/modes.json")["modes"][key.mode]["abc"]
    text = f"{key.tonic}{short}"
    own = keys.signature_of(key.tonic, key.mode)
    if (own - signature) % 12:
        plain, wanted = keys.signature_alters(own), keys.signature_alters(signature)
        for letter in keys.LETTERS:
            if plain[letter] != wanted[letter]:
                text += f" {_ACCIDENTALS[wanted[letter]]}{letter.lower()}"
    return text


def _header(sheet: Sheet) -> str:
    title = " ".join(sheet.title.split()).replace("%", "\\%")
    if sheet.name != "tune":
        title = f"{title} ({sheet.name})".strip()
    lines = [
        "%abc-2.1",
        "X:1",
        f"T:{title}",
        f"R:{sheet.tune_type}",
        f"M:{sheet.meter}",
        f"L:{_unit(sheet)}",
        f"Q:{sheet.beat}={max(1, round(sheet.beats_per_minute))}",
        f"K:{key_field(sheet.key, sheet.signature)}",
    ]
    return "\n".join(lines) + "\n"


def _unit(sheet: Sheet) -> Fraction:
    """The length written without a number: a sixteenth where a third of the notes are as short."""
    lengths = [note.length for bar in sheet.bars for note in bar.sounding if not note.grace]
    short = sum(length < EIGHTH for length in lengths)
    return SIXTEENTH if 3 * short > len(lengths) else EIGHTH


# ---------------------------------------------------------------- bars


def _body(sheet: Sheet, voice: VoiceName, ornaments: bool) -> str:
    """The bars of one voice in lines; a part begins a new line."""
    lines: list[str] = []
    line = ""
    on_line = 0
    labels = _needs_labels(sheet)
    unit = _unit(sheet)
    for place, bar in enumerate(sheet.bars):
        if bar.part and (line or lines):
            lines.append(line.rstrip())
            line, on_line = "", 0
        if bar.part and labels:
            lines.append(f"P:{bar.part}")
        if bar.opens_repeat:
            line += "|" + ":" * (_times(sheet.bars[place:]) - 1) + " "
        if bar.ending:
            line += "[" + ",".join(str(time) for time in bar.ending) + " "
        if bar.heading and voice == "melody":
            line += f'"^{bar.heading}"'
        line += _bar_text(sheet, unit, bar, voice, ornaments) + " " + _bar_line(bar) + " "
        on_line += not bar.offset
        full_line = on_line >= BARS_A_LINE
        if full_line and place + 1 < len(sheet.bars) and not sheet.bars[place + 1].ending:
            lines.append(line.rstrip())
            line, on_line = "", 0
    lines.append(line.rstrip())
    return "\n".join(text for text in lines if text) + "\n"


def _needs_labels(sheet: Sheet) -> bool:
    """Whether the parts are not simply named A, B, C in order, so that their names must stand."""
    names = [bar.part for bar in sheet.bars if bar.part]
    return sheet.name == "tune" and names != [chr(65 + place) for place in range(len(names))]


def _times(bars: Sequence[SheetBar]) -> int:
    """How often the part that begins with these bars is played, as its end-repeat sign says."""
    for place, bar in enumerate(bars):
        if bar.closes_repeat or (place and bar.part):
            return max(bar.closes_repeat, 2)
    return 2


def _bar_line(bar: SheetBar) -> str:
    if bar.closes_repeat:
        return ":" * (bar.closes_repeat - 1) + "|"
    if bar.last:
        return "|]"
    return "||" if bar.double_bar or bar.ends_ending else "|"


def _bar_text(
    sheet: Sheet, unit: Fraction, bar: SheetBar, voice: VoiceName, ornaments: bool
) -> str:
    items: tuple[VoiceItem, ...] = next((v.items for v in bar.voices if v.name == voice), ())
    hidden = not items
    if hidden:
        items = (VoiceItem(Fraction(0), bar.length),)
    chords = dict(bar.chords) if voice == "melody" else {}
    writer = _BarWriter(sheet, unit, ornaments and voice == "melody", hidden)
    if beat_group(sheet.meter).numerator == 1:
        items = _merged(items)
    return writer.text(_cut_at_chords(items, chords), chords, bar.offset)


def _merged(items: Sequence[VoiceItem]) -> tuple[VoiceItem, ...]:
    """Tied items of one bar as one where a single note can be written (A4 over mid-bar)."""
    merged: list[VoiceItem] = []
    for item in items:
        before = merged[-1] if merged else None
        if before is not None and before.tuplet is None and item.tuplet is None:
            length = before.length + item.length
            same = (before.tied_out and item.tied_in) or not (before.notes or item.notes)
            if same and value_and_dots(length):
                merged[-1] = replace(before, length=length, tied_out=item.tied_out)
                continue
        merged.append(item)
    return tuple(merged)


def _cut_at_chords(items: Sequence[VoiceItem], chords: dict[Fraction, str]) -> list[VoiceItem]:
    """Items cut (and tied) where a chord symbol stands inside one."""
    pieces: list[VoiceItem] = []
    for item in items:
        inside = sorted(at for at in chords if item.start < at < item.start + item.length)
        for at in inside:
            rest = bool(item.notes)
            pieces.append(replace(item, length=at - item.start, tied_out=rest))
            left = item.start + item.length - at
            item = replace(item, start=at, length=left, tied_in=rest, graces=())
        pieces.append(item)
    return pieces


@dataclass(slots=True)
class _BarWriter:
    """Writes the items of one bar; remembers its accidentals."""

    sheet: Sheet
    unit: Fraction
    ornaments: bool
    hidden: bool
    by_place: dict[tuple[str, int], int] = field(default_factory=dict)
    by_letter: dict[str, int] = field(default_factory=dict)

    def text(
        self, items: Sequence[VoiceItem], chords: dict[Fraction, str], offset: Fraction
    ) -> str:
        """The bar's music code without bar lines."""
        group = beam_group(self.sheet.meter)
        words: list[str] = []
        for place, item in enumerate(items):
            at = offset + item.start
            if place and (at % group == 0 or not _beamed(items[place - 1]) or not _beamed(item)):
                words.append(" ")
            if item.tuplet and item.tuplet.first:
                words.append(_tuplet_sign(items[place:]))
            if item.start in chords:
                words.append(f'"{chords[item.start]}"')
            words.append(self._item(item))
        return "".join(words)

    def _item(self, item: VoiceItem) -> str:
        length = _length(item.written / self.unit)
        if not item.notes:
            return ("x" if self.hidden else "z") + length
        before = self._graces(item.graces)
        if self.ornaments and not item.tied_in:
            before += self._ornament(item.notes[-1])
        names = [self._pitch(note) for note in item.notes]
        tie = "-" if item.tied_out else ""
        if len(names) == 1:
            return f"{before}{names[0]}{length}{tie}"
        return f"{before}[{''.join(names)}]{length}{tie}"

    def _graces(self, notes: Sequence[SheetNote]) -> str:
        return "{" + "".join(self._pitch(note) for note in notes) + "}" if notes else ""

    def _pitch(self, note: SheetNote) -> str:
        letter, alter, octave = _spelled(note.midi, self.sheet.signature)
        usual = _alters(self.sheet.signature)[letter]
        readings = (self.by_place.get((letter, octave), usual), self.by_letter.get(letter, usual))
        sign = ""
        if readings != (alter, alter):
            sign = _ACCIDENTALS[alter]
            self.by_place[letter, octave] = self.by_letter[letter] = alter
        if octave >= 5:
            return sign + letter.lower() + "'" * (octave - 5)
        return sign + letter + "," * (4 - octave)

    def _ornament(self, note: SheetNote) -> str:
        kind = note.ornament
        if kind is None:
            return ""
        scale = [n for n in range(note.midi - 3, note.midi + 4) if self._in_scale(n)]
        above = min((n for n in scale if n > note.midi), default=note.midi + 2)
        below = max((n for n in scale if n < note.midi), default=note.midi - 2)
        if kind in ("roll", "slide"):
            return "~" if kind == "roll" else "!slide!"
        pitches = {"cut": [above], "tap": [below], "grace": [above, note.midi]}.get(kind, [])
        return self._graces([replace(note, midi=pitch) for pitch in pitches])

    def _in_scale(self, midi: int) -> bool:
        letter, alter, _ = _spelled(midi, self.sheet.signature)
        return _alters(self.sheet.signature)[letter] == alter


def _beamed(item: VoiceItem) -> bool:
    return bool(item.notes) and item.written < Fraction(1, 4)


def _tuplet_sign(items: Sequence[VoiceItem]) -> str:
    """ "(3" before three notes of one length, else "(3:2:n"."""
    tuplet = items[0].tuplet
    if tuplet is None:
        return ""
    count = next(
        (place + 1 for place, item in enumerate(items) if item.tuplet and item.tuplet.last),
        len(items),
    )
    if (tuplet.actual, tuplet.normal, count) == (3, 2, 3):
        return "(3"
    return f"({tuplet.actual}:{tuplet.normal}:{count}"


def _length(ratio: Fraction) -> str:
    if ratio == 1:
        return ""
    if ratio.denominator == 1:
        return str(ratio.numerator)
    over = str(ratio.numerator) if ratio.numerator > 1 else ""
    return f"{over}/{ratio.denominator}"
