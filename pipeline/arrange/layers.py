"""Arranging: a tune on a setup in layers that two hands can play, each growing from the last.

Task: melody, drone, plain bass, moving bass and fuller layer, the melody the same in all.
In:   a Tune and a Setup on which it fits; the player.
Out:  an Arrangement.
Method: one best path (search.py) fingers the melody and chooses the moving bass together; the
    melody keeps that fingering in every layer, and one harmony stands under all of them. The
    plain bass is the moving bass on the main beats alone; the drone is a best path of its own over
    open strings under the same melody; the fuller layer adds inner notes to the moving bass. So
    nothing has to be unlearnt.
References: see harmony.py, bass.py, search.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from liltwright import keys
from liltwright.arrange.assemble import (
    AddedVoice,
    Ground,
    Voices,
    graded,
    ornamented,
    thumbs_freed,
)
from liltwright.arrange.bass import open_strings_with
from liltwright.arrange.fingered import bass_tables, melody_path
from liltwright.arrange.grades import wish_to_walk
from liltwright.arrange.harmony import Harmony, harmonise
from liltwright.arrange.inner import inner_notes
from liltwright.arrange.lines import (
    Basses,
    BassLine,
    basses,
    joined,
    other_lines,
    parse_picks,
    thumb_plays,
)
from liltwright.arrange.moments import Tables
from liltwright.arrange.pinned import pinned_of
from liltwright.arrange.remarks import pin_remarks
from liltwright.arrange.rounds import check_parts, parse_plan
from liltwright.arrange.search import best_path
from liltwright.arrange.suggested import with_suggestions
from liltwright.arrange.tab import Below, melody_plucks
from liltwright.arrange.voices import Melody, bass_of, melody_of
from liltwright.arrange.walking import walking_bass
from liltwright.bassbeats import pulse_of
from liltwright.errors import UsageError
from liltwright.guitar.player import Player
from liltwright.guitar.plucking import Pluck
from liltwright.guitar.setups import what_does_not_fit
from liltwright.guitar.tension import cautions
from liltwright.options import Effort
from liltwright.progress import Progress, silent
from liltwright.tab import Arrangement, Layer, LineName, Setup
from liltwright.tune import Tune

HAND_CAUTION = (
    "Warm up, start slowly and take breaks; stop when a hand, wrist or arm hurts. "
    "Pain that stays is for a doctor or a performing-arts clinic."
)
DEFAULT_PLAN = "melody drone moving-bass"


@dataclass(frozen=True, slots=True, kw_only=True)
class ArrangeSettings:
    """How the arrangement shall be."""

    effort: Effort = "as is"
    """How hard a bar may be before it falls back to the layer below."""
    ornaments: bool = False
    """Put heard and written cuts, taps, rolls, triplets and slides into the tab."""
    suggest: bool = False
    """Also ornaments that the tune type wants where none is written."""
    rounds: str = DEFAULT_PLAN
    """The performance, a layer a round; see rounds.parse_plan."""
    pins: tuple[str, ...] = ()
    """What the user's hand fixes; see liltwright.pins."""
    earlier: Arrangement | None = None
    """The arrangement that bars are kept from."""
    lines: str = ""
    """Which bass line each part takes, "A=restless B=still"; see lines.parse_picks."""


def arrange_layers(
    tune: Tune,
    setup: Setup,
    *,
    player: Player | None = None,
    settings: ArrangeSettings | None = None,
    progress: Progress = silent,
) -> Arrangement:
    """Arrange a tune on a setup.

    Raises UsageError when a note has no place on the setup, a typed chord, a pin or the plan of
    rounds cannot be read, or pins leave nothing that can be played (it says which); PipelineError
    when the tune has no notes, or two at once.
    """
    player, settings = player or Player(), settings or ArrangeSettings()
    rounds = parse_plan(settings.rounds)
    check_parts(rounds, tune)
    fault = what_does_not_fit(tune, setup.strings_midi, setup.capo, setup.transpose, player)
    if fault is not None:
        raise UsageError(f"{setup.tuning}, capo {setup.capo}: {fault}")
    progress("finding chords", 0.0)
    pinned = pinned_of(settings.pins, tune, setup, settings.earlier)
    picked = parse_picks(settings.lines, tune)
    ground = Ground(tune, setup, player, pinned)
    based = _based(ground, settings.effort, progress)
    progress("building the layers", 0.7)
    layers, lines = _built(ground, based, picked, settings)
    said = pin_remarks([one.pin.text for one in pinned.placed])
    layers = (replace(layers[0], remarks=layers[0].remarks + said), *layers[1:])
    warned = cautions(setup.strings_midi, scale_mm=player.scale_mm, string_set=player.string_set)
    return Arrangement(
        setup,
        tune.meter,
        tune.beats_per_minute,
        layers,
        rounds,
        title=tune.title,
        cautions=(*warned, HAND_CAUTION),
        pins=tuple(one.pin.text for one in pinned.placed),
        lines=lines,
        picked=picked,
    )


