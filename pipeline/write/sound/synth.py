"""The sound of a layer, of the performance and of the plain tune, on a synthesised guitar.

Task: notes of an arrangement to samples, with the bars' times.
In:   Tune, Arrangement, layer name, tempo. Out: Sound.
Method: every note is a tone of pluck.py, laid down at its time with the tune's
    swing (sheet/timing.py), damped where its written length ends, or at once where its
    string is needed again. A grace note sounds on the beat and puts off the note it leads to.
    The mix is scaled to one loudness and never clips.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from functools import cache
from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from liltwright.tab import Arrangement, TabNote
from liltwright.tune import Bar, Tune
from liltwright.write.sheet.timing import Clock, PlayedBar, clock_of, played_bars
from liltwright.write.sound.pluck import SAMPLE_RATE, Pluck, string_tone

if TYPE_CHECKING:
    from liltwright.arrange.rounds import PerformedBar

GAIN = {"melody": 1.0, "bass": 0.72, "inner": 0.6}  # of the parts, melody in front
DYNAMIC = {"p": 0.55, "mp": 0.72, "mf": 0.86, "f": 1.0}  # loudness by its sign
OFF_BEAT = 0.85  # loudness off the beat
LEFT_HAND = 0.75  # loudness of hammered and pulled notes
STANDARD = (40, 45, 50, 55, 59, 64)  # MIDI of the open strings, low to high

_LEVEL = 0.03
"""Full scale is 1; a tone's A-weighted root mean square is made this."""
_PEAK = 0.89  # of full scale
LET_GO_S = 0.04  # seconds in which a tone ends by itself
DAMP_S = 0.006  # seconds in which its string is taken for another tone
_TAIL_S = 0.5  # seconds after the last tone
_GRACE_S = 0.055  # seconds of a grace note


class PlayedNote(NamedTuple):
    """One note ready to be laid down; times in seconds, `loud` relative to a melody note at f."""

    onset_s: float
    end_s: float
    string: int
    open_midi: int
    midi: float
    pluck: Pluck
    loud: float
    part: str = "melody"


class Sound(NamedTuple):
    """Samples (mono float32), their rate and when each bar sounds."""

    samples: np.ndarray
    sample_rate: int
    bars: tuple[PlayedBar, ...]


def layer_audio(
    tune: Tune, arrangement: Arrangement, name: str, *, tempo: float = 1.0, click: bool = False
) -> Sound:
    """A layer once through with its repeats, or "performance": every round in turn.

    tempo : 1 is the arrangement's own tempo, 0.5 half as fast.
    click : a bar of count-in and a quiet pulse on every beat.
    """
    clock = clock_of(tune, tempo=tempo, beats_per_minute=arrangement.beats_per_minute)
    performed = played(tune, arrangement, name)
    order = [(bar.round - 1, bar.written) for bar in performed]
    lead_s = count_in_s(tune, clock, order[0][1]) if click else 0.0
    bars = played_bars(tune, clock, order=order, start_s=lead_s)
    notes = layer_notes(tune, arrangement, performed, clock, bars)
    end_s = bars[-1].end_s
    samples = mix(notes, max([end_s, *(min(note.end_s, end_s + 2.0) for note in notes)]) + _TAIL_S)
    if click:
        add_pulse(samples, tune, clock, bars, lead_s)
    return Sound(samples, SAMPLE_RATE, bars)


def heard_melody_audio(tune: Tune) -> np.ndarray:
    """The plain tune laid on the times of the recording, at its octave and concert pitch.

    Samples begin with the recording and are as long as it. Bars come from Tune.bars_heard.
    """
    notes = heard_melody_notes(tune, tune.tuning_offset_cents / 100.0)
    return mix(notes, max(tune.source.duration_s, *(note.end_s for note in notes), 0.1))


def heard_melody_notes(tune: Tune, sharp: float = 0.0) -> list[PlayedNote]:
    """The plain notes of every heard bar on the times of the recording, at its octave.

    sharp : semitones that the recording lies above concert pitch.
    """
    shift = sharp - 12.0 * tune.octave_shift
    return [
        _melody_note(onset_s, end_s, midi + shift)
        for bar in tune.bars_heard
        for onset_s, end_s, midi in _heard_notes(tune, bar.start_s, bar.end_s, bar.notes)
    ]


