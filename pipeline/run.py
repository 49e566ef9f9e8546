"""The one place that knows the order: recording -> heard notes -> tune -> setups -> tab -> files.

Each stage is a plain function from one frozen record to the next (tune.py); STAGES
names them for the command line and the documents. Any stage can be run again from a stored or
hand-edited record: `find_tune` starts from whatever kind of file it is given.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from liltwright.earlier import moved, unmoved
from liltwright.errors import UsageError, to_type
from liltwright.limits import clean, shown_path
from liltwright.options import GuitarOptions, LayerOptions, OutputOptions, TuneOptions
from liltwright.pins import parse_pin
from liltwright.progress import Progress, silent
from liltwright.tab import Arrangement, Ranking, Setup
from liltwright.tune import Heard, Tune

if TYPE_CHECKING:
    from liltwright.arrange.sets import SetPlan
    from liltwright.guitar.player import Player
    from liltwright.hear.audio.recording import Audio
    from liltwright.notate.settings import NotateSettings


class Stage(NamedTuple):
    """A stage for the documents: its name, what it does, its function and what comes out."""

    name: str
    does: str
    function: str
    record: str


STAGES = (
    Stage("hear", "recording to notes as performed", "liltwright.hear.listen.hear", "Heard"),
    Stage("notate", "notes to bars, parts, key", "liltwright.notate.notate.notate", "Tune"),
    Stage("rank", "tune to tunings and capos", "liltwright.guitar.rank.rank_setups", "Ranking"),
    Stage("arrange", "setup to layers", "liltwright.arrange.layers.arrange_layers", "Arrangement"),
    Stage("write", "everything to files", "liltwright.write.files.render", "files"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Found:
    """A tune and, when it came from a recording that is at hand, the sound of it."""

    tune: Tune
    audio: Audio | None = None


@dataclass(frozen=True, slots=True)
class Done:
    """What one run made."""

    tune: Tune
    ranking: Ranking
    arrangements: tuple[Arrangement, ...]
    files: Mapping[str, bytes]


def arrange(
    source: Path,
    *,
    player: Player,
    tune_options: TuneOptions,
    guitar_options: GuitarOptions,
    layer_options: LayerOptions,
    output_options: OutputOptions,
    progress: Progress = silent,
) -> Done:
    """The whole job: every stage in order. Nothing is written; `files` holds what to write.

    Raises PipelineError when the input cannot be used, UsageError when an option does not fit.
    """
    from liltwright.write.files import render

    found = find_tune(source, tune_options, progress)
    ranking = rank(found.tune, player, guitar_options, progress)
    setups = choose_setups(found.tune, player, guitar_options, ranking, layer_options)
    arrangements = tuple(
        arrange_on(found.tune, setup, player, layer_options, progress) for setup in setups
    )
    files = render(found.tune, ranking, arrangements, found.audio, output_options, player, progress)
    return Done(found.tune, ranking, arrangements, files)


def is_written_tune(source: Path) -> bool:
    """Whether a file holds a tune as notes, by its content; anything else is a recording."""
    from liltwright.read.files import is_tune_file

    return is_tune_file(source)


def find_tune(source: Path, options: TuneOptions, progress: Progress = silent) -> Found:
    """The tune of a recording or of a tune file, with what the user knows about it applied."""
    from liltwright.hear.audio.recording import load_audio
    from liltwright.notate.renotate import renotate

    settings = _notate_settings(options)
    if is_written_tune(source):
        for option, given in (
            (to_type("take", "the number of a tune"), options.take),
            (to_type("ear", "the ear"), options.ear != "own" or None),
            (to_type("band or solo", "who plays"), options.players != "find out" or None),
            (to_type("from", "the start"), options.from_s),
            (to_type("to", "the end"), options.to_s),
            (to_type("band chords", "taking chords of the band"), options.band_chords or None),
        ):
            if given is not None:
                raise UsageError(f"{option} is for recordings; {source} is a written tune.")
        from liltwright.again import read_again

        tune, audio = read_again(source)
        return Found(renotate(tune, settings=settings), audio)
    progress("reading the recording", 0.0)
    audio = load_audio(source)
    if options.first_bar_s is not None and options.first_bar_s >= audio.duration_s:
        raise UsageError(
            f"{to_type('first bar', 'the first bar line at')} {options.first_bar_s:g} is out of "
            f"range: the recording lasts {audio.duration_s:.1f} s; name a second before that."
        )
    return Found(tune_of_audio(audio, options, title_of(source), progress), audio)


def tune_of_audio(
    audio: Audio, options: TuneOptions, title: str = "", progress: Progress = silent
) -> Tune:
    """The tune of a recording that is read already; `title` where the user gave none."""
    from liltwright.hear.takes import choose_take
    from liltwright.notate.notate import notate

    settings = _notate_settings(options)
    heard = hear_audio(audio, options, progress)
    if heard.band:
        from liltwright.backing import with_band_chords
        from liltwright.banding import lead_tune

        tune = lead_tune(heard, options.take, settings, progress)
        if options.band_chords:
            tune = with_band_chords(tune, audio.samples, audio.sample_rate)
    else:
        if options.band_chords:
            raise UsageError(
                f"{to_type('band chords', 'taking chords of the band')} is for recordings of a "
                "band; one seems to play alone here: leave it out, or "
                f"{to_type('band', 'say that a band plays')}."
            )
        tune = notate(choose_take(heard, options.take), settings=settings, progress=progress)
    return tune if tune.title else replace(tune, title=title)


def hear_audio(audio: Audio, options: TuneOptions, progress: Progress = silent) -> Heard:
    """The notes of a recording as performed."""
    from liltwright.hear.audio.stretch import only_between
    from liltwright.hear.listen import HearSettings, hear

    settings = HearSettings(ear=options.ear, players=options.players)
    part = only_between(audio, options.from_s, options.to_s)
    return hear(part, settings=settings, progress=progress)


def title_of(source: Path) -> str:
    """A working title from the name of a file: "copper-sieve_2.ogg" gives "Copper sieve 2"."""
    words = " ".join(clean(source.stem).replace("_", " ").replace("-", " ").split())
    return words[:1].upper() + words[1:]


def rank(
    tune: Tune, player: Player, options: GuitarOptions, progress: Progress = silent
) -> Ranking:
    """Every tuning and capo for a tune, best first."""
    from liltwright.arrange.weighed import Weigher
    from liltwright.guitar.rank import RankSettings, rank_setups

    settings = RankSettings(
        asked=(options.tuning, options.capo),
        keys=_keys(options),
        weights=dict(options.weights),
        free=options.wide,
        force=options.force,
    )
    weigh = Weigher(tune, player)
    return rank_setups(tune, player=player, settings=settings, weigh=weigh, progress=progress)


def choose_setups(
    tune: Tune,
    player: Player,
    options: GuitarOptions,
    ranking: Ranking | None,
    layers: LayerOptions = LayerOptions(),
) -> tuple[Setup, ...]:
    """The setups to arrange for: the best of the user's own tuning and capo, or of the ranking.

    Where bars are kept and nothing is named, the setup of the arrangement that they come from.
    """
    from liltwright.guitar.shortlist import shortlist

    keeps = any(parse_pin(pin).kind == "keep" for pin in (*tune.pins, *layers.pins))
    if keeps and layers.earlier is not None and options.tuning is None and options.capo is None:
        return (unmoved(layers, player).setup,)
    if ranking is None or options.tuning is not None or options.capo is not None:
        ranking = rank_within(tune, player, options)
    return tuple(setup.setup for setup in shortlist(ranking.setups, options.setups))


def rank_within(tune: Tune, player: Player, options: GuitarOptions) -> Ranking:
    """Only the setups with the tuning and capo that the user named, best first."""
    from liltwright.arrange.weighed import Weigher
    from liltwright.guitar.rank import RankSettings, rank_setups

    settings = RankSettings(
        tunings=(options.tuning,) if options.tuning is not None else (),
        capos=(options.capo,) if options.capo is not None else (),
        keys=_keys(options),
        weights=dict(options.weights),
        force=options.force,
    )
    return rank_setups(tune, player=player, settings=settings, weigh=Weigher(tune, player))


def _keys(options: GuitarOptions) -> str | tuple[str, ...]:
    if options.any_key:
        return "any"
    return (options.sounding_key.tonic,) if options.sounding_key else "as heard"


def arrange_on(
    tune: Tune,
    setup: Setup,
    player: Player,
    options: LayerOptions,
    progress: Progress = silent,
) -> Arrangement:
    """The layers of a tune on one setup."""
    from liltwright.arrange.layers import DEFAULT_PLAN, ArrangeSettings, arrange_layers

    settings = ArrangeSettings(
        effort=options.effort,
        ornaments=options.ornaments,
        suggest=options.suggest,
        lines=options.lines,
        rounds=options.rounds or DEFAULT_PLAN,
        pins=(*tune.pins, *options.pins),
        earlier=None if options.earlier is None else unmoved(options, player),
    )
    made = arrange_layers(tune, setup, player=player, settings=settings, progress=progress)
    return moved(made, options.move, player) if options.move else made


def set_files_of(
    tunes: Sequence[Tune],
    plan: SetPlan,
    words: Sequence[str],
    player: Player,
    layers: LayerOptions,
    output: OutputOptions,
    progress: Progress = silent,
) -> Mapping[str, bytes]:
    """Every file of a planned set: each tune arranged on its setup, with the way into it."""
    from liltwright.arrange.leadin import with_lead_in
    from liltwright.write.set_files import set_files

    played = []
    for place, (index, ranked) in enumerate(zip(plan.order, plan.setups, strict=True)):
        made = arrange_on(tunes[index], ranked.setup, player, layers, progress)
        if place:
            made = with_lead_in(tunes[index], made, plan.changes[place - 1])
        played.append((tunes[index], made))
    return set_files(plan, played, words, output, progress)


def _notate_settings(options: TuneOptions) -> NotateSettings:
    from liltwright.notate.settings import NotateSettings

    for name, value in (
        (to_type("tempo", "the tempo"), options.beats_per_minute),
        (to_type("first bar", "the first bar line at"), options.first_bar_s),
        (to_type("concert", "the concert pitch"), options.concert_cents),
    ):
        if value is not None and not math.isfinite(value):
            raise UsageError(f"{name} {value} is not a number: write one like 30 or 112.5.")
    return NotateSettings(
        tune_type=options.tune_type,
        meter=options.meter,
        key=options.key,
        beats_per_minute=options.beats_per_minute,
        octave_shift=options.octave_shift,
        first_bar_s=options.first_bar_s,
        concert_cents=options.concert_cents,
        title=None if options.title is None else clean(options.title),
    )


def default_folder(source: Path) -> Path:
    """The folder beside an input that is named after it; another name where that is the input."""
    if not source.suffix:
        raise UsageError(
            f"{shown_path(source)} has no ending to its name: say where to write{to_type('out')}."
        )
    return source.with_suffix("")
