"""Task: play a printed tune as players on real recordings do, beyond what performer.py does.

In: the notes of all rounds, the tune, a seeded generator. Out: Habits: what a performance does that
    a well-behaved one does not; `changed(...)`: the notes with passes varied and an ending.
Method: what 14 real dance tunes were seen to do (tests/benchmark/real.py): most are played once or
    twice through, end with the first bars of the tune or a held note, leap by octaves, change
    whole phrases in one pass, take tempi from 0.6 to 1.1 of the usual; hornpipes are swung no more
    than 1 to 2, and the crotchet and quaver of slides and single jigs are 1.3 to 2, not 2, to 1.
    Shares and ranges are guesses, wider than what was seen, and were not fitted to it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from liltwright.tune import Heard, Tune
from tests.benchmark.playing import Performance, truth_heard
from tests.benchmark.timeline import RoundNote

BEAT = Fraction(3, 8)
SLOW, USUAL, SLOW_SHARE = (0.6, 0.85), (0.85, 1.1), 0.3
EVEN_SWING = {"hornpipe": (1.0, 2.0), "barn dance": (1.0, 1.8)}
SOFT = (1.3, 2.0)
"""Crotchet to quaver in compound time."""
ENDINGS = ("none", "bars", "note")
ENDING_SHARES = (0.4, 0.4, 0.2)
PHRASE_SHARE, OCTAVE_SHARE = 0.12, 0.06
"""Of the passes of four bars: another melody; another octave."""
PHRASE_BARS = 4


@dataclass(frozen=True, slots=True)
class Habits:
    """What one performance does."""

    pace: float
    """Tempo as a share of the usual one."""
    rounds: int
    swing: tuple[float, float] | None
    """Range of the long-to-short ratio; None: as usual for the type."""
    soft: float
    """Crotchet to quaver in compound time, 2 as written."""
    ending: str
    ending_bars: int
    trebles_are_notes: bool
    """Whether who wrote the notes down took the strokes of a treble for notes."""


def habits(tune: Tune, rng: np.random.Generator) -> Habits:
    """Drawn anew for every performance."""
    slow = rng.random() < SLOW_SHARE
    return Habits(
        float(rng.uniform(*(SLOW if slow else USUAL))),
        int(rng.choice([1, 1, 2, 2, 3])),
        EVEN_SWING.get(tune.tune_type),
        float(rng.uniform(*SOFT)),
        str(rng.choice(ENDINGS, p=ENDING_SHARES)),
        int(rng.integers(1, 4)),
        bool(rng.random() < 0.5),
    )


def changed(
    notes: list[RoundNote], tune: Tune, bars: int, mine: Habits, rng: np.random.Generator
) -> tuple[list[RoundNote], int]:
    """The notes with phrases changed and an ending, and how many bars there are now."""
    full = tune.bar_length
    scale = {note.midi % 12 for note in notes}
    phrase = full * PHRASE_BARS
    out = list(notes)
    for start in range(-(-bars // PHRASE_BARS)):
        low = phrase * start
        span = [i for i, note in enumerate(out) if low <= note.position < low + phrase]
        if rng.random() < PHRASE_SHARE:
            _other_melody(out, span, scale, rng)
        if rng.random() < OCTAVE_SHARE:
            _other_octave(out, span, rng)
    return _ended(out, full, bars, mine)


def _other_melody(
    notes: list[RoundNote], span: list[int], scale: set[int], rng: np.random.Generator
) -> None:
    """Half the notes of one to four bars, as other notes of the scale."""
    last = int(len(span) * rng.choice([0.25, 0.5, 1.0]))
    for i in span[:last]:
        if rng.random() < 0.5:
            near = [p for p in range(notes[i].midi - 5, notes[i].midi + 6) if p % 12 in scale]
            notes[i] = replace(notes[i], midi=int(rng.choice(near)))


def _other_octave(notes: list[RoundNote], span: list[int], rng: np.random.Generator) -> None:
    """From somewhere in the phrase on."""
    first = int(rng.integers(0, max(len(span) - 1, 1)))
    mean = float(np.mean([note.midi for note in notes]))
    here = float(np.mean([notes[i].midi for i in span])) if span else mean
    for i in span[first:]:
        notes[i] = replace(notes[i], midi=notes[i].midi + (12 if here < mean else -12))


def _ended(
    notes: list[RoundNote], full: Fraction, bars: int, mine: Habits
) -> tuple[list[RoundNote], int]:
    """After the last round: a held note, or the first bars again with their last note held."""
    if mine.ending == "none":
        return notes, bars
    line = full * bars
    kept = [note for note in notes if note.position < line]
    if mine.ending == "note":
        end = replace(kept[-1], position=line, length=full, treble=False)
        cut = [replace(n, length=min(n.length, line - n.position)) for n in kept]
        return [*cut, end], bars + 1
    size = mine.ending_bars
    again = [note for note in notes if -full < note.position < full * size]
    tag = [
        replace(n, position=n.position + line)
        for n in again
        if n.position + line > kept[-1].position
    ]
    close = full * (size - 1) + line
    before = [n for n in tag if n.position <= close]
    if not before:  # the last round's final note is still sounding
        return notes, bars
    last = before[-1]
    tag = [n for n in tag if n.position < last.position]
    cut = [replace(n, length=min(n.length, (tag or [last])[0].position - n.position)) for n in kept]
    return [*cut, *tag, replace(last, length=close + full - last.position)], bars + size


def softened(position: Fraction, before: RoundNote | None, soft: float) -> Fraction:
    """Where a quaver after a crotchet falls in compound time, as a score position."""
    if before is None or before.length != Fraction(1, 4) or before.position % BEAT:
        return position
    return before.position + BEAT * Fraction(soft / (1 + soft)).limit_denominator(960)


def pretend_heard(performance: Performance, mine: Habits) -> Heard:
    """The plain notes as somebody wrote them down by ear: no cuts, taps or rolls."""
    heard = truth_heard(performance)
    treble = ("triplet",) if mine.trebles_are_notes else ()
    notes = tuple(
        replace(note, midi=float(round(note.midi)), role="note", ornament=None)
        for note in heard.notes
        if note.role == "note" or note.ornament in treble
    )
    return replace(heard, notes=notes)
