"""Where one tune of a set gives way to the next.

Task   : notes of a recording -> places where the melody changes for good.
In     : NoteEvents in order of onset.
Out    : onsets in seconds at which another tune begins.
Method : a tune comes back to what it has played, part by part and round by round; the next tune of
         a set does not. Two places are alike when eight notes in a row have the same pitch classes,
         one wrong note allowed. A change is a place with hardly any likeness across it, where both
         sides hold more music of their own than one part of a tune, come back to it, and last long
         enough; it lies between the last note that belongs to the left and the first that belongs
         to the right. Sides are cut again in the same way.
References: likeness of all pairs: J. Foote, "Visualizing music and audio using self-similarity",
         1999; novelty as lack of likeness across a cut: J. Foote, "Automatic audio segmentation
         using a measure of audio novelty", 2000.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from liltwright.tune import NoteEvent

ROW, WRONG = 8, 1  # notes that come again in a row, and how many of them may differ
SHORTEST_S = 20.0  # a tune of a set lasts longer
OWN_S = 13.0
"""Music that is not heard before: more than one part of a tune."""
ACROSS = 0.3
"""Most of the notes of either side that may be alike to something on the other, in the mean."""
COMES_BACK = 0.25
"""Least share of a side's notes that come back in it."""
APART_S = 2.5
"""Likeness to what was just played (a turn, a sequence) does not count."""
MOST_NOTES = 6000
"""Recordings with more notes are not looked at: the likeness of all pairs would fill the memory."""


def changes(notes: Sequence[NoteEvent]) -> tuple[float, ...]:
    """Onsets at which another tune begins; none when there is one tune only."""
    plain = [note for note in notes if note.role == "note"]
    if not 4 * ROW <= len(plain) <= MOST_NOTES:
        return ()
    onset_s = np.array([note.onset_s for note in plain])
    end_s = np.array([note.offset_s for note in plain])
    alike = likeness(np.array([round(note.midi) % 12 for note in plain]), onset_s)
    return tuple(float(onset_s[cut]) for cut in _cuts(alike, onset_s, end_s, 0, len(plain)))


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
    alike: np.ndarray, onset_s: np.ndarray, end_s: np.ndarray, first: int, last: int
) -> list[int]:
    """Indices of the notes that begin another tune, between two notes."""
    cut = _best_cut(alike[first:last, first:last], onset_s[first:last], end_s[first:last])
    if cut is None:
        return []
    middle = first + cut
    return [
        *_cuts(alike, onset_s, end_s, first, middle), middle,
        *_cuts(alike, onset_s, end_s, middle, last),
    ]  # fmt: skip


def _best_cut(alike: np.ndarray, onset_s: np.ndarray, end_s: np.ndarray) -> int | None:
    """The cut with least likeness across it, if it is one between tunes."""
    count = len(onset_s)
    if not count or end_s[-1] - onset_s[0] < 2 * SHORTEST_S:
        return None
    earliest = np.where(alike.any(axis=1), alike.argmax(axis=1), count)
    latest = np.where(alike.any(axis=1), count - 1 - alike[:, ::-1].argmax(axis=1), -1)
    cuts = np.arange(count + 1)
    back = np.array([(earliest[b:] < b).sum() for b in cuts])
    ahead = np.array([(latest[:b] >= b).sum() for b in cuts])
    across = 0.5 * (back / np.maximum(count - cuts, 1) + ahead / np.maximum(cuts, 1))
    inside = (cuts > 0) & (cuts < count)
    starts = np.append(onset_s, end_s[-1])
    inside &= (starts - onset_s[0] >= SHORTEST_S) & (end_s[-1] - starts >= SHORTEST_S)
    order = np.flatnonzero(inside & (across < ACROSS))
    for cut in order[np.argsort(across[order], kind="stable")].tolist():
        sides = (slice(0, cut), slice(cut, count))
        if all(_is_tune(alike[side, side], onset_s[side], end_s[side]) for side in sides):
            return _placed(alike, across, cut)
    return None


def _is_tune(alike: np.ndarray, onset_s: np.ndarray, end_s: np.ndarray) -> bool:
    """Whether a side has enough music of its own and comes back to it."""
    length_s = np.minimum(end_s, np.append(onset_s[1:], np.inf)) - onset_s
    before = np.tril(alike, -1).any(axis=1)
    return bool(length_s[~before].sum() >= OWN_S and alike.any(axis=1).mean() >= COMES_BACK)


def _placed(alike: np.ndarray, across: np.ndarray, cut: int) -> int:
    """The cut between the last note that is alike to the left and the first to the right."""
    left = np.array([alike[i, :cut].any() for i in range(len(alike))])
    right = np.array([alike[i, cut:].any() for i in range(len(alike))])
    balance = np.where(left & ~right, 1, np.where(right & ~left, -1, 0))
    gained = np.concatenate(([0], np.cumsum(balance)))
    near = np.arange(len(gained))
    allowed = np.abs(near - cut) <= 3 * ROW
    best = np.flatnonzero(allowed & (gained == gained[allowed].max()))
    return int(best[len(best) // 2])
