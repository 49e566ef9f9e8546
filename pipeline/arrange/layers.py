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

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from liltwright import keys
from liltwright.arrange.assemble import Ground, Voice, Voices, graded, ornamented
from liltwright.arrange.bass import board, open_strings_with, usable_tones
from liltwright.arrange.grades import wish_to_walk
from liltwright.arrange.harmony import Harmony, harmonise
from liltwright.arrange.inner import inner_notes
from liltwright.arrange.metre import pulse_of
from liltwright.arrange.moments import Tables
from liltwright.arrange.pinned import Pinned, blamed, pinned_of, refusal
from liltwright.arrange.rounds import parse_plan
from liltwright.arrange.search import Path, best_path
from liltwright.arrange.suggested import with_suggestions
from liltwright.arrange.tab import Below, melody_plucks
from liltwright.arrange.timeline import MelodyNote, timeline
from liltwright.arrange.voices import Melody, bass_of, melody_of, on_main_beats, with_gaps_filled
from liltwright.arrange.walking import walking_bass
from liltwright.errors import UsageError
from liltwright.guitar.fingering import problem_of, state_numbers
from liltwright.guitar.player import Player
from liltwright.guitar.setups import what_does_not_fit
from liltwright.guitar.states import NEVER, states
from liltwright.guitar.tension import cautions
from liltwright.progress import Progress, silent
from liltwright.tab import Arrangement, Setup
from liltwright.tune import Tune

HAND_CAUTION = (
    "Warm up, start slowly and take breaks; stop when a hand, wrist or arm hurts. "
    "Pain that stays is for a doctor or a performing-arts clinic."
)
Effort = Literal["easier", "as is", "harder"]
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
    fault = what_does_not_fit(tune, setup.strings_midi, setup.capo, setup.transpose, player)
    if fault is not None:
        raise UsageError(f"{setup.tuning}, capo {setup.capo}: {fault}")
    progress("finding chords", 0.0)
    pinned = pinned_of(settings.pins, tune, setup, settings.earlier)
    ground = Ground(tune, setup, player, pinned)
    harmony = harmonise(tune, transpose=setup.transpose, pinned=pinned.chords)
    tables = bass_tables(ground, harmony, None, wish_to_walk(settings.effort))
    progress("fingering melody and bass together", 0.2)
    path = _path(ground, tables, harmony)
    progress("building the layers", 0.7)
    melody = melody_of(path, tables)
    moving = walking_bass(tables, melody, wish_to_walk(settings.effort))
    voices = _voices(ground, tables, harmony, melody, moving)
    layers = graded(ground, tables, melody, voices, settings.effort)
    if settings.ornaments or settings.suggest:
        dressed, suggested = with_suggestions(tune) if settings.suggest else (tune, 0)
        ground = replace(ground, tune=dressed)
        layers = ornamented(ground, tables, melody, layers, settings.effort, suggested)
    said = cautions(setup.strings_midi, scale_mm=player.scale_mm, string_set=player.string_set)
    return Arrangement(
        setup,
        tune.meter,
        tune.beats_per_minute,
        layers,
        rounds,
        title=tune.title,
        cautions=(*said, HAND_CAUTION),
        pins=tuple(one.pin.text for one in pinned.placed),
    )


def _path(ground: Ground, tables: Tables, harmony: Harmony) -> Path:
    """The best path that respects every pin. Raises UsageError that names those that forbid all."""
    choices = _choices(ground, tables)
    for note, left in zip(tables.line.notes, choices, strict=True):
        if not len(left):
            raise _nowhere(ground, tables, note)
    path = best_path(tables, choices, "moving")
    if path.ticks < NEVER or not ground.pinned.placed:
        return path

    def impossible(pinned: Pinned) -> bool:
        other = replace(ground, pinned=pinned)
        trial = bass_tables(other, harmony, None, tables.walk)
        left = _choices(other, trial)
        return not all(map(len, left)) or best_path(trial, left, "moving").ticks >= NEVER

    raise refusal(blamed(ground.pinned, impossible), ground.setup)


def _choices(ground: Ground, tables: Tables) -> list[np.ndarray]:
    """The states that each melody note may take under the pins."""
    problem = problem_of(ground.setup, ground.player)
    return [
        ground.pinned.states(
            tables.table, note.bar, note.start, state_numbers(tables.table, note.midi, problem)
        )
        for note in tables.line.notes
    ]


def _nowhere(ground: Ground, tables: Tables, note: MelodyNote) -> UsageError:
    """What to say of a melody note for which the pins leave no place."""
    table, setup = tables.table, ground.setup
    found = state_numbers(table, note.midi, problem_of(setup, ground.player))

    def impossible(pinned: Pinned) -> bool:
        return not len(pinned.states(table, note.bar, note.start, found))

    places = sorted({(int(table.string[i]), int(table.fret[i])) for i in found})
    lies = " or ".join(f"string {string} fret {fret}" for string, fret in places)
    return refusal(blamed(ground.pinned, impossible), setup, f"that note lies on {lies}")


def _voices(
    ground: Ground, tables: Tables, harmony: Harmony, melody: Melody, moving: Sequence[Below]
) -> Voices:
    """What every layer adds under the melody, from the moving bass that the search chose."""
    drone = _drone(ground, harmony, melody)
    plain = with_gaps_filled(on_main_beats(moving, tables, melody), drone, tables)
    moving = with_gaps_filled(moving, drone, tables)
    # Where no bass can tell the chord, the drone is silent too: no layer is easier than the last.
    told = {note.event for note in plain}
    drone = [note for note in drone if note.event in told]
    busy = {note.event for voice in (drone, moving) for note in voice}
    plucks = melody_plucks(tables.line, melody.stops, busy)
    inner = inner_notes(tables, ground.setup, melody, plucks, moving, pulse_of(ground.tune))
    return Voices(
        plucks,
        (
            Voice("melody", (), harmony),
            Voice("drone", tuple(drone), harmony),
            Voice("plain-bass", tuple(plain), harmony),
            Voice("moving-bass", tuple(moving), harmony),
            Voice("fuller", (*moving, *inner), harmony),
        ),
    )


def bass_tables(
    ground: Ground, harmony: Harmony, tones: frozenset[int] | None, walk: float = 1.0
) -> Tables:
    """The tables of the search; tones are the pitch classes for the bass, None for all usable."""
    player, setup = ground.player, ground.setup
    pinned = ground.pinned
    line = timeline(ground.tune, harmony, pinned.bass_places())
    neck = player.body_fret + player.past_body
    spots = board(
        setup,
        tones=usable_tones(line, harmony.key) if tones is None else tones,
        below=max(note.midi for note in line.notes) + setup.transpose,
        neck=neck,
        hand=player.hand,
        also=pinned.fretted_bass() if tones is None else (),
    )
    table = states(neck, player.hand, player.open_strings)
    return Tables(
        line,
        table,
        spots,
        transpose=setup.transpose,
        hand=player.hand,
        walk=walk,
        pinned=pinned,
    )


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
