"""The same tune to other notes, so that the network learns how tunes go and not which tunes exist.

In: the notes of a page, the Page. Out: notes with the same rhythm, form and repeats whose mode,
    contour or phrases have moved, alike in every pass.
"""

from __future__ import annotations

import numpy as np

from liltwright.models.metre.page import Page

ALTERED = ((4, -1), (3, 1), (11, -1), (10, 1), (9, -1), (8, 1), (6, -1), (5, 1))
"""Semitones above the tonic that may be altered throughout, and by how much."""
LEAPS = (-5, -4, -3, -2, 0, 0, 0, 0, 2, 3, 4, 5, 7)


def retuned(notes: np.ndarray, page: Page, rng: np.random.Generator) -> np.ndarray:
    """Columns as in Page.notes; only the third, MIDI, changes."""
    notes = notes.copy()
    if rng.random() < 0.4:
        notes[:, 2] += _mode_shift(rng)[(notes[:, 2] - page.tonic) % 12]
    if rng.random() < 0.2:
        notes[:, 2] += _phrase_shift(notes, page, rng)
    if rng.random() < 0.2:
        middle = notes[:, 2].mean()
        stretched = middle + float(rng.uniform(0.5, 1.5)) * (notes[:, 2] - middle)
        notes[:, 2] = np.rint(stretched).astype(notes.dtype)
    if rng.random() < 0.08:
        notes[:, 2] = 140 - notes[:, 2]
    return notes


def _mode_shift(rng: np.random.Generator) -> np.ndarray:
    shift = np.zeros(12, np.int64)
    for above, by in ALTERED:
        shift[above] = by * (rng.random() < 0.3)
    return shift


def _phrase_shift(notes: np.ndarray, page: Page, rng: np.random.Generator) -> np.ndarray:
    """Semitones by note: phrases of one or two bars, the same phrase always by as much."""
    unit = notes[:, 0] // (page.bar * int(rng.choice([1, 2])))
    shift = np.zeros(len(notes), np.int64)
    known: dict[bytes, int] = {}
    for one in np.unique(unit):
        mine = unit == one
        phrase = notes[mine, :3]
        phrase[:, 0] -= phrase[0, 0]
        shift[mine] = known.setdefault(phrase.tobytes(), int(rng.choice(LEAPS)))
    return shift
