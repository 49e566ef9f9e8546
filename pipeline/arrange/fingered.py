"""The tables of one tune on one setup, and the melody's fingering with room for a bass.

Task: build what the search adds up; find the best path that respects the user's pins.
In:   a Ground (tune, setup, player, pins), a Harmony.
Out:  Tables; a ChosenPath, or the pins that leave none.
References: see search.py and pinned.py.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liltwright.arrange.assemble import Ground
from liltwright.arrange.bass import board, usable_tones
from liltwright.arrange.harmony import Harmony
from liltwright.arrange.moments import Tables
from liltwright.arrange.pinned import Pinned, blamed, refusal
from liltwright.arrange.search import ChosenPath, best_path
from liltwright.arrange.timeline import MelodyNote, TuneEvents, timeline
from liltwright.errors import UsageError
from liltwright.guitar.fingering import problem_of, state_numbers
from liltwright.guitar.states import NEVER, states


def bass_tables(
    ground: Ground,
    harmony: Harmony,
    tones: frozenset[int] | None,
    walk: float = 1.0,
    more: frozenset[int] = frozenset(),
    line: TuneEvents | None = None,
) -> Tables:
    """The tables of the search.

    tones : pitch classes for the bass, None for all usable, with `more` beside them
    line : the timeline of tune and harmony, where it is known
    """
    player, setup = ground.player, ground.setup
    pinned = ground.pinned
    line = line or timeline(ground.tune, harmony, pinned.bass_places())
    neck = player.body_fret + player.past_body
    spots = board(
        setup,
        tones=usable_tones(line, harmony.key) | more if tones is None else tones,
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


def melody_path(ground: Ground, tables: Tables, harmony: Harmony) -> ChosenPath:
    """The best path that respects every pin. Raises UsageError that names those that forbid all."""
    choices = choices_of(ground, tables)
    for note, left in zip(tables.line.notes, choices, strict=True):
        if not len(left):
            raise _nowhere(ground, tables, note)
    path = best_path(tables, choices, "moving")
    if path.ticks < NEVER or not ground.pinned.placed:
        return path

    def impossible(pinned: Pinned) -> bool:
        other = replace(ground, pinned=pinned)
        trial = bass_tables(other, harmony, None, tables.walk)
        left = choices_of(other, trial)
        return not all(map(len, left)) or best_path(trial, left, "moving").ticks >= NEVER

    raise refusal(blamed(ground.pinned, impossible), ground.setup)


def choices_of(ground: Ground, tables: Tables) -> list[np.ndarray]:
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
