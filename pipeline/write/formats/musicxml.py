"""Tune or layer -> MusicXML 4.0.

Task     write notes that any notation program opens
In       Tune; for a layer its Arrangement
Out      the bytes of a score-partwise document
Method   A layer is one part on two staves: notation (treble clef sounding an octave lower) and six-
         line tablature with the same notes. Melody stems go up, bass stems down. staff-tuning gives
         the strings without the capo, line 1 the lowest; `capo` raises them; `fret` counts from the
         capo, so string + capo + fret is the sounding pitch. Pitches are written as they sound.
         Gaps in the bass and inner voices are left blank, gaps in the melody are rests.
References  W3C MusicXML 4.0 (www.w3.org/2021/06/musicxml40).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

from lxml import etree

from liltwright import keys
from liltwright.tab import Arrangement
from liltwright.tune import Tune
from liltwright.write.formats.xml_notes import (
    Accidentals,
    Link,
    NoteStyle,
    add,
    divisions_for,
    grace_elements,
    harmony_element,
    note_elements,
    note_type,
    rest_element,
    spelling_of,
)
from liltwright.write.sheet.bars import Sheet, SheetBar
from liltwright.write.sheet.beams import beams_of
from liltwright.write.sheet.layout import sheet_of_layer, sheet_of_tune
from liltwright.write.sheet.values import value_and_dots
from liltwright.write.sheet.voices import SheetNote, Voice

_DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">'
)
_VOICE_NUMBERS = {"melody": 1, "bass": 2, "inner": 3}  # on the first staff; four more on the second
_STEMS = {"melody": "up", "bass": "down", "inner": "up"}
_TAB_STAFF = 2  # the lower of the two
STEEL_GUITAR = 26
"""General MIDI program of the steel-string guitar, counted from 1 as MusicXML does."""
FLUTE = 74  # program counted from 1, as MusicXML has it (General MIDI)

NoteKey = tuple[int, int, Fraction, int]
"""Which note on the guitar: bar, string, start, and the how manieth grace note there (0: none)."""


def tune_to_musicxml(tune: Tune) -> bytes:
    """The plain tune on one staff."""
    return sheet_to_musicxml(sheet_of_tune(tune))


def layer_to_musicxml(tune: Tune, arrangement: Arrangement, name: str) -> bytes:
    """A layer, or the "performance", as notation with tablature under it.

    Raises UsageError when there is no such layer.
    """
    return sheet_to_musicxml(sheet_of_layer(tune, arrangement, name))


def sheet_to_musicxml(sheet: Sheet) -> bytes:
    """Any sheet: the plain tune's on one staff, a layer's on two."""
    root = etree.Element("score-partwise", version="4.0")
    add(add(root, "work"), "work-title", sheet.title)
    identification = add(root, "identification")
    add(add(identification, "encoding"), "software", "liltwright")
    fields = add(identification, "miscellaneous")
    add(fields, "miscellaneous-field", sheet.tune_type, name="tune-type")
    add(fields, "miscellaneous-field", sheet.key.tonic, name="tonic")
    if sheet.setup is not None:
        add(fields, "miscellaneous-field", sheet.name, name="layer")
        add(fields, "miscellaneous-field", "counted from the capo", name="frets")
    _part_list(root, sheet)
    part = add(root, "part", id="P1")
    writer = _PartWriter(sheet)
    for index in range(len(sheet.bars)):
        writer.measure(part, index)
    return etree.tostring(
        root, xml_declaration=True, encoding="UTF-8", pretty_print=True, doctype=_DOCTYPE
    )


def _part_list(root: etree._Element, sheet: Sheet) -> None:
    guitar = sheet.setup is not None
    name = "Guitar" if guitar else "Melody"
    score_part = add(add(root, "part-list"), "score-part", id="P1")
    add(score_part, "part-name", name)
    add(add(score_part, "score-instrument", id="P1-I1"), "instrument-name", name)
    midi = add(score_part, "midi-instrument", id="P1-I1")
    add(midi, "midi-channel", 1)
    add(midi, "midi-program", STEEL_GUITAR if guitar else FLUTE)


class _PartWriter:
    """Writes the measures of the one part in order."""

    def __init__(self, sheet: Sheet) -> None:
        self._sheet = sheet
        items = [i.length for bar in sheet.bars for voice in bar.voices for i in voice.items]
        chords = [start for bar in sheet.bars for start, _ in bar.chords]
        self._divisions = divisions_for([*items, *chords, *(bar.length for bar in sheet.bars)])
        self._links = _links(sheet)
        self._accidentals = Accidentals(sheet.signature)
        self._irregular = 0

    def measure(self, part: etree._Element, index: int) -> None:
        """One bar with the signs around it."""
        bar = self._sheet.bars[index]
        number = str(bar.number)
        attributes = {}
        if bar.offset:
            attributes["implicit"] = "yes"
            if index:
                self._irregular += 1
                number = f"X{self._irregular}"
        measure = add(part, "measure", number=number, **attributes)
        if index == 0:
            self._attributes(measure)
        self._left_barline(measure, bar)
        self._directions(measure, bar, first=index == 0)
        self._accidentals.new_bar()
        self._staff(measure, index, tab=False)
        if self._sheet.setup is not None:
            self._move(measure, "backup", bar.length)
            self._staff(measure, index, tab=True)
        self._right_barline(measure, bar)

    # ------------------------------------------------------------ head of the bar

    def _attributes(self, measure: etree._Element) -> None:
        sheet = self._sheet
        attributes = add(measure, "attributes")
        add(attributes, "divisions", self._divisions)
        key = add(attributes, "key")
        add(key, "fifths", sheet.signature)
        add(key, "mode", sheet.key.mode)
        beats, unit = sheet.meter.split("/")
        time = add(attributes, "time")
        add(time, "beats", beats)
        add(time, "beat-type", unit)
        if sheet.setup is None:
            _clef(attributes, {})
            return
        add(attributes, "staves", 2)
        _clef(attributes, {"number": "1"}, octave=-1)
        tab = add(attributes, "clef", number=str(_TAB_STAFF))
        add(tab, "sign", "TAB")
        add(tab, "line", 5)
        details = add(attributes, "staff-details", number=str(_TAB_STAFF))
        add(details, "staff-lines", 6)
        for line, midi in enumerate(sheet.setup.strings_midi, 1):
            letter, alter, octave = keys.spell(midi, 0)
            tuning = add(details, "staff-tuning", line=str(line))
            add(tuning, "tuning-step", letter)
            if alter:
                add(tuning, "tuning-alter", alter)
            add(tuning, "tuning-octave", octave)
        if sheet.setup.capo:
            add(details, "capo", sheet.setup.capo)

    def _directions(self, measure: etree._Element, bar: SheetBar, *, first: bool) -> None:
        if bar.part:
            mark = add(measure, "direction", placement="above")
            add(add(mark, "direction-type"), "rehearsal", bar.part)
        if first:
            self._tempo(measure)
            setup = self._sheet.setup
            if setup is not None:
                capo = f", capo {setup.capo}" if setup.capo else ""
                words = add(measure, "direction", placement="above")
                add(add(words, "direction-type"), "words", f"Tuning {setup.tuning}{capo}")
        if bar.heading:
            words = add(measure, "direction", placement="above")
            add(add(words, "direction-type"), "words", bar.heading, font_style="italic")
        if bar.dynamic:
            dynamic = add(measure, "direction", placement="below")
            add(add(add(dynamic, "direction-type"), "dynamics"), bar.dynamic)

    def _tempo(self, measure: etree._Element) -> None:
        sheet = self._sheet
        shown = value_and_dots(sheet.beat) or (Fraction(1, 4), 0)
        direction = add(measure, "direction", placement="above")
        metronome = add(add(direction, "direction-type"), "metronome")
        add(metronome, "beat-unit", note_type(shown[0]))
        for _ in range(shown[1]):
            add(metronome, "beat-unit-dot")
        add(metronome, "per-minute", round(sheet.beats_per_minute))
        quarters = float(sheet.beat * 4) * sheet.beats_per_minute
        add(direction, "sound", tempo=f"{quarters:.6g}")

    def _left_barline(self, measure: etree._Element, bar: SheetBar) -> None:
        if not (bar.opens_repeat or bar.ending):
            return
        line = add(measure, "barline", location="left")
        if bar.opens_repeat:
            add(line, "bar-style", "heavy-light")
        if bar.ending:
            numbers = ",".join(str(time) for time in bar.ending)
            add(line, "ending", f"{numbers}.", number=numbers, type="start")
            self._ending = numbers
        if bar.opens_repeat:
            add(line, "repeat", direction="forward")

    def _right_barline(self, measure: etree._Element, bar: SheetBar) -> None:
        if not (bar.closes_repeat or bar.ends_ending or bar.double_bar or bar.last):
            return
        line = add(measure, "barline", location="right")
        heavy = bar.closes_repeat or bar.last
        add(line, "bar-style", "light-heavy" if heavy else "light-light")
        if bar.ends_ending:
            kind = "stop" if bar.closes_repeat else "discontinue"
            add(line, "ending", number=self._ending, type=kind)
        if bar.closes_repeat:
            times = {"times": str(bar.closes_repeat)} if bar.closes_repeat > 2 else {}
            add(line, "repeat", direction="backward", **times)

    # ------------------------------------------------------------ notes

    def _staff(self, measure: etree._Element, index: int, *, tab: bool) -> None:
        bar = self._sheet.bars[index]
        signs = {} if tab else self._signs(bar)
        for place, voice in enumerate(bar.voices):
            if place:
                self._move(measure, "backup", bar.length)
            self._voice(measure, index, voice, tab, signs)

    def _signs(self, bar: SheetBar) -> dict[tuple[str, Fraction, int, bool], str | None]:
        """Accidentals of the bar by voice, position, pitch and grace, found in playing order."""
        found: dict[tuple[str, Fraction, int, bool], str | None] = {}
        order = [(item.start, v.name, item) for v in bar.voices for item in v.items if item.notes]
        for start, name, item in sorted(order, key=lambda entry: entry[0]):
            for grace in item.graces:
                spelling = spelling_of(grace, self._sheet.signature)
                found[name, start, grace.midi, True] = self._accidentals.sign(spelling)
            for note in item.notes:
                if item.tied_in:
                    continue
                spelling = spelling_of(note, self._sheet.signature)
                found[name, start, note.midi, False] = self._accidentals.sign(spelling)
        return found

    def _voice(
        self,
        measure: etree._Element,
        index: int,
        voice: Voice,
        tab: bool,
        signs: dict[tuple[str, Fraction, int, bool], str | None],
    ) -> None:
        sheet = self._sheet
        bar = sheet.bars[index]
        style = self._style(voice, tab)
        beams = beams_of(voice.items, bar.offset, sheet.meter)
        chords = list(bar.chords) if voice.name == "melody" and not tab else []
        gap = Fraction(0)
        for item, beam in zip(voice.items, beams, strict=True):
            while chords and chords[0][0] < item.start + item.length:
                at, symbol = chords.pop(0)
                offset = int((at - item.start) * 4 * self._divisions)
                harmony_element(measure, symbol, offset, style.staff)
            if not item.notes and (tab or voice.name != "melody"):
                gap += item.length
                continue
            if gap:
                self._move(measure, "forward", gap, style)
                gap = Fraction(0)
            if not item.notes:
                rest_element(measure, item, style, item.length == bar.length == sheet.full)
                continue
            if item.graces:
                marks = [signs.get((voice.name, item.start, n.midi, True)) for n in item.graces]
                grace_elements(measure, item.graces, style, marks, self._linked(index, item.graces))
            marks = [signs.get((voice.name, item.start, note.midi, False)) for note in item.notes]
            linked = [() if item.tied_in else one for one in self._linked(index, item.notes)]
            note_elements(measure, item, style, beam, marks, linked)
        if gap:
            self._move(measure, "forward", gap, style)

    def _style(self, voice: Voice, tab: bool) -> NoteStyle:
        guitar = self._sheet.setup is not None
        return NoteStyle(
            self._divisions,
            self._sheet.signature,
            _VOICE_NUMBERS[voice.name] + (4 if tab else 0),
            (_TAB_STAFF if tab else 1) if guitar else 0,
            _STEMS[voice.name] if guitar else "",
            tab,
        )

    def _linked(self, index: int, notes: Sequence[SheetNote]) -> list[list[Link]]:
        return [self._links.get(key, []) for key in _keys_of(index, notes)]

    def _move(
        self, measure: etree._Element, tag: str, length: Fraction, style: NoteStyle | None = None
    ) -> None:
        move = add(measure, tag)
        add(move, "duration", int(length * 4 * self._divisions))
        if style is not None:
            add(move, "voice", style.voice)
            if style.staff:
                add(move, "staff", style.staff)


def _clef(attributes: etree._Element, number: dict[str, str], octave: int = 0) -> None:
    clef = add(attributes, "clef", **number)
    add(clef, "sign", "G")
    add(clef, "line", 2)
    if octave:
        add(clef, "clef-octave-change", octave)


def _keys_of(index: int, notes: Sequence[SheetNote]) -> list[NoteKey]:
    """The keys of notes of a bar in playing order."""
    graces = Counter[tuple[int, Fraction]]()
    keys_found = []
    for note in notes:
        graces[note.string, note.start] += note.grace
        order = graces[note.string, note.start] if note.grace else 0
        keys_found.append((index, note.string, note.start, order))
    return keys_found


def _links(sheet: Sheet) -> dict[NoteKey, list[Link]]:
    """Hammer-ons, pull-offs and slides: from the note before on the string to the one reached."""
    links: dict[NoteKey, list[Link]] = {}
    last: dict[int, NoteKey] = {}
    for index, bar in enumerate(sheet.bars):
        notes = sorted(bar.sounding, key=lambda n: (n.start, not n.grace))
        for note, here in zip(notes, _keys_of(index, notes), strict=True):
            if not note.string:
                continue
            before = last.get(note.string)
            if note.technique is not None and before is not None:
                links.setdefault(before, []).append((note.technique, "start"))
                links.setdefault(here, []).append((note.technique, "stop"))
            last[note.string] = here
    return links
