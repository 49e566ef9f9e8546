"""Standard MIDI File -> Finished: every note of every track.

Task     read an arrangement from a MIDI file on a grid, with or without one track a voice
In       bytes; the name of the file
Out      Finished
Method   Every track and channel but the drums is a voice; one named melody, bass or inner says what
         its notes are. Onsets and ends are put on the grid of midi_grid.py, bar lines
         come from the metres and markers, and written-out repeats are folded (unfold.py).
References  Standard MIDI Files 1.0.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from math import ceil

import mido

from liltwright.errors import PipelineError
from liltwright.limits import check
from liltwright.read.bars import ReadBar
from liltwright.read.checked import check_meter
from liltwright.read.midi import DRUMS, ON_GRID, check_times, lead_of, parsed_midi, struck
from liltwright.read.midi_grid import COARSE, GRID, NEAR, TickNote, nearest, snapped
from liltwright.read.midi_stated import (
    lines_of,
    main_meter,
    marks_of,
    metas_of,
    meters_of,
    named_meter,
    signs_of,
    stated_in,
)
from liltwright.read.unfold import printed_bars
from liltwright.tune import Source
from liltwright.unpick.finished import NOTHING, PARTS, Finished, FinishedNote, Known

SHORTEST = Fraction(1, 64)  # of a whole note
MOST_VOICES = 4
"""With more tracks than this they are strings rather than voices, and say nothing of voices."""


def read_finished_midi(data: bytes, *, name: str, known: Known = NOTHING) -> Finished:
    """Read every note of a MIDI file, barred in the user's metre if there is one.

    Raises PipelineError when it is broken or off any grid.
    """
    check("midi_bytes", len(data), name)
    file = parsed_midi(data, name)
    if file.ticks_per_beat <= 0:
        raise PipelineError(
            f"{name} counts time in film frames instead of beats: save it with a tempo."
        )
    voices = _voices(file)
    notes = sorted((n for voice in voices.values() for n in voice), key=lambda n: n.start)
    if not notes:
        raise PipelineError(f"{name} has no notes.")
    check_times(file, notes, name)
    whole = 4 * file.ticks_per_beat
    near = sum(abs(snapped(n.start, whole, GRID) - Fraction(n.start, whole)) <= NEAR for n in notes)
    if near < ON_GRID * len(notes):
        raise PipelineError(
            f"{name} was played freely, {len(notes) - near} of {len(notes)} notes off any grid: "
            "quantise it in a sequencer, or unpick a written page."
        )
    metas = metas_of(file)
    end = max(max(n.end for n in notes), max((tick for tick, _ in metas), default=0))
    meters = meters_of(metas, end)
    meter = named_meter(metas) or main_meter(meters, end)
    if known.meter is not None and known.meter != meter:
        meter, meters = known.meter, [(0, known.meter)]
    check_meter(meter, name)
    full = Fraction(meter)
    placed = _placed(voices, whole)
    marks = marks_of(metas, whole)
    if marks:
        lines = lines_of(meters, list(marks), snapped(end, whole, GRID), whole)
    else:
        lead = lead_of([(n.start, n.start + n.length, n.midi) for n in placed], meters, full)
        shift = full - lead if lead else Fraction(0)
        placed = [replace(note, start=note.start + shift) for note in placed]
        last = max(note.start for note in placed)
        until = (last // full + 1) * full
        lines = lines_of(meters, [], max(until, ceil(last / full) * full), whole)
    bars = printed_bars(_barred(placed, lines, marks), full)
    source = Source(name, hashlib.sha256(data).hexdigest())
    return Finished(source, stated_in(metas, meter), tuple(bars))


def _voices(file: mido.MidiFile) -> dict[str, list[TickNote]]:
    """Notes by voice: the name of the part, or track and channel; "" where there are many."""
    found: dict[str, list[TickNote]] = {}
    for number, track in enumerate(file.tracks):
        named = str(track.name).strip().lower()
        for channel, note in struck(track):
            if channel != DRUMS:
                voice = named if named in PARTS else f"{number}:{channel}"
                found.setdefault(voice, []).append(note)
    if len(found) > MOST_VOICES or len(found) == 1:
        kept: dict[str, list[TickNote]] = {}
        for voice, notes in found.items():
            kept.setdefault(voice if voice in PARTS else "", []).extend(notes)
        return kept
    return found


def _placed(voices: dict[str, list[TickNote]], whole: int) -> list[FinishedNote]:
    """Every note on the grid, by start and pitch."""
    placed = []
    for voice, notes in voices.items():
        for note in notes:
            start, at = snapped(note.start, whole, GRID), Fraction(note.end, whole)
            end = snapped(note.end, whole, GRID)
            if abs(end - at) > NEAR / 4:
                end = at // 1 + nearest(at % 1, COARSE)
            length = max(end - start, SHORTEST)
            placed.append(FinishedNote(note.midi, start, length, voice=voice))
    placed.sort(key=lambda note: (note.start, note.midi))
    return placed


def _barred(
    notes: list[FinishedNote], lines: list[Fraction], marks: dict[Fraction, str]
) -> list[ReadBar]:
    bars: list[ReadBar] = []
    at = 0
    for begin, end in pairwise(lines):
        inside: list[FinishedNote] = []
        while at < len(notes) and notes[at].start < end:
            inside.append(replace(notes[at], start=notes[at].start - begin))
            at += 1
        label, ending = signs_of(marks.get(begin, ""))
        if not bars and not inside and marks and begin not in marks:
            continue  # the silence before the first pick-up
        bars.append(ReadBar(tuple(inside), end - begin, label=label, ending=ending))
    return bars
