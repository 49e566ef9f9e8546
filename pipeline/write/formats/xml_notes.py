"""Notes, rests and chord symbols as MusicXML elements, in the order the schema asks for.

References  W3C MusicXML 4.0: note, notations, technical (string 1 is the highest; fret 0 is open),
            harmony.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from math import lcm

from lxml import etree

from liltwright import keys
from liltwright.notation import CHORD_KINDS
from liltwright.write.sheet.values import value_and_dots
from liltwright.write.sheet.voices import SheetNote, VoiceItem

_spelled = cache(keys.spell)
_TYPES = {
    Fraction(4): "long", Fraction(2): "breve", Fraction(1): "whole", Fraction(1, 2): "half",
    Fraction(1, 4): "quarter", Fraction(1, 8): "eighth", Fraction(1, 16): "16th",
    Fraction(1, 32): "32nd", Fraction(1, 64): "64th", Fraction(1, 128): "128th",
    Fraction(1, 256): "256th",
}  # fmt: skip
_ACCIDENTALS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
_SYMBOL = re.compile(r"\(?([A-G])([#b]?)([^/()]*)\)?(?:/([A-G])([#b]?))?\)?")

Link = tuple[str, str]
"""A left-hand technique and its end here: ("hammer-on", "start")."""


def add(
    parent: etree._Element, tag: str, text: object = None, /, **attributes: str
) -> etree._Element:
    """A child element; an underscore in an attribute's name stands for a hyphen."""
    named = {name.replace("_", "-"): value for name, value in attributes.items()}
    child = etree.SubElement(parent, tag, named)
    if text is not None:
        child.text = str(text)
    return child


def note_type(value: Fraction) -> str:
    """MusicXML's name of a plain note value."""
    return _TYPES[value]


def divisions_for(lengths: Sequence[Fraction]) -> int:
    """Divisions of a quarter note that make every length a whole number of them."""
    return lcm(*((length * 4).denominator for length in lengths), 1)


class Accidentals:
    """What the accidentals of one bar on one staff say so far, by letter and octave."""

    def __init__(self, signature: int) -> None:
        self._usual = keys.signature_alters(signature)
        self._now: dict[tuple[str, int], int] = {}

    def new_bar(self) -> None:
        """A bar line undoes every accidental."""
        self._now = {}

    def sign(self, spelling: keys.Spelling) -> str | None:
        """The accidental to print before a note, if any."""
        letter, alter, octave = spelling
        if self._now.get((letter, octave), self._usual[letter]) == alter:
            return None
        self._now[letter, octave] = alter
        return _ACCIDENTALS[alter]


@dataclass(frozen=True, slots=True)
class NoteStyle:
    """How the notes of one voice on one staff are written."""

    divisions: int
    signature: int
    voice: int
    staff: int = 0
    """0 where the part has one staff."""
    stem: str = ""
    tab: bool = False


def rest_element(
    parent: etree._Element, item: VoiceItem, style: NoteStyle, whole_bar: bool
) -> None:
    """A rest; one that fills its bar is written as such."""
    note = add(parent, "note")
    add(note, "rest", **({"measure": "yes"} if whole_bar else {}))
    _duration(note, item.length, style)
    add(note, "voice", style.voice)
    if not whole_bar:
        _type(note, item)
    if style.staff:
        add(note, "staff", style.staff)
    if item.tuplet and (item.tuplet.first or item.tuplet.last):
        _tuplet(add(note, "notations"), item)


def note_elements(
    parent: etree._Element,
    item: VoiceItem,
    style: NoteStyle,
    beams: Sequence[str],
    signs: Sequence[str | None],
    links: Sequence[Sequence[Link]],
) -> None:
    """The notes of an item as a chord; `signs` and `links` go with item.notes."""
    for place, played in enumerate(item.notes):
        hidden = {"print_object": "no"} if style.tab and item.tied_in else {}
        note = add(parent, "note", **hidden)
        if place:
            add(note, "chord")
        _pitch(note, played, style)
        _duration(note, item.length, style)
        if item.tied_in:
            add(note, "tie", type="stop")
        if item.tied_out:
            add(note, "tie", type="start")
        add(note, "voice", style.voice)
        _type(note, item, signs[place])
        if style.stem:
            add(note, "stem", style.stem)
        if style.staff:
            add(note, "staff", style.staff)
        if not place:
            for level, mark in enumerate(beams, 1):
                add(note, "beam", mark, number=str(level))
        _notations(note, item, played, style, links[place], first=not place)


