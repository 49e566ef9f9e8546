"""Task: the course of a written tune, bar by bar, the same way for every tonic.

In: the bars of the parts, in order. Out: Course: for every bar what sounds in it by pitch class,
    and where it stands in the form.
Method: of each bar the time of the twelve pitch classes in its two halves, the notes that sound at
    its beginning and its middle, its last and its lowest note; its place in a strain of eight bars,
    whether it opens or closes a part, whether its part is the first or the last, how high it lies.
    Rolling the pitch classes asks about another tonic.
References: that the harmony of a bar and its place in the strain tell the home of a dance tune:
    common practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from liltwright.tune import Bar

STRAIN = 8
"""Bars of a strain; longer parts are laid over it."""
MOST_BARS = 48  # bars looked at, as the networks were trained
ROWS = 6
"""Pitch-class rows of a bar."""
PLACES = STRAIN + 5
"""Numbers on where a bar stands."""


@dataclass(frozen=True, slots=True)
class Course:
    """A tune bar by bar."""

    sounds: np.ndarray
    """By bar: shares of the two halves and four single notes, shape (n_bars, ROWS, 12)."""
    places: np.ndarray
    """By bar: place in the strain, opens, closes, first part, last part, height in octaves from the
    middle of the tune, shape (n_bars, PLACES)."""

    def moved(self, semitones: int) -> Course:
        """The course of the same tune transposed."""
        return Course(np.roll(self.sounds, semitones, axis=2), self.places)


def course_of(lines: list[list[Bar]], bar_length: Fraction, trust: np.ndarray | None) -> Course:
    """The course of parts given bar by bar; `trust` by pitch class, shape (12,), as in evidence."""
    sounds, places = [], []
    heights = [note.midi for part in lines for bar in part for note in bar]
    middle = float(np.mean(heights)) if heights else 0.0
    for number, part in enumerate(lines):
        for at, bar in enumerate(part):
            if bar:
                sounds.append(_sounds(bar, bar_length))
                ends = at == 0, at == len(part) - 1, number == 0, number == len(lines) - 1
                places.append(_place(at, ends, bar, middle))
    if not sounds:
        return Course(np.zeros((0, ROWS, 12)), np.zeros((0, PLACES)))
    table = np.array(sounds[:MOST_BARS])
    return Course(table if trust is None else table * trust, np.array(places[:MOST_BARS]))


def _sounds(bar: Bar, bar_length: Fraction) -> np.ndarray:
    """Six rows: time in the first half and in the second, single notes."""
    half, rows = bar_length / 2, np.zeros((ROWS, 12))
    for note in bar:
        end = note.start + note.length
        first = max(min(end, half) - note.start, Fraction(0))
        rows[0, note.midi % 12] += float(first / half)
        rows[1, note.midi % 12] += float((note.length - first) / half)
        if note.start <= half < end:
            rows[3, note.midi % 12] = 1.0
    if bar[0].start == 0:
        rows[2, bar[0].midi % 12] = 1.0
    rows[4, bar[-1].midi % 12] = 1.0
    rows[5, min(note.midi for note in bar) % 12] = 1.0
    return rows


def _place(at: int, ends: tuple[bool, ...], bar: Bar, middle: float) -> np.ndarray:
    place = np.zeros(PLACES)
    place[at % STRAIN] = 1.0
    place[STRAIN : STRAIN + 4] = ends
    place[-1] = (np.mean([note.midi for note in bar]) - middle) / 12
    return place
