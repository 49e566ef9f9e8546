"""Task: start again from a written tune, also from one that the user edited after an earlier run.

In: a tune file. Out: the Tune and, when the folder still knows the recording, its sound.
Method: a `tune.abc` (or `.musicxml`, `.mid`) that lies beside the `tune.json` of an earlier run
is the same tune mended by hand: the notes, bars, parts, key, type and tempo are taken from the
edited file, what was heard (notes, times of the bars, concert pitch) from tune.json, and the
edit is recorded in `overridden`.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import PipelineError
from pipeline.tune import HeardBar, Tune

if TYPE_CHECKING:
    from pipeline.hear.audio import Audio


def read_again(source: Path) -> tuple[Tune, Audio | None]:
    """Read a tune file, joined with what an earlier run heard when there is one beside it."""
    from pipeline.read.files import read_tune

    tune = read_tune(source)
    earlier = _earlier(source)
    if earlier is not None and source.name != "tune.json":
        tune = _mended(tune, earlier, source.name)
    return tune, _recording(tune, source)


def _earlier(source: Path) -> Tune | None:
    stored = source.parent / "tune.json"
    if source.stem != "tune" or not stored.is_file():
        return None
    from pipeline.read.files import read_tune

    try:
        return read_tune(stored)
    except (PipelineError, OSError):
        return None


def _mended(edited: Tune, earlier: Tune, name: str) -> Tune:
    return replace(
        edited,
        source=earlier.source,
        tuning_offset_cents=earlier.tuning_offset_cents,
        heard=earlier.heard,
        bars_heard=_bars_of_the_edit(edited, earlier),
        doubts=(),
        octave_shift=earlier.octave_shift,
        swing=earlier.swing,
        rounds=earlier.rounds,
        title=edited.title or earlier.title,
        left_out=earlier.left_out,
        warnings=earlier.warnings,
        overridden={**earlier.overridden, "notes": f"as edited in {name}"},
    )


def _bars_of_the_edit(edited: Tune, earlier: Tune) -> tuple[HeardBar, ...]:
    """The times of the performed bars with the notes of the edit, where the bars still agree."""
    written = edited.written_bars()
    order = edited.performed_order() * earlier.rounds
    if len(order) != len(earlier.bars_heard):
        return earlier.bars_heard
    return tuple(
        replace(bar, notes=written[index].notes)
        for bar, index in zip(earlier.bars_heard, order, strict=True)
    )


def _recording(tune: Tune, source: Path) -> Audio | None:
    """The recording a tune came from, if it still lies near the tune file, unchanged."""
    if not tune.source.duration_s:
        return None
    from pipeline.hear.audio import load_audio, sha256_of

    for place in (source.parent, source.parent.parent):
        path = place / (Path(tune.source.file).name or "recording")
        try:
            if path.is_file() and sha256_of(path) == tune.source.sha256:
                return load_audio(path)
        except (PipelineError, OSError):
            continue
    return None
