"""Where one tune of a set gives way to the next.

Task   : notes of a recording -> places where the melody changes for good.
In     : NoteEvents in order of onset.
Out    : onsets in seconds at which another tune begins.
Method : a tune comes back to what it has played, part by part and round by round; the next tune of
         a set does not, and is mostly in another key or of another type. Two places are alike when
         eight notes in a row have the same pitch classes, one wrong note allowed. Boosted trees see
         what speaks for a change at every place (sides.py; models/changing); the best place is one
         where they are sure enough. Both sides are looked at again in the same way.
References: likeness of all pairs: J. Foote, "Visualizing music and audio using self-similarity",
         1999; others in sides.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np

from liltwright.hear.sides import looks
from liltwright.models import read_arrays
from liltwright.trees import Trees, odds
from liltwright.tune import NoteEvent

ROW, WRONG = 8, 1  # notes that come again in a row, and how many of them may differ
SHORTEST_S = 15.0
"""No tune of a set is shorter."""
APART_S = 2.5
"""Likeness to what was just played (a turn, a sequence) does not count."""
SURE = -2.0
"""Log odds from which on a place is a change; chosen on the development split."""
MOST_NOTES = 6000
"""Recordings with more notes are not looked at: the likeness of all pairs would fill the memory."""


def changes(notes: Sequence[NoteEvent]) -> tuple[float, ...]:
    """Onsets at which another tune begins; none when there is one tune only."""
    plain = [note for note in notes if note.role == "note"]
    if not 4 * ROW <= len(plain) <= MOST_NOTES:
        return ()
    onset_s = np.array([note.onset_s for note in plain])
    end_s = np.array([note.offset_s for note in plain])
    midi = np.array([note.midi for note in plain])
    alike = likeness(np.round(midi).astype(int) % 12, onset_s)
    return tuple(float(onset_s[cut]) for cut in _cuts(alike, onset_s, end_s, midi, 0, len(plain)))


def likeness(classes: np.ndarray, onset_s: np.ndarray) -> np.ndarray:
    """Whether two notes lie in like rows of notes, bool, shape (n, n)."""
    count = len(classes)
    starts = count - ROW + 1
    same = classes[:, None] == classes[None, :]
    equal = sum(same[k : k + starts, k : k + starts].astype(np.int8) for k in range(ROW))
    rows = equal >= ROW - WRONG
    rows &= np.abs(onset_s[:starts, None] - onset_s[None, :starts]) > APART_S
    alike = np.zeros((count, count), dtype=bool)
    for k in range(ROW):
        alike[k : k + starts, k : k + starts] |= rows
    return alike & same


def _cuts(
    alike: np.ndarray,
    onset_s: np.ndarray,
    end_s: np.ndarray,
    midi: np.ndarray,
    first: int,
    last: int,
) -> list[int]:
    """Indices of the notes that begin another tune, between two notes."""
    span = slice(first, last)
    cut = _best_cut(alike[span, span], onset_s[span], end_s[span], midi[span])
    if cut is None:
        return []
    middle = first + cut
    return [
        *_cuts(alike, onset_s, end_s, midi, first, middle), middle,
        *_cuts(alike, onset_s, end_s, midi, middle, last),
    ]  # fmt: skip


def _best_cut(
    alike: np.ndarray, onset_s: np.ndarray, end_s: np.ndarray, midi: np.ndarray
) -> int | None:
    """The place that looks most like a change, if it looks like one."""
    if len(onset_s) < 2 or end_s[-1] - onset_s[0] < 2 * SHORTEST_S:
        return None
    starts = np.append(onset_s, end_s[-1])
    inside = (starts - onset_s[0] >= SHORTEST_S) & (end_s[-1] - starts >= SHORTEST_S)
    asked = np.flatnonzero(inside)
    if not len(asked):
        return None
    sure = odds(_trees(), looks(onset_s, end_s, midi, alike)[asked])
    best = int(sure.argmax())
    return int(asked[best]) if sure[best] >= SURE else None


@cache
def _trees() -> Trees:
    return Trees(**read_arrays("changing/trees.npz"))
