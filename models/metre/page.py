"""A printed round as arrays: what the recipes of the metre's networks vary and perform."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liltwright.notate.metre.places import places


@dataclass(frozen=True, slots=True)
class Page:
    """One printed round."""

    kind: str
    meter: str
    notes: np.ndarray
    """Shape (n_notes, 5): ticks from the first bar line, ticks long, MIDI, treble, and a number
    that is the same for one printed note in every pass."""
    part: np.ndarray
    """Part of every full bar, shape (n_bars,)."""
    since: np.ndarray
    """Bars since the pass of the part began, shape (n_bars,)."""
    tonic: int
    """Pitch class."""
    minor: bool
    """Whether the third is minor."""

    @property
    def bar(self) -> int:
        """Ticks in a bar."""
        return places().bar_ticks[places().meters.index(self.meter)]


def load_pages(path: str, split: str) -> list[Page]:
    """Every page of a split of the file that pages.py wrote."""
    with np.load(path, allow_pickle=False) as kept:
        notes, bars, heads = (kept[f"{split}|{name}"] for name in ("notes", "bars", "heads"))
    table = places()
    pages, note, bar = [], 0, 0
    for kind, meter, n_notes, n_bars, tonic, minor in heads:
        mine, these = notes[note : note + n_notes], bars[bar : bar + n_bars]
        note, bar = note + n_notes, bar + n_bars
        pages.append(
            Page(
                table.kinds[kind],
                table.meters[meter],
                mine,
                these[:, 0],
                these[:, 1],
                int(tonic),
                bool(minor),
            )
        )
    return pages
