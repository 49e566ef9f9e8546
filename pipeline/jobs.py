"""One function a command: check the folder, run the stages, save, hand back what was made.

Task     what the command line and other edges do with files and folders
In       paths, options, a progress callback
Out      a record for each command: what was made, where it was saved, what was kept beside
Errors   PipelineError, UsageError; folders that a failing job made are taken away again
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from liltwright import run
from liltwright.errors import UsageError, to_type
from liltwright.options import (
    GuitarOptions,
    LayerOptions,
    OutputOptions,
    Paper,
    PracticeOptions,
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
    restore,
    save,
    save_one,
)

if TYPE_CHECKING:
    from liltwright.arrange.compare import Comparison
    from liltwright.arrange.sets import SetPlan
    from liltwright.ask import Ask
    from liltwright.guitar.player import Player
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
class Parted:
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


@dataclass(frozen=True, slots=True)
class Planned:
    """Ways to play a set, best first; `kept` the files of the plan with the number `taken`."""

    plans: tuple[SetPlan, ...]
    names: tuple[str, ...]
    taken: int
    kept: Kept | None


@dataclass(frozen=True, slots=True)
class Practised:
    """A sound file to practise with, and what of the recording is in it."""

    path: Path
    what: str


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
    layers = run.with_earlier(layers, keep_from, folder)
    with _room_in(folder, replace=replace):
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
) -> Parted:
    """A finished arrangement into tune, bass and stages to learn it by, into a folder."""
    from liltwright.guitar.player import load_player
    from liltwright.unpicking import unpick_file

    folder = out or run.default_folder(source)
    with _room_in(folder, replace=replace):
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
    return Parted(done, kept)


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
    with _room_in(out, replace=replace):
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
    layers = run.with_earlier(layers, keep_from, source.parent)
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


def plan_set(
    sources: Sequence[Path],
    wanted: Sequence[GuitarOptions],
    *,
    keep_order: bool,
    lift: bool,
    plans: int,
    out: Path | None = None,
    replace: bool = False,
    take: int = 1,
    layers: LayerOptions = LayerOptions(),
    output: OutputOptions = OutputOptions(),
    progress: Progress = silent,
) -> Planned:
    """Tunes to a set: their order, keys, tunings and capos; with `out` one plan as files."""
    from liltwright.arrange import sets
    from liltwright.guitar.player import load_player
    from liltwright.summary import set_lines

    profile = load_player()
    kept = None
    with _room_in(out, replace=replace):
        tunes = [run.find_tune(source, TuneOptions(), progress).tune for source in sources]
        rankings = [
            run.rank(tune, profile, one, progress)
            if one.tuning is None and one.capo is None
            else run.rank_within(tune, profile, one)
            for tune, one in zip(tunes, wanted, strict=True)
        ]
        settings = sets.SetSettings(keep_order=keep_order, lift=lift, plans=max(plans, take))
        names = [tune.title or source.stem for tune, source in zip(tunes, sources, strict=True)]
        found = sets.plan_set(tunes, rankings, settings=settings)
        if take > len(found):
            raise UsageError(
                f"{to_type('plan', 'plan')} {take} is out of range: there are {len(found)} plans."
            )
        if out:
            plan, words = found[take - 1], list(set_lines(take, found[take - 1], names))
            files = run.set_files_of(tunes, plan, words, profile, layers, output, progress)
            kept = Kept(out, files, save(files, out, replace=replace))
    return Planned(tuple(found[:plans]), tuple(names), take, kept)


def bring_back(folder: Path) -> Saved:
    """The files of a folder as they were before the last run that changed them."""
    return restore(folder)


def practise(
    recording: Path, out: Path | None, wanted: PracticeOptions, *, progress: Progress = silent
) -> Practised:
    """A recording slowed down and looped, into a sound file."""
    from liltwright.hear.audio.recording import load_audio
    from liltwright.practising import practice_name, practice_sound, sound_path
    from liltwright.write.sound.encode import encode_audio

    target = out or recording.with_name(practice_name(recording, wanted))
    kind = sound_path(target, recording)
    audio = load_audio(recording)
    samples, what = practice_sound(audio, recording, wanted, progress)
    save_one(target, encode_audio(samples, audio.sample_rate, kind))
    return Practised(target, what)


def player(changes: Sequence[str], *, show: bool, ask: Ask, say: Callable[[str], None]) -> Player:
    """Show, change or ask for the player's profile; kept unless it is only shown.

    ask, say : how a question is put, and how an answer that makes no sense is explained
    """
    from liltwright.ask import QUESTIONS, ask_player, with_answer
    from liltwright.guitar.player import load_player, save_player

    profile = load_player()
    for change in changes:
        name, _, text = change.partition("=")
        if name not in dict(QUESTIONS):
            known = ", ".join(dict(QUESTIONS))
            raise UsageError(f'"{name}" is not a setting: use one of {known}, like highest_capo=7.')
        profile = with_answer(profile, name, text)
    if not changes and not show:
        profile = ask_player(profile, ask, say)
    if not show:
        save_player(profile)
    return profile


@contextmanager
def _room_in(folder: Path | None, *, replace: bool) -> Iterator[None]:
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
