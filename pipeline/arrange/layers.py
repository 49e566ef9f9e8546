"""Arranging: a tune on a setup in layers that two hands can play, each growing from the last.

Task: melody, drone, plain bass, moving bass and fuller layer, the melody the same in all.
In:   a Tune and a Setup on which it fits; the player.
Out:  an Arrangement.
Method: one best path (search.py) fingers the melody and chooses the moving bass together; the
    melody keeps that fingering in every layer. The plain bass is the moving bass on the main
    beats alone; the drone is a best path of its own over open strings under the same melody; the
    fuller layer adds inner notes to the moving bass. So nothing has to be unlearnt.
References: see harmony.py, bass.py, search.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from pipeline import keys
from pipeline.arrange.bass import board, open_strings_with, usable_tones
from pipeline.arrange.grades import (
    BarGrade,
    difficulty,
    grade_bar,
    wish_to_walk,
    within_limit,
)
from pipeline.arrange.harmony import Harmony, harmonise
from pipeline.arrange.inner import inner_notes
from pipeline.arrange.metre import pulse_of
from pipeline.arrange.moments import Tables
from pipeline.arrange.ornaments import add_ornaments
from pipeline.arrange.remarks import layer_remarks, ornament_remarks
from pipeline.arrange.rounds import parse_plan
from pipeline.arrange.search import best_path
from pipeline.arrange.tab import Below, melody_plucks, tab_bars, thumb_where_free
from pipeline.arrange.timeline import timeline
from pipeline.arrange.voices import Melody, bass_of, melody_of, on_main_beats, with_gaps_filled
from pipeline.errors import UsageError
from pipeline.guitar.fingering import problem_of, state_numbers
from pipeline.guitar.hand import Hand
from pipeline.guitar.player import Player
from pipeline.guitar.plucking import Pluck
from pipeline.guitar.setups import what_does_not_fit
from pipeline.guitar.states import states
from pipeline.guitar.tension import cautions
from pipeline.progress import Progress, silent
from pipeline.tune import Arrangement, Layer, LayerName, Setup, TabBar, Tune

HAND_CAUTION = (
    "Warm up, start slowly and take breaks; stop when a hand, wrist or arm hurts. "
    "Pain that stays is for a doctor or a performing-arts clinic."
)
Effort = Literal["easier", "as is", "harder"]
DEFAULT_PLAN = "melody drone moving-bass"
DRONE_ROOTS = frozenset({0, 5, 7})
"""Chords that have the tonic or the fifth of the key as root or fifth: on I, IV and V."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ArrangeSettings:
    """How the arrangement shall be."""

    effort: Effort = "as is"
    """How hard a bar may be before it falls back to the layer below."""
    ornaments: bool = False
    """Put heard cuts, taps, rolls and triplets into the tab."""
    rounds: str = DEFAULT_PLAN
    """The performance, a layer a round; see rounds.parse_plan."""


def arrange_layers(
    tune: Tune,
    setup: Setup,
    *,
    player: Player | None = None,
    settings: ArrangeSettings | None = None,
    progress: Progress = silent,
) -> Arrangement:
    """Arrange a tune on a setup.

    Raises UsageError when a note has no place on the setup, or a typed chord or the plan of
    rounds cannot be read; PipelineError when the tune has no notes, or two at once.
    """
    player, settings = player or Player(), settings or ArrangeSettings()
    rounds = parse_plan(settings.rounds)
    fault = what_does_not_fit(tune, setup.strings_midi, setup.capo, setup.transpose, player)
    if fault is not None:
        raise UsageError(f"{setup.tuning}, capo {setup.capo}: {fault}")
    progress("finding chords", 0.0)
    harmony = harmonise(tune, transpose=setup.transpose)
    steady = harmonise(tune, transpose=setup.transpose, only=DRONE_ROOTS)
    ground = Ground(tune, setup, player)
    tables = bass_tables(ground, harmony, None, wish_to_walk(settings.effort))
    problem = problem_of(setup, player)
    choices = [state_numbers(tables.table, note.midi, problem) for note in tables.line.notes]
    progress("fingering melody and bass together", 0.2)
    path = best_path(tables, choices, "moving")
    melody, moving = melody_of(path, tables), bass_of(path, tables)
    progress("building the layers", 0.7)
    drone = _drone(ground, steady, melody)
    plain = with_gaps_filled(on_main_beats(moving, tables, melody), drone, tables)
    moving = with_gaps_filled(moving, drone, tables)
    busy = {note.event for voice in (drone, moving) for note in voice}
    plucks = melody_plucks(tables.line, melody.stops, busy)
    inner = inner_notes(tables, setup, melody, plucks, moving, pulse_of(tune))
    voices = (
        Voice("melody", (), harmony),
        Voice("drone", tuple(drone), steady),
        Voice("plain-bass", tuple(plain), harmony),
        Voice("moving-bass", tuple(moving), harmony),
        Voice("fuller", (*moving, *inner), harmony),
    )
    layers = _graded(ground, tables, melody, plucks, voices, settings.effort)
    freed = thumb_where_free([layer.bars for layer in layers])
    layers = tuple(replace(layer, bars=bars) for layer, bars in zip(layers, freed, strict=True))
    if settings.ornaments:
        layers = _ornamented(ground, tables, melody, layers)
    said = cautions(setup.strings_midi, scale_mm=player.scale_mm, string_set=player.string_set)
    return Arrangement(
        setup,
        tune.meter,
        tune.beats_per_minute,
        layers,
        rounds,
        title=tune.title,
        cautions=(*said, HAND_CAUTION),
    )


