"""Standard MIDI File -> Tune: the melody line; or Heard, where it was played off the grid.

Task     read the tune from a MIDI file, one that a notation program wrote or one that was played
In       bytes; the name of the file
Out      Tune, or Heard: a performance, which goes the way of a recording (tunefile.py)
Method   The track called melody, else the one with the most notes, drums left out; of notes at one
         time the highest. Notes that lie on a grid of 32nds and triplets are quantised from their
         ticks; the file's metres give the bars, and written-out repeats are folded (unfold.py).
References  Standard MIDI Files 1.0.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from math import ceil

import mido

from liltwright.errors import PipelineError
from liltwright.limits import check, short
from liltwright.read.barline import pickup_length
from liltwright.read.checked import check_meter
from liltwright.read.midi_grid import GRID, NEAR, TickNote, quantised, snapped
from liltwright.read.midi_stated import (
    bars_between,
    lines_of,
    main_meter,
    marks_of,
    metas_of,
    meters_of,
    named_meter,
    stated_in,
)
from liltwright.read.unfold import printed_bars
from liltwright.read.written import written_tune
from liltwright.tune import Heard, NoteEvent, Source, Tune

ON_GRID = 0.9
"""Share of onsets on the grid from which a file counts as written."""
DRUMS = 9  # channel of percussion, counted from 0 (General MIDI)


def read_midi(data: bytes, *, name: str) -> Tune | Heard:
    """Read the melody of a MIDI file.

    Raises PipelineError when the data is broken or has no notes.
    """
    check("midi_bytes", len(data), name)
    file = parsed_midi(data, name)
    if file.ticks_per_beat <= 0:
        raise PipelineError(
            f"{name} counts time in film frames instead of beats: save it with a tempo."
        )
    notes = _melody(file)
    if not notes:
        raise PipelineError(f"{name} has no notes.")
    check_times(file, notes, name)
    source = Source(name, hashlib.sha256(data).hexdigest())
    whole = 4 * file.ticks_per_beat
    near = sum(abs(snapped(n.start, whole, GRID) - Fraction(n.start, whole)) <= NEAR for n in notes)
    if near < ON_GRID * len(notes):
        return _performed(file, notes, source)
    metas = metas_of(file)
    end = max(notes[-1].end, max((tick for tick, _ in metas), default=0))
    meters = meters_of(metas, end)
    for _, stated_meter in meters:
        check_meter(stated_meter, name)
    marks = marks_of(metas, whole)
    meter = named_meter(metas) or main_meter(meters, end)
    check_meter(meter, name)
    full = Fraction(meter)
    line = quantised(notes, whole)
    if not line:
        raise PipelineError(f"{name} has no notes long enough to write down.")
    warnings: tuple[str, ...] = ()
    if marks:
        lines = lines_of(meters, list(marks), snapped(end, whole, GRID), whole)
    else:
        lead = lead_of(line, meters, full)
        shift = full - lead if lead else Fraction(0)
        line = [(start + shift, end + shift, midi) for start, end, midi in line]
        if lead:
            warnings = (
                f"{name} does not say where its first bar line is: a pick-up of {lead} is assumed.",
            )
        lines = lines_of(meters, [], ceil(line[-1][1] / full) * full, whole)
    bars = printed_bars(bars_between(line, lines, marks), full)
    stated = replace(stated_in(metas, meter), warnings=warnings)
    return written_tune(bars, stated, source, which=name)


def parsed_midi(data: bytes, name: str) -> mido.MidiFile:
    """The file. Raises PipelineError when it is broken."""
    fault: Exception | None = None
    for charset in ("utf-8", "latin-1"):
        try:
            return mido.MidiFile(file=io.BytesIO(data), charset=charset, clip=True)
        except Exception as again:  # mido raises whatever its tables and decoders raise
            fault = again
            if not isinstance(again, UnicodeDecodeError):
                break
    why = short(str(fault), 80) or "it ends early"
    raise PipelineError(f"{name} is a broken MIDI file ({why}): save it again.") from fault


def check_times(file: mido.MidiFile, notes: Sequence[TickNote], name: str) -> None:
    """Refuse tempi, metres and lengths that no later step could count out."""
    check("notes", len(notes), name)
    metas = metas_of(file)
    for _, one in metas:
        if one.type == "set_tempo" and one.tempo <= 0:
            raise PipelineError(f"{name} sets a tempo of 0 microseconds a beat: correct the tempo.")
        if one.type == "time_signature":
            check_meter(f"{one.numerator}/{one.denominator}", name)
    end = max(notes[-1].end, max((tick for tick, _ in metas), default=0))
    check("tune_whole_notes", end // (4 * file.ticks_per_beat), name)


# ---------------------------------------------------------------- notes


def _melody(file: mido.MidiFile) -> list[TickNote]:
    """The notes of the melody's track and channel, one at a time."""
    voices: dict[tuple[bool, int, int], list[TickNote]] = {}
    for number, track in enumerate(file.tracks):
        named = "melody" in str(track.name).lower()
        for channel, note in struck(track):
            if channel != DRUMS:
                voices.setdefault((named, -number, channel), []).append(note)
    if not voices:
        return []
    best = max(voices, key=lambda voice: (voice[0], len(voices[voice]), voice[1], -voice[2]))
    return _one_at_a_time(voices[best])


