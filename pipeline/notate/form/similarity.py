"""Task: how alike the bars of a performance are, for finding parts and passes.

In: a Timeline. Out: `likeness(bar_grid(line))`: share of equal score time between every two bars.
"""

from __future__ import annotations

import numpy as np

from liltwright.notate.bars.timeline import Timeline

SLOT = 6  # ticks, a semiquaver
OCTAVE = 0.8  # of full agreement


def bar_grid(line: Timeline) -> np.ndarray:
    """Sounding pitch in every semiquaver of every bar, shape (n_bars, slots); 0 before any."""
    bar = line.kind.bar_ticks
    first = line.first_bar * bar
    count = line.last_bar - line.first_bar + 1
    ticks = first + np.arange(count * (bar // SLOT)) * SLOT + SLOT // 2
    at = np.searchsorted(line.ticks, ticks, side="right") - 1
    return np.where(at >= 0, line.midi[np.maximum(at, 0)], 0).reshape(count, bar // SLOT)


def likeness(grid: np.ndarray) -> np.ndarray:
    """Share of equal slots between every two bars, shape (n_bars, n_bars); players leap by octaves,
    so that slots an octave apart count OCTAVE."""
    same = (grid[:, None, :] == grid[None, :, :]).mean(axis=2)
    chroma = np.where(grid > 0, grid % 12, -1)
    octave = (chroma[:, None, :] == chroma[None, :, :]).mean(axis=2)
    return np.asarray(same + OCTAVE * (octave - same))
