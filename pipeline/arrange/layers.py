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

from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipeline import keys
from pipeline.arrange.bass import board, open_strings_with, usable_tones
from pipeline.arrange.harmony import Harmony, harmonise
from pipeline.arrange.moments import Tables
from pipeline.arrange.rounds import parse_plan
from pipeline.arrange.search import best_path
from pipeline.arrange.tab import Below, melody_plucks, tab_bars
from pipeline.arrange.timeline import timeline
from pipeline.arrange.voices import Melody, bass_of, melody_of, on_main_beats, with_gaps_filled
from pipeline.errors import UsageError
from pipeline.guitar.fingering import problem_of, state_numbers
from pipeline.guitar.player import Player
from pipeline.guitar.setups import what_does_not_fit
from pipeline.guitar.states import states
from pipeline.progress import Progress, silent
from pipeline.tune import Arrangement, Layer, LayerName, Setup, Tune

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
    problem = problem_of(setup, player)
    tables = _tables(tune, setup, player, harmony)
    table = tables.table
    choices = [state_numbers(table, note.midi, problem) for note in tables.line.notes]
    progress("fingering melody and bass together", 0.2)
    path = best_path(tables, choices, "moving")
    progress("building the layers", 0.7)
    melody, moving = melody_of(path, tables), bass_of(path, tables)
    steady = harmonise(tune, transpose=setup.transpose, only=DRONE_ROOTS)
    drone = _drone(tune, setup, player, steady, melody)
    plain = with_gaps_filled(on_main_beats(moving, tables, melody), drone, tables, melody)
    moving = with_gaps_filled(moving, drone, tables, melody)
    rows: tuple[tuple[LayerName, list[Below], Harmony], ...] = (
        ("melody", [], harmony),
        ("drone", drone, steady),
        ("plain-bass", plain, harmony),
        ("moving-bass", moving, harmony),
    )
    busy = {note.event for _, below, _ in rows for note in below}
    plucks = melody_plucks(tables.line, melody.stops, busy)
    layers = tuple(
        Layer(
            name,
            tab_bars(
                tables.line,
                melody.stops,
                plucks,
                below,
                bars=len(tune.written_bars()),
                transpose=setup.transpose,
            ),
            chords.chords(),
        )
        for name, below, chords in rows
    )
    return Arrangement(setup, tune.meter, tune.beats_per_minute, layers, rounds, title=tune.title)


def _tables(tune: Tune, setup: Setup, player: Player, harmony: Harmony) -> Tables:
    line = timeline(tune, harmony)
    spots = board(
        setup,
        tones=usable_tones(line, harmony.key),
        below=max(note.midi for note in line.notes) + setup.transpose,
        neck=player.body_fret + player.past_body,
        hand=player.hand,
    )
    table = states(player.body_fret + player.past_body, player.hand, player.open_strings)
    return Tables(line, table, spots, transpose=setup.transpose, hand=player.hand)


def _drone(
    tune: Tune, setup: Setup, player: Player, steady: Harmony, melody: Melody
) -> list[Below]:
    """Tonic or fifth on open strings under the melody as it is fingered."""
    tonic = keys.pitch_class(steady.key.tonic)
    tones = frozenset({tonic, (tonic + 7) % 12})
    if not open_strings_with(setup, tones):
        return []
    line = timeline(tune, steady)
    spots = board(
        setup,
        tones=tones,
        below=max(note.midi for note in line.notes) + setup.transpose,
        neck=player.body_fret + player.past_body,
        hand=player.hand,
    )
    table = states(player.body_fret + player.past_body, player.hand, player.open_strings)
    tables = Tables(line, table, spots, transpose=setup.transpose, hand=player.hand)
    path = best_path(tables, [np.array([index]) for index in melody.indices], "drone")
    return bass_of(path, tables)
