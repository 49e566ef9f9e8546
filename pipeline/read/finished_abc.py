"""ABC notation with voices and chords -> Finished: every note of it.

Task     read all voices of a tune, and every note of a chord
In       text; the name of the file
Out      Finished
Method   The body is read once a voice by the reader of tunes (abc_music.py), which passes over the
         others; the bars of the voices are laid over one another. A voice named melody, bass or
         inner (by its sign or name=) says what its notes are. Overlays (&) are passed over.
References  ABC notation standard 2.1, sections 4.11 (ties), 4.17 (chords), 7 (voices).
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import replace
from fractions import Fraction

from liltwright.errors import PipelineError
from liltwright.limits import check
from liltwright.read.abc import read_body, read_header, tunes_in
from liltwright.read.abc_fields import default_length, parse_length, parse_meter, parse_tempo
from liltwright.read.abc_music import MusicReader, inner_notes
from liltwright.read.abc_open import AbcEvent, whole_notes
from liltwright.read.bars import ReadBar
from liltwright.read.written import Stated
from liltwright.tune import KeyName, Source
from liltwright.unpick.finished import PARTS, Finished, FinishedNote

_VOICE = re.compile(r"^V:[ \t]*(\S+)|\[V:[ \t]*([^\]\s]+)", re.MULTILINE)
_NAMED = re.compile(r"^V:[ \t]*(\S+)[^\n]*?[ \t](?:name|nm)=\"?(\w+)", re.MULTILINE | re.IGNORECASE)
MOST_VOICES = 12  # of a file


class _VoiceReader(MusicReader):
    """Reads one voice and keeps the lower notes of its chords."""

    def choose(self, voice: str) -> None:
        """Read this voice alone; what stands before any V: belongs to it if it is the first."""
        self._voice = voice
        self._below: dict[int, list[int]] = {}

    def mute(self) -> None:
        """Pass over everything until the voice begins."""
        self._muted = True

    def _chord(self, found: re.Match[str]) -> None:
        events = len(self._bar.events)
        super()._chord(found)
        if len(self._bar.events) > events:
            pitches = sorted(self._pitch(*one) for one in inner_notes(found))
            self._below[id(self._bar.events[-1])] = pitches[:-1]

    def _pitches(self, event: AbcEvent) -> list[int]:
        if event.midi is None:
            return []
        return [event.midi, *(p for p in self._below.get(id(event), []) if p != event.midi)]

    def finished_bars(self, voice: str) -> list[ReadBar]:
        """Every bar with every note, ties joined pitch by pitch."""
        bars = self.bars()
        held: dict[int, tuple[int, int]] = {}  # pitch to where its note is kept
        kept: list[list[FinishedNote]] = []
        for bar in self._done:
            notes: list[FinishedNote] = []
            kept.append(notes)
            position = 0
            for event in bar.events:
                now: dict[int, tuple[int, int]] = {}
                for midi in self._pitches(event) if event.ticks > 0 else []:
                    if midi in held:
                        where = held[midi]
                        old = kept[where[0]][where[1]]
                        longer = old.length + whole_notes(event.ticks)
                        kept[where[0]][where[1]] = replace(old, length=longer)
                    else:
                        where = (len(kept) - 1, len(notes))
                        start, length = whole_notes(position), whole_notes(event.ticks)
                        notes.append(FinishedNote(midi, start, length, event.ornament, voice=voice))
                    now[midi] = where
                held = now if event.tie else {}
                position += event.ticks
        return [replace(bar, notes=tuple(notes)) for bar, notes in zip(bars, kept, strict=True)]


def read_finished_abc(text: str, *, name: str) -> Finished:
    """Read the first tune of ABC text with all its voices. Raises PipelineError."""
    pieces = tunes_in(text)
    if not pieces:
        raise PipelineError(f"{name} holds no ABC tune: a tune needs an X: line and a K: line.")
    piece, first_line = pieces[0]
    lines = list(enumerate(piece.splitlines(), first_line))
    check("text_tune", len(piece), name)
    check("text_line", max((len(line) for _, line in lines), default=0), name)
    source = Source(name, hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest())
    try:
        return _finished(piece, lines, source)
    except ValueError as fault:
        raise PipelineError(f"{name} cannot be read: {fault}; correct it.") from fault


def _finished(piece: str, lines: list[tuple[int, str]], source: Source) -> Finished:
    header, body = read_header(lines)
    key = header.key
    if key is None:
        raise PipelineError(f"{source.file} has no K: line, which must end the header.")
    meter = parse_meter(header.values.get("M", "4/4")) or "4/4"
    unit = default_length(meter)
    if "L" in header.values:
        unit = parse_length(header.values["L"], unit)
    music = "\n".join(line for _, line in lines[body:])
    names = list(dict.fromkeys(a or b for a, b in _VOICE.findall(music)))[:MOST_VOICES] or [""]
    named = {voice: what.lower() for voice, what in _NAMED.findall(piece)}
    warnings: dict[str, None] = {}
    voices: list[list[ReadBar]] = []
    for name in names:
        reader = _VoiceReader(key, meter, unit)
        for value in header.signs:
            reader.field("U", value)
        reader.choose(name)
        if name != names[0]:
            reader.mute()
        said: list[str] = []
        read_body(lines[body:], reader, said, [])
        voice = next((one for one in (name.lower(), named.get(name)) if one in PARTS), name)
        voices.append(reader.finished_bars(voice if len(names) > 1 or voice in PARTS else ""))
        warnings |= dict.fromkeys((*said, *reader.warnings))
    titles = header.titles
    stated = Stated(
        title=re.sub(r" \([a-z-]+\)$", "", titles[0]) if titles else "",
        meter=meter,
        kind="\n".join((header.values.get("R", ""), *titles)),
        key=KeyName(key.tonic, key.mode) if key.states_key else None,
        signature=key.signature,
        whole_notes_a_minute=parse_tempo(header.values.get("Q", ""), unit),
        order=header.values.get("P", ""),
        warnings=tuple(warnings),
    )
    return Finished(source, stated, tuple(_laid_over(voices)))


def _laid_over(voices: list[list[ReadBar]]) -> list[ReadBar]:
    """The bars of the first voice with the notes of all."""
    bars = []
    for index, bar in enumerate(voices[0]):
        notes = [note for voice in voices if index < len(voice) for note in voice[index].notes]
        length = max((voice[index].length for voice in voices if index < len(voice)), default=0)
        notes.sort(key=lambda note: (note.start, note.midi))
        bars.append(replace(bar, notes=tuple(notes), length=Fraction(length)))
    return bars
