"""Task: one round of a printed tune laid out along a line: every note at its score position.

In: a Tune whose bars all have the metre's length (the last of a part short by the next pick-up).
Out: RoundNote records, in order; position 0 is the first full bar line, whole notes count up.
Method: repeats and endings are taken as Tune.performed_order says; a pick-up lies in the end of
    the bar before it. A print in which the two collide has no single reading: None.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from liltwright.tune import ScoreNote, Tune


@dataclass(frozen=True, slots=True)
class RoundNote:
    """One note of a round."""

    position: Fraction
    """Whole notes after the first full bar line; negative in the first pick-up."""
    length: Fraction
    midi: int
    written: int
    """Index of its bar in Tune.written_bars()."""
    index: int
    """Index of the note in that bar."""
    treble: bool = False
    """The print asks for a treble on this note."""


def whole_round(tune: Tune) -> tuple[tuple[RoundNote, ...], int] | None:
    """(notes, full bars) of one round; None when a pick-up collides with the bar before it."""
    notes: list[RoundNote] = []
    full = tune.bar_length
    cursor = Fraction(0)
    written = tune.written_bars()
    for which in tune.performed_order():
        bar = written[which]
        line = cursor - full if bar.kind == "pickup" else cursor
        if bar.kind != "pickup":
            if bar.length != full or any(n.start + n.length > full for n in bar.notes):
                return None
            cursor += full
        notes += _placed(bar.notes, line, which)
    if not notes:
        return None
    starts = np.array([float(note.position) for note in notes])
    ends = starts + np.array([float(note.length) for note in notes])
    again = float(cursor) + min(starts[0], 0.0)  # where the next round begins
    if (ends[:-1] > starts[1:] + 1e-6).any() or ends[-1] > again + 1e-6:
        return None
    return tuple(notes), int(cursor / full)


def _placed(notes: tuple[ScoreNote, ...], line: Fraction, which: int) -> Iterator[RoundNote]:
    for index, note in enumerate(notes):
        yield RoundNote(
            line + note.start, note.length, note.midi, which, index, note.ornament == "triplet"
        )
