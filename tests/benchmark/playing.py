"""The records of a performance: plain notes in time, strokes that sound, the clock between."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np

from liltwright.tune import Heard, NoteEvent, Ornament, Source, Tune
from tests.benchmark.manners import Family


@dataclass(frozen=True, slots=True)
class PlainNote:
    """A plain note as performed: its place on the page and in time."""

    position: Fraction
    """Whole notes after the first full bar line of the performance."""
    length: Fraction
    midi: int
    onset_s: float
    offset_s: float
    """Where its time on the page is over; articulation shortens what sounds."""
    treble: bool = False
    """The print asks for a treble here."""


@dataclass(frozen=True, slots=True)
class Stroke:
    """One sound: a plain note or one note of an ornament."""

    onset_s: float
    offset_s: float
    midi: float
    """As it sounds, with intonation and concert pitch, A4 = 69 = 440 Hz."""
    loudness: float
    slurred: bool = False
    """Joined to the stroke before: no new tongue, bow stroke, key or pluck."""
    glide: float = 0.0
    """Semitones from which the pitch slides into the note at its start."""
    role: Literal["note", "ornament"] = "note"
    ornament: Ornament | None = None


@dataclass(frozen=True, slots=True)
class Performance:
    """One performance with its truth."""

    family: Family
    truth: Tune
    strokes: tuple[Stroke, ...]
    duration_s: float


@dataclass(frozen=True, slots=True)
class Clock:
    """Score positions to seconds: beats may drift, the inside of a beat is warped."""

    beat: Fraction
    first: int
    """Number of the first beat in beat_s; beat 0 is the first full bar line."""
    beat_s: np.ndarray
    knots: np.ndarray
    """Where the quavers of a beat fall, as shares of the beat; from 0 to 1."""

    def seconds(self, position: Fraction) -> float:
        """When a score position is due. Triplets divide their crotchet evenly."""
        beats = position / self.beat
        whole = beats // 1
        inside = float(beats - whole)
        if position % Fraction(1, 48) == 0 and position % Fraction(1, 32) != 0:
            warped = inside
        else:
            warped = float(np.interp(inside, np.linspace(0, 1, len(self.knots)), self.knots))
        at = int(whole) - self.first
        return float(self.beat_s[at] + warped * (self.beat_s[at + 1] - self.beat_s[at]))


def as_heard(stroke: Stroke, offset_cents: float = 0.0) -> NoteEvent:
    """The stroke as an ideal ear reports it, concert pitch taken out."""
    midi = stroke.midi - offset_cents / 100
    return NoteEvent(stroke.onset_s, stroke.offset_s, midi, 1.0, stroke.role, stroke.ornament)


def truth_heard(performance: Performance) -> Heard:
    """What an ideal ear would hand to notate: the performer's notes without any audio."""
    truth = performance.truth
    source = Source(f"{truth.title or 'tune'}.wav", "0" * 64, performance.duration_s)
    return Heard(source, truth.heard, truth.tuning_offset_cents)