def struck(track: mido.MidiTrack) -> list[tuple[int, TickNote]]:
    """Every note of a track with its channel."""
    now = 0
    sounding: dict[tuple[int, int], int] = {}
    found = []
    for message in track:
        now += message.time
        if message.type not in ("note_on", "note_off"):
            continue
        which = (message.channel, message.note)
        if which in sounding:
            start = sounding.pop(which)
            if now > start:
                found.append((message.channel, TickNote(start, now, message.note)))
        if message.type == "note_on" and message.velocity:
            sounding[which] = now
    found.sort(key=lambda one: (one[1].start, one[1].midi))
    return found


def _one_at_a_time(notes: Sequence[TickNote]) -> list[TickNote]:
    """The top note of each moment, each ending where the next begins at the latest."""
    line: list[TickNote] = []
    for note in sorted(notes, key=lambda one: (one.start, -one.midi)):
        if line and note.start == line[-1].start:
            continue
        if line and note.start < line[-1].end:
            before = line[-1]
            line[-1] = TickNote(before.start, note.start, before.midi)
        line.append(note)
    return line


def lead_of(
    notes: Sequence[tuple[Fraction, Fraction, int]],
    meters: Sequence[tuple[int, str]],
    full: Fraction,
) -> Fraction:
    """Length of the pick-up when the file begins with it, else 0."""
    if len(meters) > 1 or notes[0][0] != 0:
        return Fraction(0)
    beat = Fraction(3, 8) if meters[0][1] in ("6/8", "9/8", "12/8") else Fraction(1, 4)
    return pickup_length(notes, full, beat)


def _performed(file: mido.MidiFile, notes: Sequence[TickNote], source: Source) -> Heard:
    """A performance without a grid, as notes in seconds."""
    seconds = _seconds(file)
    events = tuple(
        NoteEvent(
            seconds(note.start), max(seconds(note.end), seconds(note.start) + 0.01), note.midi
        )
        for note in notes
    )
    duration_s = events[-1].offset_s
    check("seconds", duration_s, source.file)
    for one, following in pairwise(events):
        gap = max(following.onset_s - one.onset_s, one.offset_s - one.onset_s)
        check("silence_seconds", round(gap, 1), source.file)
    return Heard(Source(source.file, source.sha256, duration_s), events)


def _seconds(file: mido.MidiFile) -> _Clock:
    tempi = [(tick, one.tempo) for tick, one in metas_of(file) if one.type == "set_tempo"]
    return _Clock(file.ticks_per_beat, tuple(tempi))


@dataclass(frozen=True, slots=True)
class _Clock:
    """Seconds of ticks under the file's tempi."""

    ticks_a_beat: int
    tempi: tuple[tuple[int, int], ...]

    def __call__(self, tick: int) -> float:
        """Seconds from the beginning of the file."""
        now, tempo, total = 0, 500_000, 0.0
        for at, following in self.tempi:
            if at >= tick:
                break
            total += (at - now) * tempo
            now, tempo = at, following
        return (total + (tick - now) * tempo) / self.ticks_a_beat / 1e6


# ---------------------------------------------------------------- bars
