"""MusicXML (plain or compressed) -> Finished: every note of a guitar score, or of any score.

Task     read all voices, with strings, frets, tuning and capo where a tablature staff has them
In       bytes; the name of the file
Out      Finished
Method   A part with strings and frets is the guitar, and its notes are taken from there; a notation
         staff over it adds fingers and voices. Without tablature every staff and part is taken and
         each voice keeps its name. Ties are joined by staff, voice and pitch. Frets count from the
         capo or from the nut, whichever agrees with the written pitch.
References  W3C MusicXML 4.0, score-partwise: staff-details, technical.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from dataclasses import dataclass, field, replace
from fractions import Fraction
from statistics import median

from lxml import etree

from liltwright.errors import PipelineError
from liltwright.guitar.tunings import Strings, catalogue, name_of, standard
from liltwright.keys import LETTER_SEMITONES
from liltwright.limits import number, short, whole
from liltwright.read.bars import ReadBar
from liltwright.read.musicxml import PartReader, check_score
from liltwright.read.mxl import parsed, unpacked
from liltwright.read.written import Stated
from liltwright.read.xml_bars import midi_of_pitch
from liltwright.tab import Technique
from liltwright.tune import Source
from liltwright.unpick.finished import Finished, FinishedNote, six_strings

OWN_VOICES = {"1": "melody", "2": "bass", "3": "inner"}
_LINKS: dict[str, Technique] = {"hammer-on": "hammer-on", "pull-off": "pull-off"}
GRACE = Fraction(1, 32)  # of a whole note, where a grace note has no length
HIGHEST_CAPO = 11  # fret
LIKELY = 7
"""Semitones that a string is tuned away from standard at most."""


@dataclass(slots=True)
class _Note:
    """A note while it is read."""

    bar: int
    staff: str
    voice: str
    midi: int
    start: Fraction
    length: Fraction
    string: int = 0
    fret: int = -1
    finger: int = 0
    pluck: str = ""
    technique: Technique | None = None
    grace: bool = False
    goes_on: bool = False
    comes_in: bool = False


@dataclass(slots=True)
class _Score:
    """What all parts of the score hold."""

    bars: list[ReadBar] = field(default_factory=list)
    notes: list[_Note] = field(default_factory=list)
    tuning: dict[int, int] = field(default_factory=dict)
    """Open pitch by staff line, 1 the lowest."""
    capo: int = 0
    stated: Stated = field(default_factory=Stated)


def read_finished_xml(data: bytes, *, name: str) -> Finished:
    """Read every note of a .musicxml or .mxl file. Raises PipelineError when it is broken."""
    root = parsed(unpacked(data, name), name)
    check_score(root, name)
    parts = [part for part in root.iter("part") if part.find(".//note/pitch") is not None]
    if not parts:
        raise PipelineError(f"{name} has no notes.")
    with_tab = [part for part in parts if part.find(".//technical/fret") is not None]
    own = root.findtext("identification/encoding/software") == "liltwright"
    score = _Score()
    try:
        for place, part in enumerate(with_tab[:1] or parts):
            reader = _Reader(root, score, place)
            for measure in part.iter("measure"):
                reader.measure(measure)
            if not score.bars:
                score.bars, score.stated = reader.bars(), reader.stated()
        return _finished(score, own, Source(name, hashlib.sha256(data).hexdigest()))
    except (ValueError, ZeroDivisionError, KeyError, IndexError) as fault:
        why = short(str(fault), 120)
        raise PipelineError(
            f"{name} holds a value that MusicXML does not allow: {why}; correct it."
        ) from fault


class _Reader(PartReader):
    """Reads bar lines and directions as for a tune, and keeps every note beside."""

    def __init__(self, root: etree._Element, score: _Score, part: int) -> None:
        super().__init__(root)
        self._score = score
        self._part = part
        self._index = -1
        self._raised = 0

    def measure(self, measure: etree._Element) -> None:
        self._index += 1
        super().measure(measure)

    def _attributes(self, element: etree._Element) -> None:
        super()._attributes(element)
        octaves = element.findtext("transpose/octave-change")
        chromatic = element.findtext("transpose/chromatic")
        if chromatic is not None or octaves is not None:
            self._raised = int(number(chromatic or "0")) + 12 * whole(octaves or "0")
        for details in element.iter("staff-details"):
            lines = details.findall("staff-tuning")
            if len(lines) == 6:
                self._score.tuning = {whole(one.get("line", "")): _tuned(one) for one in lines}
                self._score.capo = whole(details.findtext("capo") or "0")
                if not 0 <= self._score.capo <= HIGHEST_CAPO:
                    raise ValueError(f"a capo at fret {self._score.capo}")

    def _note(self, element, bar, start, now, grace):  # type: ignore[no-untyped-def]
        is_grace = element.find("grace") is not None
        length = Fraction(0) if is_grace else self._length(element)
        after = now if element.find("chord") is not None else now + length
        pitch = element.find("pitch")
        if pitch is None or element.find("cue") is not None or not (is_grace or length > 0):
            return after
        ties = {tie.get("type") for tie in element.findall("tie")}
        technical = element.find("notations/technical")
        note = _Note(
            bar=self._index,
            staff=f"{self._part}:{element.findtext('staff') or '1'}",
            voice=f"{self._part}:{(element.findtext('voice') or '1').strip()}",
            midi=midi_of_pitch(pitch) + self._raised,
            start=start,
            length=length or GRACE,
            grace=is_grace,
            goes_on="start" in ties,
            comes_in="stop" in ties,
        )
        for slide in element.iterfind("notations/slide"):
            if slide.get("type") == "stop":
                note.technique = "slide"
        if technical is not None:
            _technical(technical, note)
        self._score.notes.append(note)
        return after


def _technical(element: etree._Element, note: _Note) -> None:
    string, fret = element.findtext("string"), element.findtext("fret")
    if string is not None and fret is not None:
        note.string, note.fret = whole(string), whole(fret)
        if not 1 <= note.string <= 6 or not 0 <= note.fret <= 36:
            raise ValueError(f"string {note.string}, fret {note.fret}")
    finger = (element.findtext("fingering") or "").strip()
    note.finger = int(finger) if finger in ("1", "2", "3", "4") else 0
    pluck = (element.findtext("pluck") or "").strip()
    note.pluck = pluck if pluck in ("p", "i", "m", "a") else ""
    for tag, technique in _LINKS.items():
        if any(one.get("type") == "stop" for one in element.iterfind(tag)):
            note.technique = technique


def _tuned(element: etree._Element) -> int:
    step = (element.findtext("tuning-step") or "").strip()
    alter = round(number(element.findtext("tuning-alter") or "0"))
    return 12 * (whole(element.findtext("tuning-octave") or "") + 1) + (
        LETTER_SEMITONES[step] + alter
    )


# ---------------------------------------------------------------- notes as they sound


def _finished(score: _Score, own: bool, source: Source) -> Finished:
    begins = [Fraction(0)]
    for bar in score.bars:
        begins.append(begins[-1] + bar.length)
    tab = {note.staff for note in score.notes if note.fret >= 0}
    notes = _tied([n for n in score.notes if not tab or n.staff in tab], begins, score.bars)
    strings = tuple(score.tuning[line] for line in sorted(score.tuning))
    remarks: tuple[str, ...] = ()
    if tab and not strings:
        strings, score.capo = _likely_strings([n for n in notes if n.fret >= 0])
        name = name_of(strings) + (f", capo {score.capo}" if score.capo else "")
        remarks = (f"The file names no tuning: by its notes and frets it is {name}.",)
    beside = {(n.bar, n.start, n.midi): n for n in score.notes if n.staff not in tab}
    held = [n for n in notes if n.fret >= 0]
    from_nut = bool(score.capo) and sum(
        strings[6 - n.string] + n.fret == n.midi for n in held
    ) > sum(strings[6 - n.string] + score.capo + n.fret == n.midi for n in held)
    bars: list[list[FinishedNote]] = [[] for _ in score.bars]
    for note in notes:
        twin = beside.get((note.bar, note.start, note.midi))
        if twin is not None and not own:
            note.voice = twin.voice
        if twin is not None:
            note.finger, note.pluck = note.finger or twin.finger, note.pluck or twin.pluck
            note.technique = note.technique or twin.technique
        bars[note.bar].append(_note(note, strings, score.capo, from_nut, own))
    for inside in bars:
        inside.sort(key=lambda note: (note.start, not note.grace, note.midi))
    ordered = [
        replace(bar, notes=tuple(inside)) for bar, inside in zip(score.bars, bars, strict=True)
    ]
    return Finished(source, score.stated, tuple(ordered), strings, score.capo, remarks)


def _likely_strings(notes: list[_Note]) -> tuple[Strings, int]:
    """Open strings and capo of a tablature that names no tuning, by what its frets sound.

    The commonest tuning of the catalogue with the lowest capo that agrees with every string
    played, else the strings as they sound, those not played as in standard. Notes written an octave
    off count as well; strings too far from standard are not believed.
    """
    usual = standard()
    sound = {
        string: Counter(n.midi - n.fret for n in notes if n.string == string).most_common(1)[0][0]
        for string in {n.string for n in notes}
    }
    away = median(midi - usual[6 - string] for string, midi in sound.items())
    sound = {string: midi - 12 * round(away / 12) for string, midi in sound.items()}
    for capo in range(HIGHEST_CAPO + 1):
        for tuning in sorted(catalogue(), key=lambda one: -one.common):
            if all(tuning.strings_midi[6 - s] + capo == midi for s, midi in sound.items()):
                return tuning.strings_midi, capo
    if any(abs(midi - usual[6 - string]) > LIKELY for string, midi in sound.items()):
        return usual, 0
    return six_strings([sound.get(6 - at, midi) for at, midi in enumerate(usual)]), 0


def _note(
    note: _Note, strings: tuple[int, ...], capo: int, from_nut: bool, own: bool
) -> FinishedNote:
    voice = note.voice
    if own:
        number_ = int(note.voice.partition(":")[2])
        voice = OWN_VOICES.get(str((number_ - 1) % 4 + 1), "")
    midi, fret = note.midi, max(note.fret, 0)
    if note.fret >= 0:
        fret -= capo if from_nut else 0
        if fret < 0:
            raise ValueError(f"fret {note.fret} below the capo at fret {capo}")
        midi = strings[6 - note.string] + capo + fret
    return FinishedNote(
        midi, note.start, note.length, None, note.string, fret, voice, note.grace,
        note.technique, note.finger, note.pluck,
    )  # fmt: skip


def _tied(notes: list[_Note], begins: list[Fraction], bars: list[ReadBar]) -> list[_Note]:
    """Notes with what is tied to them; a tie ends at a repeat sign or a new ending."""
    open_notes: dict[tuple[str, str, int, int], _Note] = {}
    kept = []
    ordered = sorted(notes, key=lambda n: (n.bar, n.start, not n.grace))
    for note in ordered:
        key = (note.staff, note.voice, note.midi, note.string)
        before = open_notes.pop(key, None)
        if before is not None and note.comes_in and not note.grace:
            starts = begins[note.bar] + note.start
            if begins[before.bar] + before.start + before.length == starts:
                before.length += note.length
                if note.goes_on:
                    open_notes[key] = before
                continue
        kept.append(note)
        if note.goes_on and not note.grace:
            open_notes[key] = note
    return kept