def _heard_notes(
    tune: Tune, start_s: float, end_s: float, notes: Bar
) -> Iterable[tuple[float, float, int]]:
    """Onset, end and pitch of a heard bar's notes, spread evenly over the bar's time."""
    if not notes:
        return
    first = (
        notes[0].start if tune.bar_length - notes[0].start < tune.bar_length / 2 else Fraction(0)
    )
    clock = clock_of(tune)
    is_pickup = end_s - start_s < 0.75 * clock.seconds(tune.bar_length)
    origin = first if is_pickup else Fraction(0)
    whole = clock.seconds(tune.bar_length) - clock.seconds(origin)
    for note in notes:
        at = [(clock.seconds(place) - clock.seconds(origin)) / whole
              for place in (note.start, note.start + note.length)]  # fmt: skip
        yield start_s + at[0] * (end_s - start_s), start_s + at[1] * (end_s - start_s), note.midi


def played(tune: Tune, arrangement: Arrangement, name: str) -> tuple[PerformedBar, ...]:
    """The bars of a layer in playing order with their notes; of "performance", every round."""
    from liltwright.arrange.rounds import PerformedBar, performance

    if name == "performance":
        return performance(tune, arrangement)
    layer, written = arrangement.layer(name), tune.written_bars()
    return tuple(
        PerformedBar(1, layer.name, "mf", index, written[index].length, layer.bars[index])
        for index in tune.performed_order()
    )


def layer_notes(
    tune: Tune,
    arrangement: Arrangement,
    performed: Sequence[PerformedBar],
    clock: Clock,
    bars: Sequence[PlayedBar],
) -> list[PlayedNote]:
    """Every note of the bars performed, at the time its bar is played."""
    notes: list[PlayedNote] = []
    seconds = cache(clock.seconds)
    for content, bar in zip(performed, bars, strict=True):
        for note, onset_s in _with_graces(content.notes, bar.line_s, seconds):
            end_s = bar.line_s + seconds(note.start + note.length)
            if note.grace:
                end_s = onset_s + _GRACE_S
            pluck: Pluck = "left" if note.technique else ("p" if note.pluck == "p" else "i")
            loud = DYNAMIC[content.dynamic] * GAIN[note.part]
            loud *= 1.0 if _on_beat(note.start, tune.beat) else OFF_BEAT
            loud *= LEFT_HAND if note.technique else 1.0
            notes.append(
                PlayedNote(
                    onset_s, max(end_s, onset_s + 0.03), note.string,
                    arrangement.setup.strings_midi[6 - note.string], note.midi, pluck, loud,
                    note.part,
                )
            )  # fmt: skip
    return notes


def _with_graces(
    notes: Sequence[TabNote], line_s: float, seconds: Callable[[Fraction], float]
) -> Iterable[tuple[TabNote, float]]:
    """Every note of a bar with its onset; notes of a part that share a start with graces wait."""
    for (start, _), together in groupby(notes, key=lambda note: (note.start, note.part)):
        wait_s = 0.0
        for note in sorted(together, key=lambda note: not note.grace):
            yield note, line_s + seconds(start) + wait_s
            wait_s += _GRACE_S if note.grace else 0.0


def _on_beat(start: Fraction, beat: Fraction) -> bool:
    return (start / beat).denominator == 1


def melody_notes(notes: Bar, line_s: float, clock: Clock) -> list[PlayedNote]:
    """The plain notes of a bar on a guitar in standard tuning, each on its thinnest string."""
    return [
        _melody_note(
            line_s + clock.seconds(note.start),
            line_s + clock.seconds(note.start + note.length),
            float(note.midi),
        )
        for note in notes
    ]


def _melody_note(onset_s: float, end_s: float, midi: float) -> PlayedNote:
    string = next((s for s in range(1, 7) if STANDARD[6 - s] <= midi), 6)
    return PlayedNote(onset_s, end_s, string, STANDARD[6 - string], midi, "i", DYNAMIC["mf"])


