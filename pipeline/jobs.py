"""One function a command: check the folder, run the stages, save, hand back what was made.

Task     what the command line and other edges do with files and folders
In       paths, options, a progress callback
Out      a record for each command: what was made, where it was saved, what was kept beside
Errors   PipelineError, UsageError; folders that a failing job made are taken away again
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from liltwright import run
from liltwright.earlier import with_earlier
from liltwright.errors import UsageError
from liltwright.options import (
    GuitarOptions,
    LayerOptions,
    OutputOptions,
    Paper,
    TuneOptions,
)
from liltwright.progress import Progress, silent
from liltwright.tab import Arrangement, LayerName, Ranking
from liltwright.tune import Tune
from liltwright.write.folder.save import (
    Saved,
    check_folder,
    check_new,
    edited_by_user,
    remove_if_empty,
    save,
    save_one,
)

if TYPE_CHECKING:
    from liltwright.arrange.compare import Comparison
    from liltwright.unpicking import PageOptions, UnpickedFiles


@dataclass(frozen=True, slots=True)
class Kept:
    """Files of a run in a folder, and what became of those that were there."""

    folder: Path
    files: Mapping[str, bytes]
    saved: Saved


@dataclass(frozen=True, slots=True)
class Arranged:
    """The whole job."""

    done: run.Done
    kept: Kept


@dataclass(frozen=True, slots=True)
class TakenApart:
    """A finished page, taken apart."""

    done: UnpickedFiles
    kept: Kept


@dataclass(frozen=True, slots=True)
class Listened:
    """A tune from a recording; `kept` where files were wanted."""

    tune: Tune
    kept: Kept | None


@dataclass(frozen=True, slots=True)
class Tabbed:
    """One layer of a tune on a setup; `paths` are the files that were written."""

    tune: Tune
    arrangement: Arrangement
    layer: str
    paths: tuple[Path, ...]


def arrange(
    source: Path,
    out: Path | None,
    replace: bool,
    known: TuneOptions,
    wanted: GuitarOptions,
    layers: LayerOptions,
    output: OutputOptions,
    keep_from: Path | None = None,
    *,
    progress: Progress = silent,
) -> Arranged:
    """The whole job, into a folder."""
    from liltwright.guitar.player import load_player

    folder = out or run.default_folder(source)
    layers = with_earlier(layers, keep_from, folder)
    with room_in(folder, replace=replace):
        done = run.arrange(
            source,
            player=load_player(),
            tune_options=known,
            guitar_options=wanted,
            layer_options=layers,
            output_options=output,
            progress=progress,
        )
        kept = _kept(done.files, source, folder, output, replace=replace)
    return Arranged(done, kept)


def unpick(
    source: Path,
    out: Path | None,
    replace: bool,
    known: TuneOptions,
    page: PageOptions,
    output: OutputOptions,
    *,
    other: bool,
    progress: Progress = silent,
) -> TakenApart:
    """A finished arrangement into tune, bass and stages to learn it by, into a folder."""
    from liltwright.guitar.player import load_player
    from liltwright.unpicking import unpick_file

    folder = out or run.default_folder(source)
    with room_in(folder, replace=replace):
        done = unpick_file(
            source,
            player=load_player(),
            known=known,
            page=page,
            output=output,
            other=other,
            progress=progress,
        )
        kept = _kept(done.files, source, folder, output, replace=replace)
    return TakenApart(done, kept)


def listen(
    recording: Path,
    out: Path | None,
    replace: bool,
    known: TuneOptions,
    *,
    progress: Progress = silent,
) -> Listened:
    """A recording to a written tune."""
    from liltwright.write.files import is_of_tune, tune_files

    if run.is_written_tune(recording):
        raise UsageError(f"{recording} is a written tune: listen takes a recording.")
    with room_in(out, replace=replace):
        tune = run.find_tune(recording, known, progress).tune
        if out is None:
            return Listened(tune, None)
        files = tune_files(tune)
        saved = save(files, out, stays=lambda name: not is_of_tune(name), replace=replace)
    return Listened(tune, Kept(out, files, saved))


def tunings(
    source: Path, known: TuneOptions, wanted: GuitarOptions, *, progress: Progress = silent
) -> tuple[Tune, Ranking]:
    """A tune to ranked tunings and capos."""
    from liltwright.guitar.player import load_player

    tune = run.find_tune(source, known, progress).tune
    return tune, run.rank(tune, load_player(), wanted, progress)


def tab(
    source: Path,
    known: TuneOptions,
    wanted: GuitarOptions,
    layers: LayerOptions,
    layer: str,
    out: Path | None = None,
    *,
    paper: Paper = "a4",
    hands: bool = False,
    keep_from: Path | None = None,
    progress: Progress = silent,
) -> Tabbed:
    """A tune and a setup to its layers, one of them into a file where one is named."""
    from liltwright.guitar.player import load_player
    from liltwright.write.formats.one import check_kind, layer_file

    if out is not None:
        check_kind(out)
        check_new(out)
    player = load_player()
    layers = with_earlier(layers, keep_from, source.parent)
    tune = run.find_tune(source, known, progress).tune
    setup = run.choose_setups(tune, player, wanted, None, layers)[0]
    arrangement = run.arrange_on(tune, setup, player, layers, progress)
    files: Mapping[Path, bytes] = {}
    if out is not None:
        files = layer_file(tune, arrangement, layer, out, paper=paper, hands=hands)
    for path, data in files.items():
        save_one(path, data)
    return Tabbed(tune, arrangement, layer, tuple(files))


def compare(
    source: Path,
    known: TuneOptions,
    first: GuitarOptions,
    second: GuitarOptions,
    layer: LayerName,
    *,
    progress: Progress = silent,
) -> tuple[Tune, Comparison]:
    """One layer of a tune in two tunings, side by side."""
    from liltwright.arrange import compare as comparing
    from liltwright.guitar.player import load_player

    profile = load_player()
    tune = run.find_tune(source, known, progress).tune
    pair = [
        run.arrange_on(
            tune, run.choose_setups(tune, profile, wanted, None)[0], profile, LayerOptions()
        )
        for wanted in (first, second)
    ]
    return tune, comparing.compare(tune, *pair, layer=layer, player=profile)


@contextmanager
def room_in(folder: Path | None, *, replace: bool) -> Iterator[None]:
    """A folder that can be written into, before work begins; without one nothing is checked."""
    made = check_folder(folder, replace=replace) if folder else ()
    try:
        yield
    except BaseException:
        remove_if_empty(made)
        raise


def _kept(
    files: Mapping[str, bytes], source: Path, folder: Path, output: OutputOptions, *, replace: bool
) -> Kept:
    """All files of a run into its folder; those that it leaves out by its options stay."""
    from liltwright.write.files import is_left_out

    saved = save(
        files,
        folder,
        keep=_users_own(source, folder),
        stays=lambda name: is_left_out(name, output),
        replace=replace,
    )
    return Kept(folder, files, saved)


def _users_own(source: Path, folder: Path) -> tuple[str, ...]:
    """The input itself when it is a file of ours that the user edited in the output folder."""
    try:
        inside = source.exists() and source.resolve().parent == folder.resolve()
    except (OSError, RuntimeError, ValueError):  # a name too long, a link to itself
        inside = False
    return (source.name,) if inside and edited_by_user(source) else ()
