"""Task: score every place the bar line could stand for one reading of the rhythm.

In: a Timeline. Out: log scores of moving all bar lines, from the priors of the row alone.
Method: the same moves, movements and start that the best path was scored with, summed over the
    notes for each shift, so that the result adds up with the score of the structure.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from pipeline.notate.bestpath import MOVEMENT_WEIGHT
from pipeline.notate.moves import move_classes
from pipeline.notate.rows import QUAVER, Row
from pipeline.notate.timeline import Timeline

IMPOSSIBLE = -11.0


@lru_cache(maxsize=64)
def dense(row: Row) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """log P(length | position), movement and start by tick of the bar."""
    bar = row.bar_ticks
    moves = np.full((bar, bar + 1), IMPOSSIBLE)
    begin = row.positions[row.source]
    real = np.isfinite(row.logp)
    moves[begin[real], row.length[real]] = row.logp[real]
    movement = np.zeros((bar, *row.movement.shape[1:]))
    movement[row.positions] = row.movement
    start = np.full(bar, IMPOSSIBLE)
    start[row.positions] = row.start
    return moves, movement, start


def shift_scores(line: Timeline) -> dict[int, float]:
    """log prior of the notes for every shift of the bar lines, in ticks; swing keeps its beat."""
    row = line.row
    bar = row.bar_ticks
    step = QUAVER if line.ratio < 1.3 else row.swing_ticks
    moves, movement, start = dense(row)
    steps = np.minimum(np.diff(line.ticks), bar)
    classes = move_classes(line.midi)
    free = ~line.broken[1:]
    scores = {}
    for shift in range(0, bar, step):
        at = (line.ticks + shift) % bar
        local = moves[at[:-1], steps][free].sum() + start[at[0]]
        melodic = MOVEMENT_WEIGHT * movement[at[1:-1], classes[:-1], classes[1:]].sum()
        scores[shift] = float(local + melodic)
    return scores