# ---------------------------------------------------------------- laying down


def mix(notes: Iterable[PlayedNote], duration_s: float) -> np.ndarray:
    """All notes as samples, shape (duration_s * SAMPLE_RATE,), peak below full scale."""
    out = np.zeros(int(np.ceil(duration_s * SAMPLE_RATE)), np.float32)
    for note, next_s in until_needed(notes):
        needed = next_s < note.end_s + LET_GO_S
        end_s = min(note.end_s, next_s)
        _lay(out, note, end_s, DAMP_S if needed else LET_GO_S)
    peak = float(np.abs(out).max(initial=0.0))
    return out * np.float32(_PEAK / peak) if peak > _PEAK else out


def until_needed(notes: Iterable[PlayedNote]) -> Iterable[tuple[PlayedNote, float]]:
    """Each note with the time of the next note on its string."""
    ordered = sorted(notes, key=lambda note: (note.string, note.onset_s))
    for note, after in zip(ordered, [*ordered[1:], None], strict=True):
        same = after is not None and after.string == note.string
        yield note, after.onset_s if same and after is not None else np.inf


def _lay(out: np.ndarray, note: PlayedNote, end_s: float, release_s: float) -> None:
    """Add one tone to `out`, faded out over release_s from end_s on."""
    tone = string_tone(note.string, note.open_midi, note.midi, note.pluck)
    begin = round(note.onset_s * SAMPLE_RATE)
    release = int(release_s * SAMPLE_RATE)
    hold = max(round(end_s * SAMPLE_RATE) - begin, 0)
    length = min(hold + release, len(tone), len(out) - begin)
    if length <= 0:
        return
    loud = np.float32(note.loud * _LEVEL)
    out[begin : begin + length] += tone[:length] * loud
    if hold < length:
        fade = _fade(release)[: length - hold]
        out[begin + hold : begin + length] -= tone[hold:length] * (loud * (1.0 - fade))


def _fade(length: int) -> np.ndarray:
    """A smooth fall from 1 to 0."""
    return (0.5 + 0.5 * np.cos(np.linspace(0.0, np.pi, length))).astype(np.float32)


# ---------------------------------------------------------------- pulse


def count_in_s(tune: Tune, clock: Clock, first_bar: int) -> float:
    """A bar of beats before the first bar line, and what a pick-up leaves of its own bar."""
    bar = tune.written_bars()[first_bar]
    left = tune.bar_length - bar.length if bar.kind == "pickup" else Fraction(0)
    return clock.seconds(tune.bar_length) + clock.seconds(left)


def add_pulse(
    samples: np.ndarray, tune: Tune, clock: Clock, bars: Sequence[PlayedBar], lead_s: float
) -> None:
    """Add a tick on every beat, in place; louder before the music and on the first beat."""
    beats = max(int(tune.bar_length / tune.beat), 1)
    beat_s = clock.seconds(tune.beat)
    counted = [beat * beat_s for beat in range(int(lead_s / beat_s + 1e-6))]
    for place in range(0, len(counted), beats):
        add_ticks(samples, counted[place : place + beats], first=0, loud=0.2)
    for bar in bars:
        at = [bar.line_s + clock.seconds(beat * tune.beat) for beat in range(beats)]
        heard = [at_s for at_s in at if bar.start_s - 1e-6 <= at_s < bar.end_s - 1e-6]
        add_ticks(samples, heard, first=0 if heard and heard[0] == bar.line_s else -1, loud=0.07)


def add_ticks(
    samples: np.ndarray,
    times_s: Sequence[float],
    *,
    first: int,
    loud: float,
    rate: int = SAMPLE_RATE,
) -> None:
    """Add a short tick at each time, in place; the one with index `first` is higher."""
    time_s = np.arange(int(0.03 * rate)) / rate
    for place, at_s in enumerate(times_s):
        begin = round(at_s * rate)
        hz = 2100.0 if place == first else 1600.0
        tick = loud * np.sin(2 * np.pi * hz * time_s) * np.exp(-time_s / 0.006)
        end = min(begin + len(tick), len(samples))
        samples[begin:end] += tick[: end - begin].astype(np.float32)
