"""The joint best path: the optimum of its costs, found again by trying everything."""

from itertools import product

import numpy as np
import pytest

from liltwright.arrange.harmony import harmonise
from liltwright.arrange.layers import Ground, bass_tables
from liltwright.arrange.moments import MomentCosts, Tables
from liltwright.arrange.search import ChosenPath, best_path
from liltwright.guitar.fingering import problem_of, state_numbers
from liltwright.guitar.player import Player
from liltwright.guitar.setups import make_setup
from liltwright.guitar.states import NEVER
from liltwright.read.abc import read_abc

TINY = "X:1\nT:t\nR:jig\nM:6/8\nL:1/8\nK:D\nd3 A3|]\n"


def path_ticks(path: ChosenPath, moments: list[MomentCosts], tables: Tables, choices: list) -> int:
    """The cost of a path, added up step by step from the moments alone."""
    spots = tables.spots
    notes = [event.note for event in tables.line.events]
    places = [int(np.flatnonzero(choices[n] == path.stops[n])[0]) for n in notes]
    total = int(tables.start(choices[0])[places[0]])
    memory, walked, relation, ringing = len(spots.pitches), 0, 0, -1
    for k, moment in enumerate(moments):
        here, there = places[max(k - 1, 0)], places[k]
        if moment.move is not None:
            total += int(moment.move[here, there])
            total += int(moment.reused[there, ringing]) if ringing >= 0 else 0
        elif k and here != there:
            return NEVER
        way, rings = path.struck[k], path.rings[k]
        if way >= 0:
            total += int(moment.hop[spots.finger[way], here])
            total += int(moment.struck[there, way] + moment.leading[walked][memory, way])
            total += int(moment.parallel[relation, way])
            came = 1 if memory == len(spots.pitches) or memory <= int(spots.pitch[way]) else 2
            memory, walked = int(spots.pitch[way]), 0 if moment.main else came
            relation = int(moment.relation[way]) if moment.main else relation
        else:
            if rings >= 0 and (moment.opens_bar or rings != ringing):
                return NEVER
            total += moment.missed + (
                int(moment.held[there, rings]) if rings >= 0 else moment.quiet
            )
            if moment.main:
                walked, relation = 0, 0
                memory = memory if rings >= 0 else len(spots.pitches)
        ringing = rings
        if total >= NEVER:
            return NEVER
    return total


def small(abc: str, transpose: int = -12) -> tuple[Tables, list[np.ndarray]]:
    tune = read_abc(abc, name="tiny.abc")
    player = Player()
    setup = make_setup(tune, tuning="DADGAD", capo=0, transpose=transpose)
    tables = bass_tables(Ground(tune, setup, player), harmonise(tune, transpose=transpose), None)
    problem = problem_of(setup, player)
    return tables, [state_numbers(tables.table, note.midi, problem) for note in tables.line.notes]


def test_no_other_path_is_cheaper() -> None:
    """Every melody state and every bass strike or silence, ringing or cut, of two beats."""
    tables, choices = small(TINY)
    choices = [states[:4] for states in choices]
    moments = tables.moments(choices, "moving")
    slots = [bool(event.slot) for event in tables.line.events]
    found = best_path(tables, choices, "moving")
    assert path_ticks(found, moments, tables, choices) == found.ticks
    ways = range(len(tables.spots.midi))
    options = []
    for k, moment in enumerate(moments):
        struck = [w for w in ways if slots[k] and moment.struck[:, w].min() < NEVER]
        struck = sorted(struck, key=lambda w: int(moments[k].struck[:, w].min()))[:7]
        options.append([*struck, -1, -2])  # -1: nothing struck, the bass stops; -2: it rings on
    cheapest = NEVER
    for stops in product(*choices):
        for strikes in product(*options):
            rings: list[int] = []
            for way in strikes:
                rings.append(way if way >= 0 else (rings[-1] if way == -2 and rings else -1))
            struck_only = tuple(max(way, -1) for way in strikes)
            path = ChosenPath(tuple(int(s) for s in stops), struck_only, tuple(rings), 0)
            cheapest = min(cheapest, path_ticks(path, moments, tables, choices))
    assert found.ticks == cheapest


@pytest.mark.parametrize("policy", ["moving", "drone"])
def test_the_path_costs_what_the_search_says(policy: str) -> None:
    from tests.arrange.samples import JIG

    tables, choices = small(JIG)
    found = best_path(tables, choices, policy)  # type: ignore[arg-type]
    moments = tables.moments(choices, policy)  # type: ignore[arg-type]
    assert path_ticks(found, moments, tables, choices) == found.ticks


def test_a_melody_alone_costs_no_less_than_in_the_joint_path() -> None:
    """With the melody held fixed, the bass can only be as good or worse than chosen together."""
    from tests.arrange.samples import JIG

    tables, choices = small(JIG)
    joint = best_path(tables, choices, "moving")
    rng = np.random.default_rng(1)
    for _ in range(3):
        fixed = [states[rng.integers(len(states)) :][:1] for states in choices]
        assert best_path(tables, fixed, "moving").ticks >= joint.ticks
    kept = [np.array([index]) for index in joint.stops]
    assert best_path(tables, kept, "moving").ticks == joint.ticks
