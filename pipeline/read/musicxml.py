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
from dataclasses import dataclass, field
from fractions import Fraction

from lxml import etree

from liltwright.errors import PipelineError
from liltwright.keys import LETTER_SEMITONES, signature_of
from liltwright.limits import check, number, short, whole
from liltwright.notation import CHORD_KINDS
from liltwright.read.bars import ReadBar
from liltwright.read.checked import check_meter
from liltwright.read.mxl import parsed, unpacked
from liltwright.read.written import Stated, written_tune
from liltwright.tune import MODES, KeyName, Mode, Ornament, ScoreNote, Source, Tune

_OTHER_MODES: dict[str, Mode] = {"ionian": "major", "aeolian": "minor", "locrian": "phrygian"}
_MODES: dict[str, Mode] = {mode: mode for mode in MODES} | _OTHER_MODES  # type: ignore[dict-item]
_SIGNS: dict[str, Ornament] = {
    "turn": "roll", "inverted-turn": "roll", "delayed-turn": "roll", "vertical-turn": "roll",
    "delayed-inverted-turn": "roll", "trill-mark": "grace", "shake": "grace", "mordent": "tap",
    "inverted-mordent": "cut", "schleifer": "slide", "tremolo": "triplet",
}  # fmt: skip
_TONICS = ("C", "G", "D", "A", "E", "B", "F#", "C#", "F", "Bb", "Eb", "Ab", "Db", "Gb", "Cb",
           "G#", "D#", "A#")  # fmt: skip
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


@dataclass(slots=True)
class _Note:
    midi: int
    start: Fraction
    length: Fraction
    ornament: Ornament | None = None
    goes_on: bool = False
    graces: tuple[int, ...] = ()


@dataclass(slots=True)
class _Bar:
    """One measure while it is read."""

    notes: list[_Note] = field(default_factory=list)
    chords: list[tuple[Fraction, str]] = field(default_factory=list)
    length: Fraction = Fraction(0)
    opens: bool = False
    closes: bool = False
    times: int = 1
    ending: tuple[int, ...] = ()
    label: str = ""


class PartReader:
    """Reads the measures of one part in order."""

    def __init__(self, root: etree._Element) -> None:
        self._root = root
        self._divisions = 1
        self._transpose = 0
        self._octave = 0
        self._meter = ""
        self._key: tuple[int, str] | None = None
        self._tempo: Fraction | None = None
        self._voice: str | None = None
        self._full = Fraction(1)
        self._done: list[_Bar] = []

    def measure(self, measure: etree._Element) -> None:
        """Read one measure."""
        bar = _Bar()
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
                _barline(element, bar)
            elif tag == "direction":
                self._direction(element, bar)
            elif tag == "harmony":
                offset = number(element.findtext("offset") or "0") / (4 * self._divisions)
                bar.chords.append((max(now + offset, Fraction(0)), _symbol(element)))
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
        open_note: _Note | None = None
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
        return [_finished(bar, kept) for bar, kept in finished]

    def stated(self) -> Stated:
        """What the score says about the tune."""
        root = self._root
        fields = {one.get("name"): one.text or "" for one in root.iter("miscellaneous-field")}
        title = root.findtext("work/work-title") or root.findtext("movement-title") or ""
        key = None
        if self._key is not None and _MODES.get(self._key[1]):
            key = _key_named(*self._key, fields.get("tonic", ""))
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
        self._divisions = _divisions(element.findtext("divisions") or str(self._divisions))
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
        return number(element.findtext("duration") or "0") / (4 * self._divisions)

    def _note(
        self, element: etree._Element, bar: _Bar, start: Fraction, now: Fraction, grace: list[int]
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
        note = _Note(midi, start, length, _ornament(element, grace, midi), tied, before)
        grace.clear()
        if bar.notes and bar.notes[-1].start == start:
            if midi > bar.notes[-1].midi:
                bar.notes[-1] = note
        else:
            bar.notes.append(note)
        return after

    def _direction(self, element: etree._Element, bar: _Bar) -> None:
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


def _finished(bar: _Bar, notes: list[_Note]) -> ReadBar:
    return ReadBar(
        notes=tuple(
            ScoreNote(n.midi, n.start, n.length, n.ornament, graces=n.graces) for n in notes
        ),
        length=bar.length,
        opens=bar.opens,
        closes=bar.closes,
        times=bar.times,
        ending=bar.ending,
        label=bar.label,
        chords=tuple(bar.chords),
    )


def _barline(element: etree._Element, bar: _Bar) -> None:
    left = element.get("location", "right") == "left"
    ending = element.find("ending")
    if ending is not None and ending.get("type") == "start":
        numbers = (ending.get("number") or "").replace(" ", ",").split(",")
        bar.ending = tuple(whole(one) for one in numbers if one.isdecimal())
    repeat = element.find("repeat")
    if repeat is not None and repeat.get("direction") == "forward":
        bar.opens = True
    elif repeat is not None:
        bar.times = max(2, whole(repeat.get("times") or "2"))
        bar.closes = True
    style = element.findtext("bar-style") or ""
    if style in ("light-light", "light-heavy", "heavy-heavy") and not left:
        bar.closes = True


def midi_of_pitch(pitch: etree._Element) -> int:
    """The pitch of a <pitch> element."""
    step = (pitch.findtext("step") or "C").strip()
    alter = _alter(pitch.findtext("alter"))
    return 12 * (whole(pitch.findtext("octave") or "4") + 1) + LETTER_SEMITONES[step] + alter


def _ornament(element: etree._Element, grace: list[int], midi: int) -> Ornament | None:
    for sign in element.iterfind("notations/ornaments/*"):
        if str(sign.tag) in _SIGNS and sign.get("type") in (None, "single", "start"):
            return _SIGNS[str(sign.tag)]
    if element.find("notations/articulations/scoop") is not None:
        return "slide"
    if not grace:
        return None
    if len(grace) > 1:
        return "grace"
    return "cut" if grace[0] > midi else "tap"


def _symbol(harmony: etree._Element) -> str:
    """A chord symbol as text: root, the kind as written or as named, bass."""
    kind = harmony.find("kind")
    text = kind.get("text") if kind is not None else None
    if text is None and kind is not None:
        named = {value: key for key, value in reversed(CHORD_KINDS.items())}
        text = named.get((kind.text or "").strip(), "")
    bass = harmony.find("bass")
    return (
        _spelled(harmony, "root/root") + (text or "")
        + ("/" + _spelled(harmony, "bass/bass") if bass is not None else "")
    )  # fmt: skip


def _alter(text: str | None) -> int:
    alter = round(number(text or "0"))
    check("alter", abs(alter), "The score")
    return alter


def _divisions(text: str) -> int:
    divisions = whole(text)
    if divisions <= 0:
        raise ValueError(f"{divisions} divisions of a quarter")
    return divisions


def _spelled(harmony: etree._Element, path: str) -> str:
    alter = _alter(harmony.findtext(f"{path}-alter"))
    sign = "#" * alter if alter > 0 else "b" * -alter
    return short(harmony.findtext(f"{path}-step") or "", 8).strip() + sign


def _key_named(fifths: int, mode_name: str, tonic: str) -> KeyName:
    mode = _MODES[mode_name]
    if tonic in _TONICS:
        return KeyName(tonic, mode)
    wanted = fifths + (1 if mode_name == "locrian" else 0)
    fitting = [name for name in _TONICS if signature_of(name, mode) == wanted]
    return KeyName(fitting[0] if fitting else "C", mode)
