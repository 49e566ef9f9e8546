"""One function a command: check the folder, run the stages, save, say what was found.

Progress goes to stderr, what was found to stdout.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from liltwright import run
from liltwright.counting import count
from liltwright.errors import UsageError
from liltwright.options import (
    GuitarOptions,
    LayerOptions,
    OutputOptions,
    Paper,
    PracticeOptions,
    TuneOptions,
)
from liltwright.records import to_json
from liltwright.screen import progress_on_stderr
from liltwright.summary import (
    comparison_lines,
    ranking_lines,
    saved_lines,
    set_lines,
    tune_lines,
)
from liltwright.tab import LayerName
from liltwright.words import describe_setup
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
    from liltwright.ask import Ask
    from liltwright.tune import Tune
    from liltwright.unpicking import PageOptions


def arrange(
    source: Path,
    out: Path | None,
    replace: bool,
    known: TuneOptions,
    wanted: GuitarOptions,
    layers: LayerOptions,
    output: OutputOptions,
    keep_from: Path | None = None,
) -> None:
    """The whole job, into a folder."""
    from liltwright.guitar.player import load_player
    from liltwright.write.files import is_left_out

    folder = out or run.default_folder(source)
    layers = run.with_earlier(layers, keep_from, folder)
    made = check_folder(folder, replace=replace)
    try:
        with progress_on_stderr() as progress:
            done = run.arrange(
                source,
                player=load_player(),
                tune_options=known,
                guitar_options=wanted,
                layer_options=layers,
                output_options=output,
                progress=progress,
            )
            saved = save(
                done.files,
                folder,
                keep=_users_own(source, folder),
                stays=lambda name: is_left_out(name, output),
                replace=replace,
            )
    except BaseException:
        remove_if_empty(made)
        raise
    _say(tune_lines(done.tune, done.files))
    _say(ranking_lines(done.ranking, arranged=done.arrangements[0].setup))
    if len(done.arrangements) < wanted.setups:
        print(
            f"--setups {wanted.setups}: arranged for {len(done.arrangements)} only, "
            "no other setup differs enough."
        )
    _say_files(folder, done.files, saved)


def unpick(
    source: Path,
    out: Path | None,
    replace: bool,
    known: TuneOptions,
    page: PageOptions,
    output: OutputOptions,
    *,
    other: bool,
) -> None:
    """A finished arrangement into tune, bass and stages to learn it by, into a folder."""
    from liltwright.guitar.player import load_player
    from liltwright.unpicking import page_lines, unpick_file
    from liltwright.write.files import is_left_out

    folder = out or run.default_folder(source)
    made = check_folder(folder, replace=replace)
    try:
        with progress_on_stderr() as progress:
            done = unpick_file(
                source,
                player=load_player(),
                known=known,
                page=page,
                output=output,
                other=other,
                progress=progress,
            )
            saved = save(
                done.files,
                folder,
                keep=_users_own(source, folder),
                stays=lambda name: is_left_out(name, output),
                replace=replace,
            )
    except BaseException:
        remove_if_empty(made)
        raise
    _say(tune_lines(done.found.tune, done.files))
    _say(page_lines(done.found))
    if done.ranking is not None:
        _say(ranking_lines(done.ranking, most=1))
    _say_files(folder, done.files, saved)


def listen(
    recording: Path, out: Path | None, replace: bool, known: TuneOptions, *, as_json: bool
) -> None:
    """A recording to a written tune."""
    from liltwright.write.files import is_of_tune, tune_files

    if run.is_written_tune(recording):
        raise UsageError(f"{recording} is a written tune: listen takes a recording.")
    made = check_folder(out, replace=replace) if out else ()
    files: Mapping[str, bytes] = {}
    try:
        with progress_on_stderr() as progress:
            tune = run.find_tune(recording, known, progress).tune
            if out:
                files = tune_files(tune)
                saved = save(files, out, stays=lambda name: not is_of_tune(name), replace=replace)
    except BaseException:
        remove_if_empty(made)
        raise
    if as_json:
        print(to_json(tune), end="")
        return
    _say(tune_lines(tune, files))
    if not out:
        from liltwright.write.formats.abc import tune_to_abc

        print(f"\n{tune_to_abc(tune)}", end="")
    else:
        _say_files(out, files, saved)


def tunings(source: Path, known: TuneOptions, wanted: GuitarOptions, *, as_json: bool) -> None:
    """A tune to ranked tunings and capos."""
    from liltwright.guitar.player import load_player

    with progress_on_stderr() as progress:
        tune = run.find_tune(source, known, progress).tune
        ranking = run.rank(tune, load_player(), wanted, progress)
    if as_json:
        print(to_json(ranking), end="")
        return
    _say(tune_lines(tune))
    _say(ranking_lines(ranking, most=10))


def tab(
    source: Path,
    known: TuneOptions,
    wanted: GuitarOptions,
    layers: LayerOptions,
    layer: str,
    out: Path | None = None,
    *,
    paper: Paper = "a4",
    as_json: bool = False,
    hands: bool = False,
    keep_from: Path | None = None,
) -> None:
    """A tune and a setup to tab on the screen, or one layer into a file."""
    from liltwright.guitar.player import load_player
    from liltwright.write.formats.one import check_kind, layer_file
    from liltwright.write.formats.tablature import layer_to_text

    if out is not None:
        check_kind(out)
        check_new(out)
    player = load_player()
    layers = run.with_earlier(layers, keep_from, source.parent)
    with progress_on_stderr() as progress:
        tune = run.find_tune(source, known, progress).tune
        setup = run.choose_setups(tune, player, wanted, None, layers)[0]
        arrangement = run.arrange_on(tune, setup, player, layers, progress)
        files: Mapping[Path, bytes] = {}
        if out is not None:
            files = layer_file(tune, arrangement, layer, out, paper=paper, hands=hands)
        for path, data in files.items():
            save_one(path, data)
    _say_effects(tune)
    if as_json:
        print(to_json(arrangement), end="")
    elif out is not None:
        for path in files:
            print(f"{layer} on {describe_setup(setup)} in {path}")
    else:
        print(layer_to_text(tune, arrangement, layer, hands=hands), end="")


def compare(
    source: Path, known: TuneOptions, first: GuitarOptions, second: GuitarOptions, layer: LayerName
) -> None:
    """One layer of a tune in two tunings, side by side."""
    from liltwright.arrange import compare as comparing
    from liltwright.guitar.player import load_player

    profile = load_player()
    with progress_on_stderr() as progress:
        tune = run.find_tune(source, known, progress).tune
        pair = [
            run.arrange_on(
                tune, run.choose_setups(tune, profile, wanted, None)[0], profile, LayerOptions()
            )
            for wanted in (first, second)
        ]
    _say_effects(tune)
    _say(comparison_lines(comparing.compare(tune, *pair, layer=layer, player=profile)))


def plan_set(
    sources: list[Path],
    wanted: list[GuitarOptions],
    *,
    keep_order: bool,
    lift: bool,
    plans: int,
    out: Path | None = None,
    replace: bool = False,
    take: int = 1,
    layers: LayerOptions = LayerOptions(),
    output: OutputOptions = OutputOptions(),
) -> None:
    """Tunes to a set: their order, keys, tunings and capos; with `out` one plan as files."""
    from liltwright.arrange import sets
    from liltwright.guitar.player import load_player

    profile = load_player()
    made = check_folder(out, replace=replace) if out else ()
    try:
        with progress_on_stderr() as progress:
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
                raise UsageError(f"--take {take} is out of range: there are {len(found)} plans.")
            saved = None
            if out:
                plan, words = found[take - 1], list(set_lines(take, found[take - 1], names))
                files = run.set_files_of(tunes, plan, words, profile, layers, output, progress)
                saved = save(files, out, replace=replace)
    except BaseException:
        remove_if_empty(made)
        raise
    for number, plan in enumerate(found[:plans], 1):
        _say(set_lines(number, plan, names))
    if out and saved is not None:
        print(f"{count(len(saved.written), 'file')} of plan {take} in {out}")
        _say(saved_lines(out, saved))


def bring_back(folder: Path) -> None:
    """The files of a folder as they were before the last run that changed them."""
    saved = restore(folder)
    print(f"{len(saved.written)} files in {folder} are as they were before the last change")
    _say(saved_lines(folder, saved))


def practise(recording: Path, out: Path | None, wanted: PracticeOptions) -> None:
    """A recording slowed down and looped, into a sound file."""
    from liltwright.hear.audio.recording import load_audio
    from liltwright.practising import practice_name, practice_sound, sound_path
    from liltwright.write.sound.encode import encode_audio

    target = out or recording.with_name(practice_name(recording, wanted))
    kind = sound_path(target, recording)
    with progress_on_stderr() as progress:
        audio = load_audio(recording)
        samples, what = practice_sound(audio, recording, wanted, progress)
        save_one(target, encode_audio(samples, audio.sample_rate, kind))
    print(f"{what} at {wanted.speed:.0%} in {target}")


def player(changes: list[str], *, show: bool, ask: Ask) -> None:
    """Show, change or ask for the player's profile."""
    from liltwright.ask import QUESTIONS, ask_player, shown, with_answer
    from liltwright.guitar.player import load_player, profile_path, save_player

    profile = load_player()
    for change in changes:
        name, _, text = change.partition("=")
        if name not in dict(QUESTIONS):
            known = ", ".join(dict(QUESTIONS))
            raise UsageError(f'"{name}" is not a setting: use one of {known}, like highest_capo=7.')
        profile = with_answer(profile, name, text)
    if not changes and not show:
        profile = ask_player(profile, ask, print)
    if not show:
        save_player(profile)
    _say(f"{name:<16} {shown(profile, name)}" for name, _ in QUESTIONS)
    print(f"kept in {profile_path()}")


def _users_own(source: Path, folder: Path) -> tuple[str, ...]:
    """The input itself when it is a file of ours that the user edited in the output folder."""
    try:
        inside = source.exists() and source.resolve().parent == folder.resolve()
    except (OSError, RuntimeError, ValueError):  # a name too long, a link to itself
        inside = False
    return (source.name,) if inside and edited_by_user(source) else ()


def _say(lines: Iterable[str]) -> None:
    for line in lines:
        print(line)


def _say_effects(tune: Tune) -> None:
    """What options did not do, beside an output that is no place for it."""
    from liltwright.notate.effects import effects_words

    for words in effects_words(tune.remarks):
        print(f"liltwright: {words}", file=sys.stderr)


def _say_files(folder: Path, files: Mapping[str, bytes], saved: Saved) -> None:
    first = "report.html" if "report.html" in files else "tune.abc"
    first = saved.beside.get(first, first)
    print(f"{count(len(saved.written), 'file')} in {folder}; open {folder / first} first")
    _say(saved_lines(folder, saved))
