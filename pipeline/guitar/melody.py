"""The tune as the fingering sees it: a row of pitches with their seconds and beats.

Task: flatten a Tune for the fretting hand.
In: a Tune. Out: MelodyLine, its notes in the order of the page, repeats not expanded.
Method: a note counts as on a bass beat when it sounds at one of the main beats (models/bass), which
the arranger plays, also when it began before.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from liltwright.bassbeats import pulse_of
from liltwright.errors import PipelineError
from liltwright.tune import Tune
from liltwright.units import whole_notes_to_seconds


@dataclass(frozen=True, slots=True)
class MelodyLine:
    """The tune's notes in order.

    midi : written pitches
    seconds : from each onset to the next onset (of the last: its own length)
    gap_s : silence before the next onset
    on_beat : whether the note sounds where the bass falls
    place : (index of the written bar, index of the note in it)
    bar_number : number of the note's bar as printed
    """

    midi: tuple[int, ...]
    seconds: tuple[float, ...]
    gap_s: tuple[float, ...]
    on_beat: tuple[bool, ...]
    place: tuple[tuple[int, int], ...]
    bar_number: tuple[int, ...]


def line_of(tune: Tune) -> MelodyLine:
    """The notes of the page in order.

    Raises PipelineError when the tune has no notes.
    """
    beats = pulse_of(tune).main
    rows = []
    bar_start = Fraction(0)
    for bar_index, bar in enumerate(tune.written_bars()):
        offset = bar.notes[0].start if bar.kind == "pickup" else Fraction(0)
        for index, note in enumerate(bar.notes):
            begin, end = note.start, note.start + note.length
            on_beat = any(
                begin <= beat + k * tune.bar_length < end for beat in beats for k in (0, 1)
            )
            rows.append((bar_start + begin - offset, note, on_beat, (bar_index, index), bar.number))
        bar_start += bar.length
    if not rows:
        raise PipelineError("The tune has no notes to put on the guitar.")
    ends = [row[0] for row in rows[1:]] + [rows[-1][0] + rows[-1][1].length]
    seconds, gaps = [], []
    for (begin, note, *_), end in zip(rows, ends, strict=True):
        whole = max(end - begin, Fraction(1, 64))
        silent = max(whole - note.length, Fraction(0))
        seconds.append(whole_notes_to_seconds(whole, tune.beat, tune.beats_per_minute))
        gaps.append(whole_notes_to_seconds(silent, tune.beat, tune.beats_per_minute))
    return MelodyLine(
        tuple(row[1].midi for row in rows),
        tuple(seconds),
        tuple(gaps),
        tuple(row[2] for row in rows),
        tuple(row[3] for row in rows),
        tuple(row[4] for row in rows),
    )