def grace_elements(
    parent: etree._Element,
    notes: Sequence[SheetNote],
    style: NoteStyle,
    signs: Sequence[str | None],
    links: Sequence[Sequence[Link]],
) -> None:
    """Grace notes one after another."""
    for played, sign, techniques in zip(notes, signs, links, strict=True):
        note = add(parent, "note")
        add(note, "grace", slash="yes")
        _pitch(note, played, style)
        add(note, "voice", style.voice)
        add(note, "type", "16th")
        if sign:
            add(note, "accidental", sign)
        if style.stem:
            add(note, "stem", style.stem)
        if style.staff:
            add(note, "staff", style.staff)
        plain = VoiceItem(Fraction(0), Fraction(1, 16), (played,))
        _notations(note, plain, played, style, techniques, first=True)


def harmony_element(parent: etree._Element, symbol: str, offset: int, staff: int) -> None:
    """A chord symbol; one that is no chord is written as words."""
    found = _SYMBOL.fullmatch(symbol.strip())
    if not found:
        direction = add(parent, "direction", placement="above")
        add(add(direction, "direction-type"), "words", symbol)
        if offset:
            add(direction, "offset", offset)
        return
    step, sign, kind, bass, bass_sign = found.groups()
    harmony = add(parent, "harmony")
    root = add(harmony, "root")
    add(root, "root-step", step)
    if sign:
        add(root, "root-alter", 1 if sign == "#" else -1)
    plain = {"min": "m", "-": "m", "maj": "", "M7": "maj7"}.get(kind, kind)
    add(harmony, "kind", CHORD_KINDS.get(plain, "other"), text=kind)
    if bass:
        below = add(harmony, "bass")
        add(below, "bass-step", bass)
        if bass_sign:
            add(below, "bass-alter", 1 if bass_sign == "#" else -1)
    if offset:
        add(harmony, "offset", offset)
    if staff:
        add(harmony, "staff", staff)


def spelling_of(note: SheetNote, signature: int) -> keys.Spelling:
    """How a note is spelled in the sheet's key."""
    return _spelled(note.midi, signature)


def _pitch(note: etree._Element, played: SheetNote, style: NoteStyle) -> None:
    letter, alter, octave = _spelled(played.midi, style.signature)
    pitch = add(note, "pitch")
    add(pitch, "step", letter)
    if alter:
        add(pitch, "alter", alter)
    add(pitch, "octave", octave)


def _duration(note: etree._Element, length: Fraction, style: NoteStyle) -> None:
    add(note, "duration", int(length * 4 * style.divisions))


def _type(note: etree._Element, item: VoiceItem, sign: str | None = None) -> None:
    shown = value_and_dots(item.written)
    if shown:
        add(note, "type", _TYPES[shown[0]])
        for _ in range(shown[1]):
            add(note, "dot")
    if sign:
        add(note, "accidental", sign)
    if item.tuplet:
        change = add(note, "time-modification")
        add(change, "actual-notes", item.tuplet.actual)
        add(change, "normal-notes", item.tuplet.normal)


def _tuplet(notations: etree._Element, item: VoiceItem) -> None:
    if item.tuplet is None:
        return
    beamed = item.notes and item.written < Fraction(1, 4)
    if item.tuplet.first:
        add(notations, "tuplet", type="start", bracket="no" if beamed else "yes")
    if item.tuplet.last:
        add(notations, "tuplet", type="stop")


def _notations(
    note: etree._Element,
    item: VoiceItem,
    played: SheetNote,
    style: NoteStyle,
    links: Sequence[Link],
    *,
    first: bool,
) -> None:
    notations = etree.Element("notations")
    if item.tied_in:
        add(notations, "tied", type="stop")
    if item.tied_out:
        add(notations, "tied", type="start")
    if first:
        _tuplet(notations, item)
    number = str(played.string or 1)
    for technique, end in links:
        if technique == "slide":
            add(notations, "slide", type=end, number=number, line_type="solid")
        elif not style.tab:
            add(notations, "slur", type=end, number=number)
    if style.tab:
        technical = add(notations, "technical")
        add(technical, "string", played.string)
        add(technical, "fret", played.fret)
        for technique, end in links:
            if technique != "slide":
                text = {"hammer-on": "H", "pull-off": "P"}[technique] if end == "start" else None
                add(technical, technique, text, type=end, number=number)
    elif played.string and not item.tied_in:
        technical = etree.Element("technical")
        if played.finger:
            side = "above" if played.voice == "melody" else "below"
            add(technical, "fingering", played.finger, placement=side)
        if played.pluck and played.technique is None:
            add(technical, "pluck", played.pluck)
        if len(technical):
            notations.append(technical)
    if len(notations):
        note.append(notations)
