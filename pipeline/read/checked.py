"""The last look at what a reader found, the same for every format.

Task     refuse tunes that no later stage can work on, in one sentence
In       ReadBars before they are folded, or a Tune
Out      nothing, or PipelineError; from `checked_tune` the Tune
Method   every field of the records against the table of limits (models/limits/limits.json)
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import fields, is_dataclass
from fractions import Fraction
from itertools import pairwise

from liltwright.counting import listed
from liltwright.errors import PipelineError
from liltwright.keys import LETTERS
from liltwright.limits import check, check_between, limit, short
from liltwright.read.bars import ReadBar
from liltwright.tune import TUNE_TYPES, Bar, Ending, Part, ScoreNote, Tune

_METER = re.compile(r"[1-9]\d?/(1|2|4|8|16|32|64)")
_TONIC = re.compile(rf"[{LETTERS}][#b]?")


def check_meter(meter: str, which: str) -> None:
    """Refuse what is no metre such as 6/8."""
    if not _METER.fullmatch(meter) or int(meter.partition("/")[0]) > limit("beats"):
        raise PipelineError(
            f'{which} has the metre "{short(meter)}": a metre has 1 to {limit("beats")} beats over '
            f"1, 2, 4, 8, 16, 32 or {limit('beat_type')}, such as 6/8; correct it."
        )


def check_bars(bars: Sequence[ReadBar], meter: str, which: str) -> None:
    """Refuse bars that would not fold in bounded time and memory."""
    check_meter(meter, which)
    full = Fraction(meter)
    check("bars", len(bars), which)
    check("notes", sum(len(bar.notes) for bar in bars), which)
    for bar in bars:
        check("tune_whole_notes", bar.length, which)
        check("denominator", bar.length.denominator, which)
        check("repeats", max((bar.times, *bar.ending)), which)
        if any(time < 1 for time in (bar.times, *bar.ending)):
            raise PipelineError(f"{which} has an ending for time 0: endings count from 1.")
        _check_notes(bar.notes, which)
    check("tune_whole_notes", sum((bar.length for bar in bars), Fraction(0)), which)
    check("bars", sum(max(1, math.ceil(bar.length / full)) for bar in bars), which)


def _check_notes(notes: Iterable[ScoreNote], which: str) -> None:
    for note in notes:
        check("note_whole_notes", note.length, which)
        check("tune_whole_notes", note.start, which)
        check("denominator", max(note.length.denominator, note.start.denominator), which)
        if not 0 <= note.midi <= 127:
            raise PipelineError(
                f"{which} has notes outside the range of MIDI (0 to 127): correct their octave."
            )


def checked_tune(tune: Tune, which: str) -> Tune:
    """The tune, when everything in it lies within the limits. Raises PipelineError."""
    if tune.tune_type not in TUNE_TYPES:
        raise PipelineError(
            f'{which} has the tune type "{short(tune.tune_type)}": '
            f"write one of {listed(TUNE_TYPES)}."
        )
    check_meter(tune.meter, which)
    _check_numbers(tune, which)
    check("beats", max(Fraction(1), tune.beat), which)
    if tune.beat <= 0 or tune.beat.denominator > limit("beat_type"):
        raise PipelineError(
            f"{which} has a beat of {tune.beat}: a beat is a part of a whole note from 1/64."
        )
    if tune.beat > tune.bar_length * 4:
        raise PipelineError(f"{which} has a beat of {tune.beat}, longer than its bars: correct it.")
    check_between("tempo_low", "tempo_high", tune.beats_per_minute, which)
    check_between("swing_low", "swing_high", tune.swing, which)
    if not _TONIC.fullmatch(tune.tonic):
        raise PipelineError(f'{which} has the tonic "{short(tune.tonic)}": write one like D or F#.')
    if not -7 <= tune.signature <= 7:
        raise PipelineError(
            f"{which} has a signature of {tune.signature} fifths: it lies from -7 to 7."
        )
    if tune.rounds < 1:
        raise PipelineError(f"{which} has {tune.rounds} rounds: write 1 or more.")
    check("rounds", tune.rounds, which)
    check("octaves", abs(tune.octave_shift), which)
    check("seconds", tune.source.duration_s, which)
    _check_parts(tune, which)
    check("pins", len(tune.pins), which)
    _check_heard(tune, which)
    return tune


def _check_parts(tune: Tune, which: str) -> None:
    expanded = written = 0
    bars: list[Bar] = []
    for part in tune.parts:
        if part.repeats < 1:
            raise PipelineError(f"{which} has a part played {part.repeats} times: write 1 or more.")
        check("repeats", part.repeats, which)
        for ending in part.endings:
            check("repeats", max(ending.times, default=1), which)
            if any(time < 1 for time in ending.times):
                raise PipelineError(f"{which} has an ending for time 0: endings count from 1.")
        mine = [part.pickup, *part.bars, *(bar for one in part.endings for bar in one.bars)]
        written += len(mine)
        expanded += len(mine) * part.repeats
        bars += mine
        lengths = [*part.bar_lengths, *(n for one in part.endings for n in one.bar_lengths)]
        for length in lengths:
            check("tune_whole_notes", length, which)
            check("denominator", length.denominator, which)
            if length <= 0:
                raise PipelineError(f"{which} has a bar of length {length}: give it a length.")
        if part.pickup and part.pickup[0].start >= tune.bar_length:
            raise PipelineError(f"{which} has a pick-up that starts after its bar: correct it.")
        groups: tuple[Part | Ending, ...] = (part, *part.endings)
        for one in groups:
            if one.bar_lengths and len(one.bar_lengths) != len(one.bars):
                raise PipelineError(
                    f"{which} has bars that do not fit together: {len(one.bars)} bars and "
                    f"{len(one.bar_lengths)} lengths; give each bar one."
                )
    check("bars", written, which)
    check("expanded_bars", expanded * tune.rounds, which)
    check("notes", sum(map(len, bars)), which)
    if not any(bars):
        raise PipelineError(f"{which} has no notes.")
    for bar in bars:
        _check_notes(bar, which)
        if any(b.start < a.start for a, b in pairwise(bar)):
            raise PipelineError(f"{which} has a bar whose notes are not in order: sort them.")
    for chord in tune.chords_typed:
        if not 0 <= chord.bar < written or not 0 <= chord.start <= limit("note_whole_notes"):
            raise PipelineError(f"{which} has a chord at bar {chord.bar}, which is not there.")


def _check_heard(tune: Tune, which: str) -> None:
    check("heard_notes", len(tune.heard), which)
    check("expanded_bars", len(tune.bars_heard), which)
    for note in tune.heard:
        check("seconds", note.offset_s, which)
        if note.onset_s < 0 or not 0 <= note.midi <= 127:
            raise PipelineError(
                f"{which} has a heard note at {note.onset_s} s with pitch {note.midi}: times count "
                "from 0 and pitches lie from 0 to 127."
            )
    for bar in tune.bars_heard:
        check("seconds", max(bar.start_s, bar.end_s), which)
        _check_notes(bar.notes, which)


def _check_numbers(value: object, which: str, field: str = "") -> None:
    """Refuse infinities and whatever is not a number, anywhere in the record."""
    if isinstance(value, float):
        if not math.isfinite(value):
            raise PipelineError(f"{which} has {value} as {field}: write a number.")
    elif isinstance(value, tuple):
        for item in value:
            _check_numbers(item, which, field)
    elif is_dataclass(value):
        for one in fields(value):
            _check_numbers(getattr(value, one.name), which, one.name)
