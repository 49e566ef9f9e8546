"""Task: list the performed bars that a user should check by ear.

In: heard bars, the printed tune with its passes, the Timeline. Out: Doubts in the order performed.
Method: a bar is doubtful when its notes were heard with low confidence or fit the tempo badly,
    when a note of it was passed over or the metre broke off in it, when it differs from the other
    passes of the same printed bar (and was not a clear variant heard more than once), or when
    only two passes exist and they disagree.
"""

from __future__ import annotations

from collections import Counter

import numpy as np

from pipeline.notate.fold import Folded
from pipeline.notate.timeline import Timeline
from pipeline.tune import Bar, Doubt, HeardBar

UNSURE = 0.55


def find_doubts(
    bars: tuple[HeardBar, ...], folded: Folded, line: Timeline, *, passed_over_s: np.ndarray
) -> tuple[Doubt, ...]:
    """The bars to check.

    passed_over_s : onsets of heard notes that the reading left out, shape (n,).
    """
    first = 0 if bars and bars[0].notes and bars[0].notes[0].start else 1
    found = []
    for at, bar in enumerate(bars):
        reasons = [
            *_metre(at, bar, line, passed_over_s),
            *_hearing(bar),
            *_passes(at, bars, folded),
        ]
        if reasons:
            found.append(Doubt(at + first, bar.start_s, "; ".join(reasons)))
    return tuple(found)


def _hearing(bar: HeardBar) -> list[str]:
    if not bar.notes:
        return ["no note was heard"]
    return ["some notes were hard to make out"] if bar.confidence < UNSURE else []


def _metre(at: int, bar: HeardBar, line: Timeline, passed_over_s: np.ndarray) -> list[str]:
    """Breaks of the metre inside the bar."""
    inside = (line.onset_s >= bar.start_s) & (line.onset_s < bar.end_s)
    found = []
    if np.any((passed_over_s >= bar.start_s) & (passed_over_s < bar.end_s)):
        found.append("a note that does not fit the rhythm was left out")
    if at and np.any(line.broken[inside]):
        found.append("the beat breaks off or waits here")
    return found


def _passes(at: int, bars: tuple[HeardBar, ...], folded: Folded) -> list[str]:
    """Disagreement with the other passes of the same printed bar."""
    same = folded.passes.get(at, ())
    if len(same) < 2:
        return []
    versions = Counter(_content(bars[one].notes) for one in same)
    mine = versions[_content(bars[at].notes)]
    if len(same) == 2 and mine == 1:
        return ["the two times through differ"]
    if mine == 1 and max(versions.values()) > 1:
        return [f"differs from the other {len(same) - 1} times through"]
    return []


def _content(bar: Bar) -> tuple[tuple[int, str], ...]:
    return tuple((note.midi, str(note.start)) for note in bar)
