"""Jobs around the one tune: sets, bringing files back, practising, the player's profile.

Task, In, Out, Errors: as in jobs.py; the commands are those of cli_around.py.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from liltwright import run
from liltwright.errors import UsageError, to_type
from liltwright.options import (
    GuitarOptions,
    LayerOptions,
    OutputOptions,
    PracticeOptions,
    TuneOptions,
)
from liltwright.progress import Progress, silent
from liltwright.write.folder.save import (
    Saved,
    restore,
    save,
    save_one,
)

if TYPE_CHECKING:
    from liltwright.arrange.sets import SetPlan
    from liltwright.ask import Ask
    from liltwright.guitar.player import Player

from liltwright.jobs import Kept, room_in


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
    with room_in(out, replace=replace):
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
