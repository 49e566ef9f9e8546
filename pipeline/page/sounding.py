"""What the page plays: tones of the guitar once, and scores of the tune and of the layers.

Task: let the browser play the tune after every edit, and every layer, at any speed.
In: a Tune, an Arrangement. Out: plain data as in the report (write/sound/bank.py), tones as mp3.
Method: the melody's tones, one for each pitch of the range of tunes, are made once in a run, so
that an edit needs only new times; each arrangement has a bank of its own.
"""

from __future__ import annotations

import base64
from fractions import Fraction
from functools import cache
from typing import Any

from liltwright.tab import Arrangement
from liltwright.tune import Tune
from liltwright.write.sheet.timing import Clock, PlayedBar, clock_of, played_bars
from liltwright.write.sound.bank import PULSE_S, Bank
from liltwright.write.sound.synth import heard_melody_notes, layer_notes, melody_notes, played

LOWEST, HIGHEST = 48, 88
"""C3 to E6, what a melody bank holds."""
_TONE_S = 0.9  # seconds of a tone that is tried


@cache
def melody_bank() -> dict[str, Any]:
    """Tones of single melody notes: tone number i is MIDI note LOWEST + i."""
    from liltwright.tune import ScoreNote

    bank, clock = Bank(), Clock(Fraction(1, 4), 60.0, Fraction(1, 4), False, 1.0)
    length = Fraction(_TONE_S).limit_denominator(64) / 4
    for midi in range(LOWEST, HIGHEST + 1):
        bank.score(melody_notes((ScoreNote(midi, Fraction(0), length),), 0.0, clock), [])
    return {**_recorded(bank), "lowest": LOWEST}


def tune_score(tune: Tune) -> dict[str, Any]:
    """Once through the tune; tone numbers as in melody_bank()."""
    clock = clock_of(tune)
    bars = played_bars(tune, clock)
    written = tune.written_bars()
    rows = []
    for bar in bars:
        for place, note in enumerate(written[bar.index].notes):
            begin = bar.line_s + clock.seconds(note.start)
            end = bar.line_s + clock.seconds(note.start + note.length)
            rows.append([*_row(begin, end, note.midi, 1.0), place])
    return {"notes": rows, "bars": _bars(bars), **beats(tune, clock)}


def heard_score(tune: Tune) -> dict[str, Any]:
    """The tune at the times of the recording, bar by bar as it was heard."""
    from liltwright.write.report.page import heard_numbers

    rows = [_row(note.onset_s, note.end_s, round(note.midi), 1.0)
            for note in heard_melody_notes(tune)]  # fmt: skip
    numbers = heard_numbers(tune)
    bars = [
        PlayedBar(index, numbers[index], 0, 0, bar.start_s, bar.start_s, bar.end_s)
        for index, bar in enumerate(tune.bars_heard)
    ]
    return {"notes": rows, "bars": _bars(bars), **beats(tune, clock_of(tune))}


def layers_sound(tune: Tune, arrangement: Arrangement) -> dict[str, Any]:
    """Every layer and the performance, with the bank of tones that they need."""
    bank, scores = Bank(), {}
    clock = clock_of(tune, beats_per_minute=arrangement.beats_per_minute)
    for name in (*(layer.name for layer in arrangement.layers), "performance"):
        performed = played(tune, arrangement, name)
        order = [(bar.round - 1, bar.written) for bar in performed]
        bars = played_bars(tune, clock, order=order)
        notes = layer_notes(tune, arrangement, performed, clock, bars)
        scores[name] = bank.score(notes, bars) | beats(tune, clock)
    return {**_recorded(bank), "scores": scores}


def beats(tune: Tune, clock: Clock) -> dict[str, float]:
    """What a count-in needs: beats in a bar, and those that a pick-up leaves of its bar."""
    first = tune.written_bars()[0]
    left = tune.bar_length - first.length if first.kind == "pickup" else Fraction(0)
    return {
        "beat_ms": 1000 * clock.seconds(tune.beat),
        "beats": max(int(tune.bar_length / tune.beat), 1),
        "lead_beats": float(left / tune.beat),
    }


def _recorded(bank: Bank) -> dict[str, Any]:
    return {
        "bank": base64.b64encode(bank.recording()).decode(),
        "tones": bank.tones(),
        "pulse_s": PULSE_S,
    }


def _row(begin_s: float, end_s: float, midi: int, loud: float) -> list[Any]:
    tone = midi - LOWEST
    while tone < 0:
        tone += 12
    while tone > HIGHEST - LOWEST:
        tone -= 12
    return [round(1000 * begin_s), round(1000 * (end_s - begin_s)), tone, round(75 * loud), "m"]


def _bars(bars: Any) -> list[list[int]]:
    return [
        [bar.index, round(1000 * bar.start_s), round(1000 * bar.end_s), bar.number, bar.part,
         bar.round] for bar in bars
    ]  # fmt: skip
