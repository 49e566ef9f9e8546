"""Task: every file of one run, by name, as bytes; nothing touches the disk here.

In: the records of a run. Out: file name -> content, the names fixed by the project's contract
(tune.json, tune.abc, tunings.json, arrangement-N-LAYER.musicxml ...).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipeline.options import OutputOptions
from pipeline.progress import Progress, silent
from pipeline.records import to_json
from pipeline.tune import Arrangement, Ranking, Tune

if TYPE_CHECKING:
    from pipeline.guitar.player import Player
    from pipeline.hear.audio import Audio

Files = dict[str, bytes]


def render(
    tune: Tune,
    ranking: Ranking,
    arrangements: Sequence[Arrangement],
    audio: Audio | None,
    output: OutputOptions,
    player: Player,
    progress: Progress = silent,
) -> Files:
    """Every file of a run."""
    progress("writing notes and tab", 0.0)
    files = tune_files(tune)
    files["tunings.json"] = to_json(ranking).encode()
    for number, arrangement in enumerate(arrangements, 1):
        files |= arrangement_files(tune, arrangement, number)
    return files


def tune_files(tune: Tune) -> Files:
    """The plain tune in every format, and the notes as performed."""
    from pipeline.write.abc import tune_to_abc
    from pipeline.write.midi import heard_to_midi, tune_to_midi
    from pipeline.write.musicxml import tune_to_musicxml

    files = {
        "tune.json": to_json(tune).encode(),
        "tune.abc": tune_to_abc(tune).encode(),
        "tune.musicxml": tune_to_musicxml(tune),
        "tune.mid": tune_to_midi(tune),
    }
    if tune.heard:
        files["heard.mid"] = heard_to_midi(tune)
    return files


def arrangement_files(tune: Tune, arrangement: Arrangement, number: int) -> Files:
    """The layers of one arrangement and the performance, in every format."""
    from pipeline.write.midi import layer_to_midi
    from pipeline.write.musicxml import layer_to_musicxml
    from pipeline.write.tablature import layer_to_text

    files = {f"arrangement-{number}.json": to_json(arrangement).encode()}
    for name in layer_names(arrangement):
        stem = f"arrangement-{number}-{name}"
        files[f"{stem}.musicxml"] = layer_to_musicxml(tune, arrangement, name)
        files[f"{stem}.mid"] = layer_to_midi(tune, arrangement, name)
        files[f"{stem}.txt"] = layer_to_text(tune, arrangement, name).encode()
    return files


def layer_names(arrangement: Arrangement) -> tuple[str, ...]:
    """The layers of an arrangement, then the performance made of them."""
    return (*(layer.name for layer in arrangement.layers), "performance")
