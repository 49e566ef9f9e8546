"""Checks a melody fingering by rules of its own; shares no code with the stage.

Geometry: fret n lies at L * (1 - 2 ** (-n / 12)) from the nut (equal temperament).
The hand (common practice): one finger a fret from the hand's position on; the index finger may
reach one fret back and the little finger one fret forward; nothing wider than the hand.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from liltwright.tab import Layer, Setup
from liltwright.tune import Tune

LAST_FRET = 16
"""Two frets past a body that joins the neck at the fourteenth."""
WIDEST_MM = 130.0
SCALE_MM = 648.0


def layer_faults(tune: Tune, setup: Setup, layer: Layer) -> list[str]:
    """What is wrong with pitches, notes kept, strings and fingers; empty when all is well."""
    found = []
    written = tune.written_bars()
    if len(written) != len(layer.bars):
        return [f"{len(layer.bars)} bars for {len(written)} written ones"]
    clock = Fraction(0)
    ringing_until: dict[int, Fraction] = {}
    for index, (bar, tab) in enumerate(zip(written, layer.bars, strict=True)):
        wanted = [(n.midi + setup.transpose, n.start, n.length) for n in bar.notes]
        if wanted != [(n.midi, n.start, n.length) for n in tab]:
            found.append(f"bar {index}: the notes differ from the tune's")
        offset = bar.notes[0].start if bar.kind == "pickup" else 0
        for note in tab:
            if setup.strings_midi[6 - note.string] + setup.capo + note.fret != note.midi:
                found.append(f"bar {index}: string {note.string} fret {note.fret} is another note")
            if not 0 <= note.fret <= LAST_FRET - setup.capo:
                found.append(f"bar {index}: fret {note.fret} is out of reach")
            if (note.finger == 0) != (note.fret == 0) or not 0 <= note.finger <= 4:
                found.append(f"bar {index}: finger {note.finger} on fret {note.fret}")
            if note.pluck not in ("p", "i", "m", "a"):
                found.append(f"bar {index}: plucked by {note.pluck}")
            start = clock + note.start - offset
            if ringing_until.get(note.string, Fraction(0)) > start:
                found.append(f"bar {index}: string {note.string} still sounds")
            ringing_until[note.string] = start + note.length
        clock += bar.length
    return found


def hand_faults(stops: Sequence[tuple[int, int, int, int]], capo: int) -> list[str]:
    """What no hand can do among (string, fret, finger, position); empty when all is well."""
    found = []
    for number, (_, fret, finger, position) in enumerate(stops):
        if finger == 0:
            continue
        reach = fret - position
        natural = reach == finger - 1
        if not (natural or (finger, reach) in ((1, -1), (4, 4))):
            found.append(f"note {number}: finger {finger} at fret {fret} from position {position}")
        if position < 1:
            found.append(f"note {number}: the hand lies behind the capo")
    for number, (a, b) in enumerate(pairwise(stops)):
        if not a[2] or not b[2] or a[3] != b[3]:
            continue
        if (a[1] - b[1]) * (a[2] - b[2]) < 0:
            found.append(f"note {number}: higher finger on a lower fret without a shift")
        if _span_mm(a[1] + capo, b[1] + capo) > WIDEST_MM:
            found.append(f"note {number}: frets {a[1]} and {b[1]} are too far apart")
    return found


def _span_mm(fret_a: int, fret_b: int) -> float:
    return SCALE_MM * abs(2 ** (-fret_a / 12) - 2 ** (-fret_b / 12))
