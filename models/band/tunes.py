"""Random dance tunes on a grid of bars, with chords under them: what a band plays.

In     : a numpy random generator.
Out    : Piece: plain notes in units of the grid, chords per beat group, the clock.
Method : scale steps with a preference for small ones over the rhythms of models.ear.melodies;
         chords are those of the harmony stage (models/harmony/rules.json): each beat group takes
         the chord that costs least for its degree, its succession and the melody's tones outside
         it, with some chance. Nothing comes from a collection of tunes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from liltwright.models import read_json
from liltwright.models.ear.curves import CLIP_S, pick
from liltwright.models.ear.melodies import RHYTHMS, SCALES

MODES = {"major": SCALES[0], "mixolydian": SCALES[1], "dorian": SCALES[2], "minor": SCALES[3]}
GRIDS = ((8, 4), (8, 4), (6, 3), (6, 3), (9, 3), (6, 2), (4, 2))
"""Units per bar and per beat group: reel, jig, slip jig, waltz, polka."""
THIRD = {"major": 4, "minor": 3}
HELD = 0.3
"""Share of tunes with many long notes, into which the accompaniment strikes."""
OUTSIDE = 0.7
"""Price of a unit of melody that is no tone of its chord."""


@dataclass(frozen=True, slots=True)
class Plain:
    """A written note, times in units after the first bar line."""

    start: float
    length: float
    midi: int


@dataclass(frozen=True, slots=True)
class Under:
    """A chord under a beat group, times in units."""

    start: float
    length: float
    root: int
    third: int
    """Semitones; 0 leaves the third out."""


@dataclass(frozen=True, slots=True)
class Piece:
    """One random tune with its chords and clock."""

    notes: tuple[Plain, ...]
    chords: tuple[Under, ...]
    tonic: int
    scale: tuple[int, ...]
    bar: int
    group: int
    unit_s: float
    start_s: float
    swing: float

    def seconds(self, units: float) -> float:
        """When a place of the grid is due; off-beats may be late."""
        whole = np.floor(units / 2) * 2
        inside = units - whole
        if self.bar in (8, 4):
            inside = (
                inside * self.swing if inside <= 1 else self.swing + (inside - 1) * (2 - self.swing)
            )
        return float(self.start_s + (whole + inside) * self.unit_s)


def piece(rng: np.random.Generator, low: int, span: int) -> Piece:
    """A tune within a range that fills a clip, beginning somewhere in a bar."""
    bar, group = GRIDS[rng.integers(len(GRIDS))]
    mode = str(rng.choice(list(MODES), p=(0.45, 0.2, 0.2, 0.15)))
    tonic, scale = int(rng.integers(12)), MODES[mode]
    unit_s = pick(rng, 0.105, 0.26) * (2 if group == 2 and bar == 6 else 1)
    bars = int(np.ceil(CLIP_S / (bar * unit_s))) + 2
    ladder = np.array([m for m in range(low, low + span + 1) if (m - tonic) % 12 in scale])
    notes = _melody(rng, ladder, bars * bar, group)
    chords = _chords(rng, notes, mode, tonic, bars * bar, group)
    swing = float(rng.choice((1.0, 1.0, rng.uniform(1.0, 1.35))))
    start_s = -float(rng.uniform(0, bar * unit_s))
    return Piece(notes, chords, tonic, scale, bar, group, unit_s, start_s, swing)


def _melody(
    rng: np.random.Generator, ladder: np.ndarray, units: int, group: int
) -> tuple[Plain, ...]:
    """Notes that fill the grid; a long note ends with a beat group now and then."""
    at, place, notes = int(rng.integers(len(ladder))), 0.0, []
    repeats, long_share = rng.uniform(0.04, 0.25), rng.uniform(0, 0.35)
    if rng.random() < HELD:
        long_share = rng.uniform(0.35, 0.9)
    while place < units:
        beats: tuple[float, ...] = RHYTHMS[rng.integers(len(RHYTHMS))]
        left = group - place % group
        if sum(beats) > left or rng.random() > long_share:
            beats = (1,) * round(left)
        for length in beats:
            if rng.random() >= repeats:
                kind = rng.random()
                size = 1 if kind < 0.6 else 2 if kind < 0.85 else int(rng.integers(3, 8))
                up = rng.random() < 0.5 - 0.07 * (at - len(ladder) / 2)
                step = size if up else -size
                step = step if 0 <= at + step < len(ladder) else -step
                at = int(np.clip(at + step, 0, len(ladder) - 1))
            if rng.random() > 0.02:
                odd = int(rng.choice((-1, 1))) if rng.random() < 0.02 else 0
                notes.append(Plain(place, float(length), int(ladder[at]) + odd))
            place += length
    return tuple(notes)


@cache
def _rules() -> Any:
    return read_json("harmony/rules.json")


def _chords(
    rng: np.random.Generator,
    notes: tuple[Plain, ...],
    mode: str,
    tonic: int,
    units: int,
    group: int,
) -> tuple[Under, ...]:
    """One chord a beat group, cheapest first with some chance."""
    rules = _rules()["modes"][mode]
    heat, change = rng.uniform(0.2, 1.0), rng.uniform(0.2, 2.0)
    every = group * int(rng.choice((1, 1, 2)))
    open_chords = rng.random() < 0.25
    found: list[Under] = []
    before = ""
    for start in range(0, units, every):
        tones = [n for n in notes if start <= n.start < start + every]
        best, chosen = np.inf, ("", 0, 4)
        for name, (degree, quality, price) in rules["chords"].items():
            third = THIRD[quality]
            inside = {(tonic + degree + step) % 12 for step in (0, third, 7)}
            cost = price + OUTSIDE * sum(n.length for n in tones if n.midi % 12 not in inside)
            cost += rules["successions"].get(f"{before} {name}", 0.0) + change * (name != before)
            cost += heat * rng.gumbel()
            if cost < best:
                best, chosen = cost, (name, degree, third)
        before, degree, third = chosen
        found.append(Under(start, every, (tonic + degree) % 12, 0 if open_chords else third))
    return tuple(found)