@dataclass(frozen=True, slots=True)
class Ground:
    """What is arranged, on what, by whom."""

    tune: Tune
    setup: Setup
    player: Player


@dataclass(frozen=True, slots=True)
class Voice:
    """What a layer adds under the melody, and the chords that it means."""

    name: LayerName
    below: tuple[Below, ...]
    harmony: Harmony


def bass_tables(
    ground: Ground, harmony: Harmony, tones: frozenset[int] | None, walk: float = 1.0
) -> Tables:
    """The tables of the search; tones are the pitch classes for the bass, None for all usable."""
    player, setup = ground.player, ground.setup
    line = timeline(ground.tune, harmony)
    neck = player.body_fret + player.past_body
    spots = board(
        setup,
        tones=usable_tones(line, harmony.key) if tones is None else tones,
        below=max(note.midi for note in line.notes) + setup.transpose,
        neck=neck,
        hand=player.hand,
    )
    table = states(neck, player.hand, player.open_strings)
    return Tables(line, table, spots, transpose=setup.transpose, hand=player.hand, walk=walk)


def _drone(ground: Ground, steady: Harmony, melody: Melody) -> list[Below]:
    """Tonic or fifth on open strings under the melody as it is fingered."""
    tonic = keys.pitch_class(steady.key.tonic)
    tones = frozenset({tonic, (tonic + 7) % 12})
    if not open_strings_with(ground.setup, tones):
        return []
    tables = bass_tables(ground, steady, tones)
    return bass_of(
        best_path(tables, [np.array([index]) for index in melody.indices], "drone"), tables
    )


def _graded(
    ground: Ground,
    tables: Tables,
    melody: Melody,
    plucks: Sequence[Pluck],
    voices: Sequence[Voice],
    effort: Effort,
) -> tuple[Layer, ...]:
    """The layers with their numbers and remarks; bars above the limit fall back a layer."""
    written = ground.tune.written_bars()
    hand = ground.player.hand
    shifted = _shifted_bars(tables, melody)
    layers: list[Layer] = []
    below: tuple[TabBar, ...] = ()
    alone: tuple[BarGrade, ...] = ()
    for voice in voices:
        bars = list(
            tab_bars(
                tables.line,
                melody.stops,
                plucks,
                voice.below,
                bars=len(written),
                transpose=ground.setup.transpose,
            )
        )
        grades = _bar_grades(ground, bars, hand)
        fallen = []
        for index, grade in enumerate(grades):
            if alone and not within_limit(grade, alone[index], effort, hand):
                bars[index] = below[index]
                fallen.append(index)
        kept = _bar_grades(ground, bars, hand)
        alone, under, below = alone or kept, below, tuple(bars)
        layers.append(
            Layer(
                voice.name,
                below,
                voice.harmony.chords(),
                difficulty(kept, shifted),
                layer_remarks(voice.name, ground.tune, ground.setup, under, below, fallen),
            )
        )
    return tuple(layers)


def _ornamented(
    ground: Ground, tables: Tables, melody: Melody, layers: Sequence[Layer]
) -> tuple[Layer, ...]:
    """The layers with the tune's ornaments, measured anew."""
    hand = ground.player.hand
    dressed, left_out = add_ornaments(
        [layer.bars for layer in layers],
        ground.tune,
        ground.setup,
        tables.line,
        melody.stops,
        hand=hand,
        neck=int(tables.table.position.max()),
    )
    said = ornament_remarks(ground.tune, left_out)
    shifted = _shifted_bars(tables, melody)
    return tuple(
        replace(
            layer,
            bars=bars,
            difficulty=difficulty(_bar_grades(ground, bars, hand), shifted),
            remarks=layer.remarks + said,
        )
        for layer, bars in zip(layers, dressed, strict=True)
    )


def _bar_grades(ground: Ground, bars: Sequence[TabBar], hand: Hand) -> tuple[BarGrade, ...]:
    written = ground.tune.written_bars()
    return tuple(
        grade_bar(bar, one.length, ground.tune, ground.setup, hand)
        for bar, one in zip(bars, written, strict=True)
    )


def _shifted_bars(tables: Tables, melody: Melody) -> int:
    """How many bars see the hand change its position."""
    bars = set()
    for note in range(1, len(melody.stops)):
        if melody.stops[note].position != melody.stops[note - 1].position:
            bars.add(tables.line.notes[note].bar)
    return len(bars)
