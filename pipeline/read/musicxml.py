"""MusicXML (plain or compressed) -> Tune: the melody line.

Task     read the tune from a score that any notation program wrote
In       bytes; the name of the file
Out      Tune
Method   The first part with notes, its first staff, the first voice there; of a chord the top
         note. Durations are taken as they are, so tuplets need no care. Under a clef that sounds
         an octave lower (guitar notation) the notes are read as they look on the page.
References  W3C MusicXML 4.0, score-partwise.
"""

from __future__ import annotations

import hashlib
from fractions import Fraction

from lxml import etree

from liltwright.errors import PipelineError
from liltwright.limits import number, short, whole
from liltwright.read.bars import ReadBar
from liltwright.read.checked import check_meter
from liltwright.read.mxl import parsed, unpacked
from liltwright.read.written import Stated, written_tune
from liltwright.read.xml_bars import (
    MODE_NAMES,
    XmlBar,
    XmlNote,
    divisions_of,
    finished_bar,
    key_named,
    midi_of_pitch,
    ornament_of,
    read_barline,
    symbol_of,
)
from liltwright.tune import Source, Tune

_BEATS = {"long": Fraction(4), "breve": Fraction(2), "whole": Fraction(1), "half": Fraction(1, 2),
          "quarter": Fraction(1, 4), "eighth": Fraction(1, 8), "16th": Fraction(1, 16),
          "32nd": Fraction(1, 32)}  # fmt: skip
"""Whole notes, by MusicXML's names."""


def read_musicxml(data: bytes, *, name: str) -> Tune:
    """Read the melody of a .musicxml or .mxl file.

    Raises PipelineError when the data is broken, is another kind of document or has no notes.
    """
    root = parsed(unpacked(data, name), name)
    part = _first_part(root, name)
    reader = PartReader(root)
    try:
        for measure in part.iter("measure"):
            reader.measure(measure)
        bars, stated = reader.bars(), reader.stated()
    except (ValueError, ZeroDivisionError, KeyError) as fault:
        why = short(str(fault), 120)
        raise PipelineError(
            f"{name} holds a value that MusicXML does not allow: {why}; correct it."
        ) from fault
    source = Source(name, hashlib.sha256(data).hexdigest())
    return written_tune(bars, stated, source, which=name)


def check_score(root: etree._Element, name: str) -> None:
    """Refuse what is no MusicXML score in the usual order."""
    if root.tag == "score-timewise":
        raise PipelineError(
            f"{name} is MusicXML in timewise order: save it as score-partwise, the usual kind."
        )
    if root.tag != "score-partwise":
        raise PipelineError(
            f"{name} is XML but no MusicXML score: its root is <{short(root.tag)}>."
        )


def _first_part(root: etree._Element, name: str) -> etree._Element:
    check_score(root, name)
    for part in root.iter("part"):
        if part.find(".//note/pitch") is not None:
            return part
    raise PipelineError(f"{name} has no notes.")