@dataclass(frozen=True, slots=True)
class Based:
    """What all layers stand on: the melody as it is held and plucked, the steady line."""

    melody: Melody
    steady: BassLine
    own: Basses
    plucks: tuple[Pluck, ...]


def _based(ground: Ground, effort: Effort, progress: Progress = silent) -> Based:
    """Finger melody and bass together, and let the bass walk."""
    harmony = harmonise(ground.tune, transpose=ground.setup.transpose, pinned=ground.pinned.chords)
    walk = wish_to_walk(effort)
    tables = bass_tables(ground, harmony, None, walk)
    progress("fingering melody and bass together", 0.2)
    melody = melody_of(melody_path(ground, tables, harmony), tables)
    steady = BassLine("steady", harmony, tables, tuple(walking_bass(tables, melody, walk)))
    own = basses(steady, _drone(ground, harmony, melody), melody)
    busy = {note.event for voice in (own.drone, own.moving) for note in voice}
    return Based(melody, steady, own, melody_plucks(tables.line, melody.stops, busy))


def first_layers(ground: Ground) -> tuple[tuple[Layer, ...], Tables]:
    """Melody, drone, plain and moving bass as `arrange_layers` makes them, and their tables.

    Without the fuller layer, other lines and ornaments, which move none of these notes: for the
    ranking, that may promise only what will be heard.
    """
    one = _based(ground, "as is")
    voices = Voices(one.plucks, one.own.voices("moving-bass", one.steady.harmony))
    return graded(ground, one.steady.tables, one.melody, voices, "as is"), one.steady.tables


def _built(
    ground: Ground,
    based: Based,
    picked: Mapping[str, LineName],
    settings: ArrangeSettings,
) -> tuple[tuple[Layer, ...], tuple[Layer, ...]]:
    """The layers, and the lines to choose from, all under one melody with one plucking hand."""
    melody, steady, own, plucks = based.melody, based.steady, based.own, based.plucks
    barred = thumb_plays(steady.tables.line, plucks)
    lines = other_lines(ground, melody, steady, barred, wish_to_walk(settings.effort))
    line, main = joined(ground, lines, picked), own
    if line is not steady:
        drone = _drone(ground, line.harmony, melody)
        main = basses(line, [note for note in drone if note.event not in barred], melody)
    pulse = pulse_of(ground.tune)
    inner = inner_notes(line.tables, ground.setup, melody, plucks, main.moving, pulse)
    fuller = AddedVoice("fuller", (*main.moving, *inner), line.harmony)
    voices = Voices(plucks, (*main.voices("moving-bass", line.harmony), fuller))
    layers = graded(ground, line.tables, melody, voices, settings.effort)
    count = len(layers)
    for one in lines:
        below = basses(one, own.drone, melody).voices(one.name, one.harmony)
        made = graded(ground, one.tables, melody, Voices(plucks, below), settings.effort)
        layers = (*layers, made[-1])
    groups = [thumbs_freed(layers)[:count], *((one,) for one in thumbs_freed(layers)[count:])]
    if settings.ornaments or settings.suggest:
        tune, suggested = with_suggestions(ground.tune) if settings.suggest else (ground.tune, 0)
        dressed = replace(ground, tune=tune)
        groups = [
            ornamented(dressed, line.tables, melody, group, settings.effort, suggested)
            for group in groups
        ]
    return groups[0], tuple(one for group in groups[1:] for one in group)


def _drone(ground: Ground, harmony: Harmony, melody: Melody) -> list[Below]:
    """Tonic or fifth on open strings under the melody as it is fingered."""
    tonic = keys.pitch_class(harmony.key.tonic)
    tones = frozenset({tonic, (tonic + 7) % 12})
    if not open_strings_with(ground.setup, tones):
        return []
    tables = bass_tables(ground, harmony, tones)
    return bass_of(
        best_path(tables, [np.array([index]) for index in melody.indices], "drone"), tables
    )
