"""Task: sort melodic movement into a few classes, the same for counting and for listening.

In: MIDI pitches of consecutive notes. Out: one class number per step between them.
"""

from __future__ import annotations

import numpy as np

EDGES = np.array([-4.5, -2.5, -0.5, 0.5, 2.5, 4.5])
MOVE_CLASSES = len(EDGES) + 1


def move_classes(midi: np.ndarray) -> np.ndarray:
    """Class of every step: leap, third or second down, same, second, third or leap up.

    midi : array, shape (n_notes,). Returns integers 0..6, shape (n_notes - 1,).
    """
    return np.searchsorted(EDGES, np.diff(midi))