class PartReader:
    """Reads the measures of one part in order."""

    def __init__(self, root: etree._Element) -> None:
        self._root = root
        self.divisions_of = 1
        self._transpose = 0
        self._octave = 0
        self._meter = ""
        self._key: tuple[int, str] | None = None
        self._tempo: Fraction | None = None
        self._voice: str | None = None
        self._full = Fraction(1)
        self._done: list[XmlBar] = []

    def measure(self, measure: etree._Element) -> None:
        """Read one measure."""
        bar = XmlBar()
        now = last_start = Fraction(0)
        grace: list[int] = []
        for element in measure:
            tag = element.tag
            if tag == "attributes":
                self._attributes(element)
            elif tag == "backup":
                now -= self._length(element)
            elif tag == "forward":
                now += self._length(element)
            elif tag == "note":
                start = last_start if element.find("chord") is not None else now
                now = self._note(element, bar, start, now, grace)
                last_start = start
            elif tag == "barline":
                read_barline(element, bar)
            elif tag == "direction":
                self._direction(element, bar)
            elif tag == "harmony":
                offset = number(element.findtext("offset") or "0") / (4 * self.divisions_of)
                bar.chords.append((max(now + offset, Fraction(0)), symbol_of(element)))
            elif tag == "sound":
                self._sound(element)
            bar.length = max(bar.length, now)
        bar.length = bar.length or self._full
        if bar.label and self._done and self._done[-1].times == 1:
            self._done[-1].closes = True
        self._done.append(bar)

    def bars(self) -> list[ReadBar]:
        """Everything read, tied notes as one."""
        finished = []
        open_note: XmlNote | None = None
        for index, bar in enumerate(self._done):
            before = self._done[index - 1] if index else None
            if before is not None and (
                before.closes or before.times > 1 or bar.ending or bar.opens
            ):
                open_note = None
            kept = []
            for note in sorted(bar.notes, key=lambda one: one.start):
                if open_note is not None and open_note.midi == note.midi:
                    open_note.length += note.length
                    if not note.goes_on:
                        open_note = None
                    continue
                kept.append(note)
                open_note = note if note.goes_on else None
            finished.append((bar, kept))
        return [finished_bar(bar, kept) for bar, kept in finished]

    def stated(self) -> Stated:
        """What the score says about the tune."""
        root = self._root
        fields = {one.get("name"): one.text or "" for one in root.iter("miscellaneous-field")}
        title = root.findtext("work/work-title") or root.findtext("movement-title") or ""
        key = None
        if self._key is not None and MODE_NAMES.get(self._key[1]):
            key = key_named(*self._key, fields.get("tonic", ""))
        return Stated(
            title=" ".join(title.split()),
            meter=self._meter or "4/4",
            kind=fields.get("tune-type", ""),
            key=key,
            signature=self._key[0] if self._key else None,
            whole_notes_a_minute=self._tempo,
        )

    # ------------------------------------------------------------ elements

    def _attributes(self, element: etree._Element) -> None:
        self.divisions_of = divisions_of(element.findtext("divisions") or str(self.divisions_of))
        key = element.find("key/fifths")
        if key is not None and self._key is None:
            mode = (element.findtext("key/mode") or "").strip().lower()
            self._key = (max(-7, min(7, whole(key.text or "0"))), mode)
        beats, unit = element.findtext("time/beats"), element.findtext("time/beat-type")
        if beats and unit:
            counted = sum(whole(part) for part in beats.split("+"))
            meter = f"{counted}/{whole(unit)}"
            check_meter(meter, "The score")
            self._full = Fraction(meter)
            self._meter = self._meter or meter
        self._transpose = int(
            number(element.findtext("transpose/chromatic") or str(self._transpose))
        )
        for clef in element.iter("clef"):
            if clef.get("number", "1") == "1":
                self._octave = -whole(clef.findtext("clef-octave-change") or "0")

    def _length(self, element: etree._Element) -> Fraction:
        return number(element.findtext("duration") or "0") / (4 * self.divisions_of)

    def _note(
        self, element: etree._Element, bar: XmlBar, start: Fraction, now: Fraction, grace: list[int]
    ) -> Fraction:
        """Take a note in if it is the melody; the position after it."""
        is_grace = element.find("grace") is not None
        length = Fraction(0) if is_grace else self._length(element)
        after = now if element.find("chord") is not None else now + length
        pitch = element.find("pitch")
        mine = element.findtext("staff") in (None, "1") and element.find("cue") is None
        voice = element.findtext("voice") or "1"
        if not mine or (pitch is None) or voice != (self._voice or voice):
            return after
        self._voice = voice
        midi = midi_of_pitch(pitch) + self._transpose + 12 * self._octave
        if is_grace:
            grace.append(midi)
            return after
        if length <= 0:
            return after
        tied = any(tie.get("type") == "start" for tie in element.findall("tie"))
        before = tuple(one - midi for one in grace)
        note = XmlNote(midi, start, length, ornament_of(element, grace, midi), tied, before)
        grace.clear()
        if bar.notes and bar.notes[-1].start == start:
            if midi > bar.notes[-1].midi:
                bar.notes[-1] = note
        else:
            bar.notes.append(note)
        return after

    def _direction(self, element: etree._Element, bar: XmlBar) -> None:
        mark = (element.findtext("direction-type/rehearsal") or "").strip()
        if mark:
            bar.label = mark if len(mark) == 1 else ""
        for sound in element.iter("sound"):
            self._sound(sound)
        metronome = element.find("direction-type/metronome")
        if metronome is not None and self._tempo is None:
            beat = _BEATS.get(metronome.findtext("beat-unit") or "")
            rate = (metronome.findtext("per-minute") or "").strip()
            if beat and rate.replace(".", "", 1).isdecimal() and number(rate) > 0:
                dots = len(metronome.findall("beat-unit-dot"))
                self._tempo = beat * (2 - Fraction(1, 2 ** min(dots, 4))) * number(rate)

    def _sound(self, element: etree._Element) -> None:
        tempo = element.get("tempo")
        if tempo and self._tempo is None and number(tempo) > 0:
            self._tempo = number(tempo) / 4
