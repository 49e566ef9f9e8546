"""Checks an arrangement by rules of its own; shares no code with the stage.

Geometry: fret n lies at L * (1 - 2 ** (-n / 12)) from the nut (equal temperament).
The hand (common practice): fingers rise with the frets, one finger may lie over one fret; of the
widest span from first to fourth finger, neighbouring fingers reach half, the next but one three
quarters.
The plucking hand (common practice): thumb on strings 6, 5, 4, at need 3; index, middle and ring
finger on 3, 2, 1, the index finger on 4 where the thumb has a bass note to play at that moment in
one of the layers (so that the learner keeps one plucking finger for a note); four notes at once at
most, higher strings with later fingers.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations, pairwise

from liltwright.tab import Arrangement, Layer, TabNote
from liltwright.tune import Tune

SCALE_MM = 648.0
WIDEST_MM = 130.0
REACH = {1: 0.5, 2: 0.75, 3: 1.0}
ORDER = "pima"


@dataclass(frozen=True)
class Sounding:
    """A note with its absolute time in one performed round."""

    note: TabNote
    start: Fraction
    end: Fraction


def faults(tune: Tune, arrangement: Arrangement) -> list[str]:
    """Everything that is wrong, one sentence each; empty when all is well."""
    found: list[str] = []
    for layer in (*arrangement.layers, *arrangement.lines):
        found += [f"{layer.name}: {fault}" for fault in layer_faults(tune, arrangement, layer)]
    return found


def layer_faults(tune: Tune, arrangement: Arrangement, layer: Layer) -> list[str]:
    """Faults of one layer."""
    if len(tune.written_bars()) != len(layer.bars):
        return [f"{len(layer.bars)} bars for {len(tune.written_bars())}"]
    found = _pitch_faults(arrangement, layer) + _melody_faults(tune, arrangement, layer)
    row = performed(tune, layer)
    found += _string_faults(row)
    for start in sorted({one.start for one in row}):
        begins = [one.note for one in row if one.start == start and not one.note.grace]
        found += [f"at {start}: {fault}" for fault in _plucking_faults(begins)]
    found += _index_on_4_faults(arrangement, layer)
    for start in sorted({one.start for one in row}):
        sounds = [one.note for one in row if one.start <= start < one.end and not one.note.grace]
        found += [f"at {start}: {fault}" for fault in hand_faults(sounds, arrangement.setup.capo)]
        found += [f"at {start}: {fault}" for fault in _crossing(sounds)]
    return found


def performed(tune: Tune, layer: Layer) -> list[Sounding]:
    """One round of a layer in playing order."""
    written = tune.written_bars()
    row, now = [], Fraction(0)
    for index in tune.performed_order():
        bar = written[index]
        shift = bar.notes[0].start if bar.kind == "pickup" else Fraction(0)
        for note in layer.bars[index]:
            begin = now + note.start - shift
            row.append(Sounding(note, begin, begin + note.length))
        now += bar.length
    return row


def _pitch_faults(arrangement: Arrangement, layer: Layer) -> list[str]:
    setup = arrangement.setup
    found = []
    for number, bar in enumerate(layer.bars):
        for note in bar:
            where = f"bar {number} at {note.start}, string {note.string} fret {note.fret}"
            if not 1 <= note.string <= 6 or note.fret < 0 or note.length <= 0:
                found.append(f"{where}: no such note")
                continue
            if setup.strings_midi[6 - note.string] + setup.capo + note.fret != note.midi:
                found.append(f"{where}: sounds another pitch than {note.midi}")
            if (note.finger == 0) != (note.fret == 0) or not 0 <= note.finger <= 4:
                found.append(f"{where}: finger {note.finger}")
            if setup.capo + note.fret > 16:
                found.append(f"{where}: beyond the last fret in reach")
    return found


def _melody_faults(tune: Tune, arrangement: Arrangement, layer: Layer) -> list[str]:
    written = tune.written_bars()
    found = []
    for number, (bar, tab) in enumerate(zip(written, layer.bars, strict=True)):
        wanted = [(n.start, n.midi + arrangement.setup.transpose) for n in bar.notes]
        have = [(n.start, n.midi) for n in tab if n.part == "melody" and not n.grace]
        plain = [pair for pair in have if pair in wanted]
        if plain != wanted:
            found.append(f"bar {number}: the melody is {have}, not {wanted}")
        lengths = {n.start: n.length for n in bar.notes}
        for note in tab:
            if note.part == "melody" and note.length > lengths.get(note.start, note.length):
                found.append(f"bar {number} at {note.start}: melody note too long")
            if note.part != "melody" and note.start + note.length > bar.length:
                found.append(f"bar {number} at {note.start}: {note.part} rings over the bar line")
    return found


def _string_faults(row: list[Sounding]) -> list[str]:
    found = []
    for string in range(1, 7):
        mine = sorted(
            (one for one in row if one.note.string == string and not one.note.grace),
            key=lambda one: (one.start, one.end),
        )
        for one, other in pairwise(mine):
            if other.start < one.end:
                found.append(f"string {string} at {other.start}: two notes at once")
    return found


def _plucking_faults(begins: list[TabNote]) -> list[str]:
    plucked = [note for note in begins if note.technique is None]
    found = []
    if len(begins) > 4:
        found.append(f"{len(begins)} notes at once")
    if len({note.pluck for note in plucked}) < len(plucked):
        found.append("one plucking finger for two notes")
    for note in plucked:
        if note.pluck == "p" and note.string < 3:
            found.append(f"thumb on string {note.string}")
        if note.pluck != "p" and note.string > (4 if note.pluck == "i" else 3):
            found.append(f"finger {note.pluck} on string {note.string}")
    for a, b in combinations(sorted(plucked, key=lambda note: -note.string), 2):
        if ORDER.index(a.pluck) > ORDER.index(b.pluck):
            found.append(f"{a.pluck} above {b.pluck}: crossed fingers")
    return found


def _index_on_4_faults(arrangement: Arrangement, layer: Layer) -> list[str]:
    found = []
    for number, bar in enumerate(layer.bars):
        for note in bar:
            if note.string == 4 and note.pluck == "i" and note.technique is None:
                thumb = [
                    other
                    for one in (*arrangement.layers, *arrangement.lines)
                    for there in one.bars[number : number + 1]
                    for other in there
                    if other.start == note.start and other.pluck == "p"
                ]
                if not any(other.string > 4 for other in thumb):
                    found.append(f"bar {number} at {note.start}: index finger on string 4")
    return found


def distance_mm(fret_a: int, fret_b: int, capo: int) -> float:
    """Distance between two frets that count from the capo."""
    return SCALE_MM * abs(2 ** (-(fret_a + capo) / 12) - 2 ** (-(fret_b + capo) / 12))


def hand_faults(sounds: list[TabNote], capo: int) -> list[str]:
    """What the fretting hand cannot hold of the notes that sound at one moment."""
    held = [note for note in sounds if note.fret]
    found = []
    for a, b in combinations(held, 2):
        low, high = sorted((a, b), key=lambda note: (note.finger, -note.string))
        if low.finger == high.finger:
            between = [
                n for n in sounds if min(a.string, b.string) < n.string < max(a.string, b.string)
            ]
            if a.fret != b.fret or any(n.fret < a.fret for n in between):
                found.append(f"finger {a.finger} on {a.string}/{a.fret} and {b.string}/{b.fret}")
            continue
        if low.fret > high.fret or (low.fret == high.fret and low.string < high.string):
            found.append(
                f"finger {low.finger} on {low.string}/{low.fret} beyond "
                f"finger {high.finger} on {high.string}/{high.fret}"
            )
        reach = WIDEST_MM * REACH[high.finger - low.finger]
        if distance_mm(low.fret, high.fret, capo) > reach:
            found.append(f"stretch from {low.string}/{low.fret} to {high.string}/{high.fret}")
    return found


def _crossing(sounds: list[TabNote]) -> list[str]:
    top = [note.midi for note in sounds if note.part == "melody"]
    low = [note.midi for note in sounds if note.part == "bass"]
    if top and low and max(low) >= min(top):
        return [f"bass {max(low)} not below melody {min(top)}"]
    return []
