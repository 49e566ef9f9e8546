"""Inner notes: what the fuller layer adds between bass and melody.

Task: double stops and chord tones on weak beats, a chord where a phrase comes to rest.
In:   melody and moving bass as they are fingered, with plucking fingers.
Out:  the inner notes, none of which moves a finger of the other two.
Method: every weak place is decided by itself (an inner note ends before the next place for one),
    so that taking the best-liked note at each is the best choice for all. A note fits when its
    string is free, a free finger reaches it beside those held, a free plucking finger is left,
    and it ends before anything needs its string or finger.
References: likings in models/bass/inner.json; the reach of a hand in together.py.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from liltwright import models
from liltwright.arrange.moments import Tables
from liltwright.arrange.tab import Below
from liltwright.arrange.timeline import Event
from liltwright.arrange.together import pair_ticks
from liltwright.arrange.voices import Melody, sounding
from liltwright.bassbeats import Pulse
from liltwright.guitar.fretboard import open_midi
from liltwright.guitar.plucking import FINGERS, Pluck, home_cost
from liltwright.guitar.states import NEVER, ways
from liltwright.tab import Setup

FILE = "bass/inner.json"
UPPER_STRINGS = (2, 3, 4)
"""Where inner notes lie: above the thumb's strings, below the melody's usual one."""
HAND_FRETS = 5  # frets that a hand spans from its position on, with one behind it


@dataclass(frozen=True, eq=False)
class Frame:
    """What is fixed before inner notes are added."""

    tables: Tables
    setup: Setup
    melody: Melody
    plucks: tuple[Pluck, ...]
    bass: tuple[Below | None, ...]
    """The bass that sounds at each event."""
    struck: frozenset[int]
    """Events on which a bass is struck."""

    def holds(self, number: int) -> list[tuple[int, int, int]]:
        """String, fret and finger of everything that sounds at an event."""
        event = self.tables.line.events[number]
        stop = self.melody.stops[event.note]
        low = self.bass[number]
        held = [(stop.string, stop.fret, stop.finger)] if event.sounding else []
        return held + ([(low.string, low.fret, low.finger)] if low else [])


def inner_notes(
    tables: Tables,
    setup: Setup,
    melody: Melody,
    plucks: Sequence[Pluck],
    moving: Sequence[Below],
    pulse: Pulse,
) -> list[Below]:
    """Inner notes for the fuller layer, in order of time."""
    frame = Frame(
        tables,
        setup,
        melody,
        tuple(plucks),
        sounding(moving, tables.line),
        frozenset(note.event for note in moving),
    )
    found: list[Below] = []
    for number, event in enumerate(tables.line.events):
        if not event.sounding or event.span is None:
            continue
        until = _next_place(frame, number, pulse)
        if event.closes:
            for _ in range(models.read_json(FILE)["most_at_phrase_end"]):
                added = [note for note in found if note.event == number]
                best = _best(frame, number, until, "least_liking_phrase_end", added)
                found += [best] if best else []
        elif event.start in pulse.inner:
            slow = event.seconds >= models.read_json(FILE)["slow_from_seconds"]
            least = "least_liking_slow" if slow else "least_liking"
            best = _best(frame, number, until, least, [])
            found += [best] if best else []
    return found


def _next_place(frame: Frame, number: int, pulse: Pulse) -> int:
    """Index of the next event where an inner note may begin, or of the next bar."""
    events = frame.tables.line.events
    for later in range(number + 1, len(events)):
        event = events[later]
        if event.opens_bar or event.start in pulse.inner or event.closes:
            return later
    return len(events)


def _best(
    frame: Frame, number: int, until: int, least: str, beside: Sequence[Below]
) -> Below | None:
    table = models.read_json(FILE)
    liked = [
        (_liking(frame, number, note), note) for note in _fitting(frame, number, until, beside)
    ]
    liked = [pair for pair in liked if pair[0] >= table[least]]
    if not liked:
        return None
    return max(liked, key=lambda pair: (pair[0], -pair[1].string, -pair[1].fret))[1]


def _liking(frame: Frame, number: int, note: Below) -> float:
    table = models.read_json(FILE)
    event = frame.tables.line.events[number]
    assert event.span is not None
    chord, tone = event.span.chord, note.midi % 12
    part = "third" if tone in chord.thirds else "fifth" if tone == chord.fifth else "other"
    liking = table["root" if tone == chord.root else part]
    above = _above(frame, event)
    low = frame.bass[number]
    liking += table["doubles_melody"] * (tone == above % 12)
    liking += table["doubles_bass"] * (low is not None and tone == low.midi % 12)
    liking += table["fretted" if note.fret else "open"] + table["with_melody"] * event.onset
    return float(liking + table["per_beat_of_ring"] * float(note.length / frame.tables.line.beat))


def _fitting(frame: Frame, number: int, until: int, beside: Sequence[Below]) -> Iterator[Below]:
    """Every inner note that the hands can add at an event, with its ring."""
    event = frame.tables.line.events[number]
    assert event.span is not None
    table = models.read_json(FILE)
    stop = frame.melody.stops[event.note]
    low = frame.bass[number]
    above = _above(frame, event)
    if event.seconds < table["least_seconds"]:
        return
    for string in UPPER_STRINGS:
        pluck = _free_pluck(frame, number, string, beside)
        taken = {note.string for note in beside} | ({low.string} if low else set())
        if pluck is None or string <= stop.string or string in taken:
            continue
        if low is not None and string > low.string:
            continue
        for fret, finger in _reachable(frame, stop.position):
            midi = open_midi(frame.setup.strings_midi, string) + frame.setup.capo + fret
            if midi % 12 not in event.span.chord.tones or (low and midi <= low.midi):
                continue
            if above - midi < table["least_semitones_to_melody"] or (above - midi) % 12 in (1, 11):
                continue
            held = (string, fret, finger)
            if frame.tables.pinned.forbids(event.bar, event.start, held):
                continue
            note = Below(number, string, fret, finger, midi, event.length, "inner", pluck)
            ring = _ring(frame, note, until, beside)
            if ring:
                yield replace(note, length=ring)


def _reachable(frame: Frame, position: int) -> list[tuple[int, int]]:
    """(fret, finger) under the hand in a position, the open string first."""
    neck = int(frame.tables.table.position.max())
    found = [(0, 0)]
    for fret in range(max(1, position - 1), position + HAND_FRETS):
        for finger, at, _ in ways(fret, neck, frame.tables.hand):
            if at == position:
                found.append((fret, finger))
    return found


def _free_pluck(frame: Frame, number: int, string: int, beside: Sequence[Below]) -> Pluck | None:
    """The plucking finger nearest to a string that keeps the fingers in the order of strings."""
    event = frame.tables.line.events[number]
    melody = frame.plucks[event.note] if event.onset else None
    if melody == "p":
        return None
    lowest = 1  # the thumb is for the bass
    highest = FINGERS.index(melody) - 1 if melody else len(FINGERS) - 1
    for note in beside:
        place = FINGERS.index(note.pluck)
        if note.string > string:
            lowest = max(lowest, place + 1)
        else:
            highest = min(highest, place - 1)
    free = FINGERS[lowest : highest + 1]
    if string > 3:
        free = tuple(finger for finger in free if finger == "i" and number in frame.struck)
    return min(free, key=lambda finger: home_cost(finger, string), default=None)


def _ring(frame: Frame, note: Below, until: int, beside: Sequence[Below]) -> Fraction:
    """How long the note can ring before event `until`; 0 when it cannot be played at all."""
    events = frame.tables.line.events
    length = Fraction(0)
    for number in range(note.event, until):
        event = events[number]
        others = frame.holds(number)
        if number == note.event:
            others += [(other.string, other.fret, other.finger) for other in beside]
        if not _holds_too(frame, event, note, others):
            break
        length += event.length
    if not length:
        return length
    return length if not note.finger or _finger_is_free(frame, note) else Fraction(0)


def _holds_too(
    frame: Frame, event: Event, note: Below, others: Sequence[tuple[int, int, int]]
) -> bool:
    """Whether a hand that holds the others can hold the note too, without any barre."""
    fingers = [finger for _, _, finger in others if finger]
    if len(set(fingers)) < len(fingers) or (note.finger and note.finger in fingers):
        return False
    if event.sounding and note.midi >= _above(frame, event):
        return False
    stop = frame.melody.stops[event.note]
    if note.finger and (note.fret, note.finger) not in _reachable(frame, stop.position):
        return False
    mine = (note.string, note.fret, note.finger)
    for other in others:
        upper, lower = sorted((mine, other))
        if upper[0] == lower[0]:
            return False
        ticks = pair_ticks(
            np.array([upper]), np.array([lower]), frame.tables.highest, frame.tables.hand
        )
        if ticks[0, 0] >= NEVER:
            return False
    return True


def _finger_is_free(frame: Frame, note: Below) -> bool:
    """Whether nothing else wants the finger within the time of a calm move, before or after."""
    events = frame.tables.line.events
    calm_s = models.read_json(FILE)["calm_move_seconds"]
    for way in (-1, 1):
        number, away_s = note.event, 0.0
        while away_s < calm_s:
            away_s += events[number if way > 0 else number - 1].seconds
            number += way
            if not 0 < number < len(events) or away_s >= calm_s:
                break
            for string, fret, finger in frame.holds(number):
                if finger == note.finger and (string, fret) != (note.string, note.fret):
                    return False
    return True


def _above(frame: Frame, event: Event) -> int:
    return frame.tables.line.notes[event.note].midi + frame.tables.transpose
