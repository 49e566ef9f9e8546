"""Task: list the performed bars that a user should check by ear."""

from __future__ import annotations

from pipeline.notate.fold import Folded
from pipeline.notate.timeline import Timeline
from pipeline.tune import Doubt, HeardBar


def find_doubts(bars: tuple[HeardBar, ...], folded: Folded, line: Timeline) -> tuple[Doubt, ...]:
    """Bars of low confidence."""
    found = []
    first = 0 if bars and bars[0].notes and bars[0].notes[0].start else 1
    for number, bar in enumerate(bars, first):
        if bar.confidence < 0.5:
            found.append(Doubt(number, bar.start_s, "the notes of this bar were hard to make out"))
    return tuple(found)
