"""The basses of the layers: how each is made from what the best path chose.

Task: moving bass, plain bass and drone as notes with their full ring.
In:   ChosenPaths over the TuneEvents, the Tables they were found with.
Out:  lists of Below, in order of time, never two at once.
Method: every note rings until the next one, the bar line, or the moment when its string or its
    finger is needed, whichever comes first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from liltwright.arrange.moments import Tables
from liltwright.arrange.search import ChosenPath
from liltwright.arrange.tab import Below
from liltwright.arrange.timeline import TuneEvents
from liltwright.guitar.fretboard import span_mm
from liltwright.guitar.states import NEVER, Stop


@dataclass(frozen=True, slots=True)
class Melody:
    """The melody as it is held in every layer: state numbers, and what they mean."""

    indices: tuple[int, ...]
    stops: tuple[Stop, ...]


def melody_of(path: ChosenPath, tables: Tables) -> Melody:
    """The melody's fingering on a path."""
    return Melody(path.stops, tuple(tables.table.stop(index) for index in path.stops))


def bass_of(path: ChosenPath, tables: Tables) -> list[Below]:
    """The bass notes struck on a path, each as long as the path lets it ring."""
    found: list[Below] = []
    spots = tables.spots
    for number, event in enumerate(tables.line.events):
        way = path.struck[number]
        if way >= 0:
            string, fret, finger = (int(x) for x in spots.held[way])
            found.append(Below(number, string, fret, finger, int(spots.midi[way]), event.length))
        elif path.rings[number] >= 0:
            found[-1] = replace(found[-1], length=found[-1].length + event.length)
    return found


def on_main_beats(moving: Sequence[Below], tables: Tables, melody: Melody) -> list[Below]:
    """The moving bass on the main beats alone, and where the user wants a note.

    Each note rings on where the hand allows it.
    """
    widest = _widest_by_bar(moving, tables, melody)
    events = tables.line.events
    kept = [n for n in moving if events[n.event].slot == "main" or tables.wants(events[n.event])]
    nexts = [*[note.event for note in kept[1:]], len(tables.line.events)][: len(kept)]
    return [
        replace(note, length=ring(note, tables, melody, until=until, widest_mm=widest[note.event]))
        for note, until in zip(kept, nexts, strict=True)
    ]


def _widest_by_bar(voice: Sequence[Below], tables: Tables, melody: Melody) -> dict[int, float]:
    """By the event of each note: the widest stretch in mm that the voice asks for in its bar."""
    events = tables.line.events
    widest: dict[int, float] = {}
    for number, note in enumerate(sounding(voice, tables.line)):
        if note is not None:
            bar = events[number].bar
            widest[bar] = max(widest.get(bar, 0.0), _span(note, melody, tables, number))
    return {note.event: widest[events[note.event].bar] for note in voice}


def with_gaps_filled(voice: Sequence[Below], drone: Sequence[Below], tables: Tables) -> list[Below]:
    """The voice with the drone's note on every beat where it has none of its own.

    Only where that note may be the bass of the chord (ChordSpan.basses).
    """
    mine = {note.event for note in voice}
    added = [note for note in drone if note.event not in mine and _fits(note, tables.line)]
    if not added:
        return list(voice)
    row = sorted([*voice, *added], key=lambda note: note.event)
    nexts = [*(note.event for note in row), len(tables.line.events)][1:]
    return [
        replace(note, length=min(note.length, _until(note, until, tables)))
        for note, until in zip(row, nexts, strict=True)
    ]


def _fits(note: Below, line: TuneEvents) -> bool:
    span = line.events[note.event].span
    return span is not None and note.midi % 12 in span.basses


def _until(note: Below, until: int, tables: Tables) -> Fraction:
    events = tables.line.events
    inside = [e for e in events[note.event : until] if e.bar == events[note.event].bar]
    return sum((event.length for event in inside), Fraction(0))


def sounding(voice: Sequence[Below], line: TuneEvents) -> tuple[Below | None, ...]:
    """The note of a voice that sounds at each event."""
    found: list[Below | None] = [None] * len(line.events)
    for note in voice:
        begin = line.events[note.event]
        for number in range(note.event, len(line.events)):
            event = line.events[number]
            if event.bar != begin.bar or event.start >= begin.start + note.length:
                break
            found[number] = note
    return tuple(found)


def ring(note: Below, tables: Tables, melody: Melody, *, until: int, widest_mm: float) -> Fraction:
    """How long a bass note can ring before event `until`.

    widest_mm : no stretch wider than this is held just for the sake of ringing
    """
    way = int(np.flatnonzero((tables.spots.held == note_held(note)).all(axis=1))[0])
    length = tables.line.events[note.event].length
    for number in range(note.event + 1, until):
        event = tables.line.events[number]
        held = tables.held(event, np.array([melody.indices[event.note]]))[0, way]
        if event.opens_bar or held >= NEVER:
            break
        if _span(note, melody, tables, number) > widest_mm:
            break
        length += event.length
    return length


def note_held(note: Below) -> tuple[int, int, int]:
    """String, fret and finger."""
    return note.string, note.fret, note.finger


def _span(note: Below, melody: Melody, tables: Tables, number: int) -> float:
    """Distance in mm (at the nut) between a bass note's fret and the melody's at an event."""
    event = tables.line.events[number]
    above = melody.stops[event.note]
    if not (event.sounding and above.fret and note.fret):
        return 0.0
    return span_mm(note.fret, above.fret, capo=0, scale_mm=tables.hand.scale_mm)
