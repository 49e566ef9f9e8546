"""The program as a library: each function takes records or files and returns records.

Task   : what the command line does, for other programs: nothing is printed, and only `write` with
         a folder touches the disk.
In     : a path, bytes, or a record from an earlier step; options as the records of options.py.
Out    : Tune, Ranking, Arrangement, or files by name.
Errors : PipelineError for input that cannot be used (one sentence), UsageError, a kind of it, for
         options that do not fit. A progress callback that raises ends the work; its exception
         comes through and nothing is left behind.
Example:

    import liltwright
    tune = liltwright.listen("hum.ogg")                # or liltwright.read("tune.abc")
    ranking = liltwright.rank(tune)
    print(ranking.setups[0].reasons)
    arrangement = liltwright.arrange(tune, ranking.setups[0].setup)
    liltwright.write(tune, ranking, [arrangement], folder="demo")
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from liltwright.options import GuitarOptions, LayerOptions, OutputOptions, TuneOptions
from liltwright.progress import Progress, silent
from liltwright.tab import Arrangement, Ranking, Setup
from liltwright.tune import Tune

if TYPE_CHECKING:
    from liltwright.guitar.player import Player

Sourced = str | Path | bytes
"""A file, or what is in one."""


def read(source: Sourced, *, name: str = "tune", progress: Progress = silent) -> Tune:
    """A written tune (ABC, MusicXML, MIDI, tune.json, text tablature of a layer) as a Tune.

    source : path, or the bytes of such a file
    name   : what messages call the bytes; with a path its own name is used
    Raises PipelineError when there is no tune in it.
    """
    from liltwright.tunefile import read_tune, tune_from_bytes

    progress("reading the tune", 0.0)
    if isinstance(source, bytes):
        return tune_from_bytes(source, name=name)
    return read_tune(Path(source))


def listen(
    recording: Sourced,
    *,
    options: TuneOptions = TuneOptions(),
    name: str = "recording",
    progress: Progress = silent,
) -> Tune:
    """The tune of a recording of one voice or instrument, 4 seconds to 60 minutes.

    recording : path, or the bytes of a sound file (wav, flac, mp3, ogg, m4a/aac, webm/opus)
    name      : what messages call the bytes; letters, digits, - and _ count, no path
    Raises PipelineError when it cannot be read or holds no tune, UsageError for options that do
    not fit or for a written tune.
    """
    from liltwright import run
    from liltwright.errors import UsageError

    if isinstance(recording, bytes):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / (Path(name).name or "recording")
            path.write_bytes(recording)
            return listen(path, options=options, progress=progress)
    path = Path(recording)
    if run.is_written_tune(path):
        raise UsageError(f"{path.name} is a written tune: use read.")
    return run.find_tune(path, options, progress).tune


def rank(
    tune: Tune,
    *,
    player: Player | None = None,
    options: GuitarOptions = GuitarOptions(),
    progress: Progress = silent,
) -> Ranking:
    """Every tuning and capo for a tune, best first, with partial scores and reasons.

    player : hand, guitar and habits; without one a usual hand and guitar, not the stored profile
    Raises UsageError for options that do not fit.
    """
    from liltwright import run
    from liltwright.guitar.player import Player

    return run.rank(tune, player or Player(), options, progress)


def arrange(
    source: Tune | Sourced,
    setup: Setup | None = None,
    *,
    player: Player | None = None,
    options: LayerOptions = LayerOptions(),
    progress: Progress = silent,
) -> Arrangement:
    """The layers of a tune with their fingering.

    source : a Tune, or a recording or tune file (path or bytes) to take it from
    setup  : tuning and capo; without one those in which the tune sits best
    Raises PipelineError when the source cannot be used, UsageError for options that do not fit.
    """
    from liltwright import run
    from liltwright.guitar.player import Player

    tune = source if isinstance(source, Tune) else _tune_of(source, progress)
    chosen = setup or rank(tune, player=player, progress=progress).setups[0].setup
    return run.arrange_on(tune, chosen, player or Player(), options, progress)


def write(
    tune: Tune,
    ranking: Ranking | None = None,
    arrangements: Sequence[Arrangement] = (),
    *,
    folder: str | Path | None = None,
    options: OutputOptions = OutputOptions(),
    player: Player | None = None,
    progress: Progress = silent,
) -> Mapping[str, bytes]:
    """The files of a tune by name: with a ranking and arrangements all of them, else the tune's.

    folder : also put them there; what the user made or edited stays as it is
    Raises UsageError when the folder cannot be written to, PipelineError when the disk is full.
    """
    from liltwright.guitar.player import Player
    from liltwright.write.files import render, tune_files
    from liltwright.write.folder.save import check_folder, save

    if folder is not None:
        check_folder(Path(folder))
    files = tune_files(tune)
    if ranking is not None and arrangements:
        made = tuple(arrangements)
        files = render(tune, ranking, made, None, options, player or Player(), progress)
    if folder is not None:
        save(files, Path(folder))
    return files


def _tune_of(source: Sourced, progress: Progress) -> Tune:
    from liltwright.read.files import is_tune_file, kind_of

    if not isinstance(source, bytes):
        written = is_tune_file(Path(source))
        return read(source, progress=progress) if written else listen(source, progress=progress)
    from liltwright.errors import PipelineError

    try:
        kind_of(source, "the bytes")
    except PipelineError:
        return listen(source, progress=progress)
    return read(source, progress=progress)
