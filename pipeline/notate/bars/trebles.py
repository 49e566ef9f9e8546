"""Task: write a treble that the ear took for notes as the one long note it decorates.

In: Timeline. Out: the Timeline without the strokes that repeat a note inside its crotchet.
Method: in tunes that move in quavers, a crotchet filled by three strokes on one pitch is a treble
    (common practice; tests/benchmark/kinds.py writes printed trebles in the same way), and so is
    one filled by a third and two thirds, of which a stroke was missed. Polkas, marches,
    strathspeys and airs do have such notes and are left alone.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liltwright.dances import dances
from liltwright.notate.bars.repeated import only
from liltwright.notate.bars.timeline import Timeline
from liltwright.notate.metre.kind import QUAVER


def untrebled(line: Timeline) -> Timeline:
    """The timeline with trebles as one note each."""
    if not dances()[line.kind.tune_type].trebled:
        return line
    again = np.zeros(len(line.ticks) - 1, bool)
    same = np.diff(line.midi) == 0
    step = np.append(np.diff(line.ticks), line.length[-1])
    on = line.ticks % QUAVER == 0
    for at in np.flatnonzero(on[:-1] & same & (step[:-1] < QUAVER)):
        size = 3 if at + 2 < len(step) and same[at + 1] and step[at : at + 2].sum() < 24 else 2
        whole = step[at : at + size].sum() == 2 * QUAVER and (size == 3 or step[at] == 8)
        if whole and not line.broken[at + 1 : at + size].any():
            again[at : at + size - 1] = True
    if not again.any():
        return line
    ornament = tuple(
        "triplet" if follows and own is None else own
        for own, follows in zip(line.ornament, np.append(again, False), strict=True)
    )
    return only(replace(line, ornament=ornament), np.append(True, ~again))
