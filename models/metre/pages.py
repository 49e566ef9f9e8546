"""Printed tunes as arrays.

Run: `python -m liltwright.models.metre.pages OUT.npz` writes those to learn from.

In: the training and development splits of the public-domain collections
    (tests/benchmark/collections.py). Out: one file of arrays that performances.py reads without
    any other library, so that training needs PyTorch and NumPy alone.
"""

from __future__ import annotations

import sys
from typing import Any, Literal

import numpy as np

from liltwright.keys import pitch_class
from liltwright.notate.metre.kind import TICKS
from liltwright.notate.metre.places import places
from tests.benchmark.collections import CollectedTune, tunes
from tests.benchmark.timeline import whole_round


def main() -> None:
    """Write the tunes of both splits."""
    np.savez_compressed(
        sys.argv[1],
        allow_pickle=False,
        **{
            f"{split}|{name}": array
            for split in ("train", "dev")
            for name, array in _packed(split).items()
        },
    )


def _packed(split: Literal["train", "dev"]) -> dict[str, np.ndarray]:
    """All notes and bars in a row, and where each tune begins."""
    found = [page for item in tunes(split) if (page := _page(item)) is not None]
    notes = np.concatenate([page["notes"] for page in found])
    bars = np.concatenate([page["bars"] for page in found])
    heads = np.array([page["head"] for page in found])
    return {"notes": notes, "bars": bars, "heads": heads}


def _page(item: CollectedTune) -> dict[str, Any] | None:
    """One round: notes (ticks, ticks long, midi, treble, written note), bars (part, index)."""
    laid = whole_round(item.tune)
    if laid is None or item.tune.meter not in places().meters:
        return None
    positions = [note.position * TICKS for note in laid[0]]
    if any(position.denominator != 1 for position in positions):
        return None
    notes = [
        (int(at), int(note.length * TICKS), note.midi, note.treble, 64 * note.written + note.index)
        for at, note in zip(positions, laid[0], strict=True)
    ]
    bars = _bars(item)
    kind = places().kinds.index(item.tune.tune_type)
    minor = item.tune.mode in ("minor", "dorian", "phrygian")
    head = (
        kind, places().meters.index(item.tune.meter), len(notes), len(bars),
        pitch_class(item.tune.tonic), minor,
    )  # fmt: skip
    return {"notes": np.array(notes, np.int32), "bars": np.array(bars, np.int32), "head": head}


def _bars(item: CollectedTune) -> list[tuple[int, int]]:
    """(part, bars since the pass of the part began) of every full bar of the round."""
    written = item.tune.written_bars()
    bars: list[tuple[int, int]] = []
    before = len(written)
    since = 0
    for which in item.tune.performed_order():
        bar = written[which]
        again = which < before or (bars and bar.part != bars[-1][0])
        before = which
        if bar.kind == "pickup":
            since = 0
            continue
        since = 0 if again and bar.kind == "bar" else since
        bars.append((bar.part, since))
        since += 1
    return bars


if __name__ == "__main__":
    main()
