"""Grades: how hard a layer is, in plain numbers, and how hard a bar may be.

Task: measure a layer; let bars that are too hard fall back to the layer below.
In:   tab bars of the layers, easiest first.
Out:  difficulty numbers; layers within the limit.
Method: moves are plucked notes and fingers put down; a stretch is the distance between fingers
    that hold at one moment. As each layer holds every note of the one below, bar for bar, no
    number falls from a layer to the next.
References: limits in models/bass/effort.json.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from liltwright import models
from liltwright.guitar.fretboard import span_mm
from liltwright.guitar.hand import Hand
from liltwright.tab import Setup, TabBar
from liltwright.tune import Tune
from liltwright.units import whole_notes_to_seconds


@dataclass(frozen=True, slots=True)
class BarGrade:
    """How hard one bar is."""

    moves: int
    """Notes plucked and fingers put down."""
    seconds: float
    stretch_mm: float
    at_once: int
    """Most notes plucked at one moment."""


def grade_bar(bar: TabBar, length: Fraction, tune: Tune, setup: Setup, hand: Hand) -> BarGrade:
    """Measure one bar; length as a fraction of a whole note."""
    starts = [note.start for note in bar if not note.grace]
    moves = _moves(bar)
    widest = 0.0
    pressed = [note for note in bar if note.fret and not note.grace]
    for start in set(starts):
        held = [note.fret for note in pressed if note.start <= start < note.start + note.length]
        if len(held) > 1:
            width = span_mm(min(held), max(held), capo=setup.capo, scale_mm=hand.scale_mm)
            widest = max(widest, width)
    seconds = whole_notes_to_seconds(length, tune.beat, tune.beats_per_minute)
    return BarGrade(
        moves, seconds, widest, max((starts.count(start) for start in starts), default=0)
    )


def _moves(bar: TabBar) -> int:
    """Notes plucked and fingers put down; a pull-off may land on a finger that stayed down."""
    moves = 0
    frets: dict[int, list[int]] = {}
    for note in bar:
        before = frets.setdefault(note.string, [])
        stayed = note.technique == "pull-off" and before[-2:-1] == [note.fret]
        moves += (note.technique is None) + (note.fret > 0 and not stayed)
        before.append(note.fret)
    return moves


def difficulty(grades: Sequence[BarGrade], shifted_bars: int) -> dict[str, float]:
    """The numbers of a layer: averages over its bars, and the worst of them."""
    seconds = sum(grade.seconds for grade in grades) or 1.0
    return {
        "moves_per_second": round(sum(grade.moves for grade in grades) / seconds, 2),
        "largest_stretch_mm": round(max((grade.stretch_mm for grade in grades), default=0.0), 1),
        "share_of_bars_with_shift": round(shifted_bars / max(len(grades), 1), 3),
        "notes_at_once": float(max((grade.at_once for grade in grades), default=0)),
    }


def within_limit(grade: BarGrade, melody: BarGrade, effort: str, hand: Hand) -> bool:
    """Whether a bar is no harder than wished; `melody` is the same bar of the melody alone."""
    limit = models.read_json("bass/effort.json")[effort]
    added = (grade.moves - melody.moves) / max(grade.seconds, 0.01)
    return bool(
        added <= limit["added_moves_per_second"]
        and grade.stretch_mm <= max(limit["stretch_share"] * hand.widest_mm, melody.stretch_mm)
        and grade.at_once <= limit["notes_at_once"]
    )


def wish_to_walk(effort: str) -> float:
    """How much the bass shall move between the beats; 1 is usual."""
    return float(models.read_json("bass/effort.json")[effort]["walk"])
