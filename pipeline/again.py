"""Task: start again from a written tune, also from one that the user edited after an earlier run.

In: a tune file. Out: the Tune and, when the folder still knows the recording, its sound.
Method: a `tune.abc` (or `.musicxml`, `.mid`) that lies beside the `tune.json` of an earlier run
is the same tune mended by hand: the notes, bars, parts, key, type and tempo are taken from the
edited file, what was heard (notes, times of the bars, concert pitch) from tune.json, and the
edit is recorded in `overridden`. They belong together when the last run into the folder wrote the
file or was made from it, as its list tells; where that cannot be told, when they share melody.
An edit beside the tune.json of another tune is read as a plain written tune.
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

from liltwright.errors import PipelineError
from liltwright.tune import HeardBar, Tune

if TYPE_CHECKING:
    from liltwright.hear.audio.recording import Audio

RUN = 5
"""Intervals in a row that are compared."""
SHARED = 0.1
"""So many of the runs of the poorer tune are in the other: 98 of 100 pairs of different tunes of
the collections share fewer, edits of one note in ten share 0.3 or more."""
_ODD_BAR = re.compile(r"(?:bar (\d+)|pick-up) does not add up: ([\d/]+),")


def read_again(source: Path) -> tuple[Tune, Audio | None]:
    """Read a tune file, joined with what an earlier run heard when there is one beside it."""
    from liltwright.tunefile import read_tune

    earlier = _earlier(source)
    if earlier is None or source.name == "tune.json":
        tune = read_tune(source)
        return tune, _recording(tune, source)
    tune = read_tune(source, known_odd=_odd_bars_of(earlier))
    tune = _mended(tune, earlier, source.name)
    return tune, _recording(tune, source)


def _earlier(source: Path) -> Tune | None:
    """The tune of the run that a file belongs to, when there is one."""
    from liltwright.tunefile import read_tune
    from liltwright.write.folder.ledger import is_of_last_run, read_list, versions_beside

    folder = source.parent
    if source.stem != "tune" or not (folder / "tune.json").is_file():
        return None
    belongs = is_of_last_run(folder, source.name)
    if belongs is False:
        return None
    # Where the user keeps a tune.json of their own, the last run put its one beside.
    stored = [*versions_beside("tune.json", read_list(folder)), "tune.json"][0]
    try:
        earlier = read_tune(folder / stored)
        if belongs is None and not share_melody(read_tune(source), earlier):
            return None
    except (PipelineError, OSError):
        return None
    return earlier


def share_melody(one: Tune, other: Tune) -> bool:
    """Whether two tunes have runs of intervals in common, as a tune and its edit do."""
    runs, others = _runs(one), _runs(other)
    fewer = min(len(runs), len(others))
    return not fewer or len(runs & others) >= SHARED * fewer


def _runs(tune: Tune) -> set[tuple[int, ...]]:
    pitches = [note.midi for bar in tune.written_bars() for note in bar.notes]
    steps = [after - before for before, after in pairwise(pitches)]
    return {tuple(steps[at : at + RUN]) for at in range(len(steps) - RUN + 1)}


def _odd_bars_of(earlier: Tune) -> frozenset[tuple[int, Fraction]]:
    """Bars that the program itself wrote longer or shorter than the metre: number and length.

    Those that were said of an edit before are the user's and will be said again.
    """
    from liltwright.read.abc import odd_bars_of_abc
    from liltwright.write.formats.abc import tune_to_abc

    if any("more bars that do not add up" in remark for remark in earlier.remarks):
        return frozenset()
    found = [_ODD_BAR.search(remark) for remark in earlier.remarks]
    said = {(int(one[1] or 0), Fraction(one[2])) for one in found if one}
    return odd_bars_of_abc(tune_to_abc(earlier)) - said


def _mended(edited: Tune, earlier: Tune, name: str) -> Tune:
    # What was said of an earlier edit may be mended; only what was said of a recording stays.
    heard = bool(earlier.heard)
    return replace(
        edited,
        source=earlier.source,
        tuning_offset_cents=earlier.tuning_offset_cents,
        heard=earlier.heard,
        bars_heard=bars_of_the_edit(edited, earlier),
        doubts=(),
        octave_shift=earlier.octave_shift,
        swing=earlier.swing,
        rounds=earlier.rounds,
        title=edited.title or earlier.title,
        left_out=earlier.left_out,
        warnings=earlier.warnings if heard else edited.warnings,
        remarks=(*edited.warnings, *edited.remarks) if heard else edited.remarks,
        overridden={**earlier.overridden, "notes": f"as edited in {name}"},
    )


def bars_of_the_edit(edited: Tune, earlier: Tune) -> tuple[HeardBar, ...]:
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
    from liltwright.hear.audio.recording import load_audio, sha256_of

    for place in (source.parent, source.parent.parent):
        path = place / (Path(tune.source.file).name or "recording")
        try:
            if path.is_file() and sha256_of(path) == tune.source.sha256:
                return load_audio(path)
        except (PipelineError, OSError):
            continue
    return None
