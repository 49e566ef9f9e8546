"""The best path is the optimum of the stated costs, found by trying all where that is possible."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from liltwright.errors import UsageError
from liltwright.guitar.fingering import Problem, Search, finger_melody, finger_stops, problem_of
from liltwright.guitar.melody import MelodyLine, line_of
from liltwright.guitar.player import Player
from liltwright.guitar.plucking import FINGERS, home_cost, move_cost, pluck
from liltwright.guitar.setups import make_setup
from tests.guitar.checker import hand_faults, layer_faults
from tests.guitar.reference import cheapest_by_trying_all
from tests.guitar.small_tunes import REEL_IN_D, REEL_IN_G, tune_of

POSITIONS = Player().body_fret + Player().past_body


def line_from(pitches, seconds, gaps, beats) -> MelodyLine:
    none = tuple((0, k) for k in range(len(pitches)))
    return MelodyLine(
        tuple(pitches), tuple(seconds), tuple(gaps), tuple(beats), none, (1,) * len(pitches)
    )


@pytest.mark.parametrize("seed", range(40))
def test_the_optimum_equals_the_best_of_all_paths(seed: int) -> None:
    """Random tunings, pitches, times; small enough to try every path note by note."""
    dice = random.Random(seed)
    opened = sorted(dice.randrange(40, 66) for _ in range(6))
    highest = dice.randrange(3, 8)
    within = range(opened[0], opened[-1] + highest)
    playable = [p for p in within if any(0 <= p - o <= highest for o in opened)]
    count = dice.choice((2, 3, 3))
    pitches = [dice.choice(playable) for _ in range(count)]
    seconds = [dice.choice((0.1, 0.134, 0.27, 0.8)) for _ in range(count)]
    gaps = [dice.choice((0.0, s / 2)) for s in seconds]
    beats = [dice.random() < 0.4 for _ in range(count)]
    search = Search(line_from(pitches, seconds, gaps, beats), Player())
    found = search.paths([Problem(tuple(opened), highest)])
    expected = cheapest_by_trying_all(pitches, seconds, gaps, beats, opened, highest, POSITIONS)
    assert int(found.ticks[0]) == expected
    assert sum(search.ticks_along(found.index[0])) == expected


def test_setups_searched_side_by_side_do_not_disturb_each_other() -> None:
    line = line_of(REEL_IN_G)
    dice = random.Random(5)
    problems = [
        Problem(tuple(o + 12 for o in sorted((38 + dice.randrange(3), 43, 50, 55, 57, 62))), top)
        for top in (12, 14, 16)
        for _ in range(25)
    ]
    search = Search(line, Player())
    together = search.paths(problems)
    for row, problem in enumerate(problems[::7]):
        alone = search.paths([problem])
        assert alone.ticks[0] == together.ticks[row * 7]
        assert (alone.index[0] == together.index[row * 7]).all()


@settings(max_examples=25, deadline=None)
@given(
    up=st.integers(1, 5),
    capo=st.integers(0, 3),
    tuning=st.sampled_from(["standard", "DADGAD", "open G", "drop D", "CGDGCD"]),
    pitches=st.lists(st.integers(64, 79), min_size=3, max_size=12),
)
@example(up=5, capo=3, tuning="open G", pitches=[64, 65, 67])
def test_moving_tune_and_capo_together_changes_no_fret_and_no_cost(
    up: int, capo: int, tuning: str, pitches: list[int]
) -> None:
    """Capo arithmetic (trade facts, common practice): only the room up the neck changes.

    A path that reaches beyond the room that is left gives way to one that costs no less.
    """
    tune = tune_of([pitches])
    low = make_setup(tune, tuning=tuning, capo=capo, transpose=-12)
    high = make_setup(tune, tuning=tuning, capo=capo + up, transpose=-12 + up)
    stops, ticks = finger_stops(tune, low)
    moved, moved_ticks = finger_stops(tune, high)
    room = problem_of(high, Player()).highest
    assert max(stop.fret for stop in moved) <= room
    if max(stop.fret for stop in stops) <= room:
        assert (moved, moved_ticks) == (stops, ticks)
    else:
        assert moved_ticks >= ticks


@pytest.mark.parametrize("tune", [REEL_IN_D, REEL_IN_G])
@pytest.mark.parametrize(("tuning", "capo"), [("standard", 0), ("DADGAD", 0), ("open G", 2)])
def test_no_fault_found_by_an_independent_checker(tune, tuning: str, capo: int) -> None:
    setup = make_setup(tune, tuning=tuning, capo=capo)
    assert layer_faults(tune, setup, finger_melody(tune, setup)) == []
    assert hand_faults(finger_stops(tune, setup)[0], capo) == []


def test_the_checker_finds_faults() -> None:
    setup = make_setup(REEL_IN_D, tuning="DADGAD")
    layer = finger_melody(REEL_IN_D, setup)
    wrong = replace(layer.bars[0][0], fret=layer.bars[0][0].fret + 1)
    spoiled = replace(layer, bars=((wrong, *layer.bars[0][1:]), *layer.bars[1:]))
    assert layer_faults(REEL_IN_D, setup, spoiled)
    assert hand_faults([(2, 3, 1, 3), (2, 2, 2, 3)], 0)


def test_a_small_hand_gets_shifts_where_a_large_one_stretches() -> None:
    """Fret 1 to fret 5 measures 126 mm at the nut of a 648 mm scale (anchors: C)."""
    tune = tune_of([[77, 81, 77, 81]], beats_per_minute=60)
    setup = make_setup(tune, tuning="standard", transpose=-12)
    small = Player(comfort_mm=70, widest_mm=85)
    for number, stop in enumerate(finger_stops(tune, setup, player=small)[0]):
        assert stop.finger <= 3 or stop.position > 1, f"note {number} stretches too far"


def test_a_player_who_avoids_open_strings_gets_fewer() -> None:
    setup = make_setup(REEL_IN_D, tuning="DADGAD")
    many, _ = finger_stops(REEL_IN_D, setup, player=Player(open_strings="like"))
    few, _ = finger_stops(REEL_IN_D, setup, player=Player(open_strings="avoid"))
    assert sum(s.fret == 0 for s in few) < sum(s.fret == 0 for s in many)


def test_an_unplayable_note_is_named() -> None:
    tune = tune_of([[62, 64], [62, 50]])
    setup = make_setup(tune_of([[62, 64]]), tuning="standard", transpose=-12)
    with pytest.raises(UsageError, match="D2 in bar 2 lies below the lowest string"):
        finger_melody(tune, setup)


@pytest.mark.parametrize("seed", range(12))
def test_plucking_fingers_are_the_best_of_all(seed: int) -> None:
    from itertools import product

    dice = random.Random(seed)
    strings = [dice.randrange(1, 7) for _ in range(5)]
    seconds = [dice.choice((0.12, 0.3)) for _ in strings]

    def cost(fingers) -> float:
        total = sum(home_cost(f, s) for f, s in zip(fingers, strings, strict=True))
        for k in range(len(strings) - 1):
            total += move_cost(fingers[k], fingers[k + 1], strings[k], strings[k + 1], seconds[k])
        return total

    best = min(cost(fingers) for fingers in product(FINGERS, repeat=len(strings)))
    assert cost(pluck(strings, seconds)) == pytest.approx(best)


def test_fast_repeated_notes_alternate_fingers() -> None:
    fingers = pluck([2] * 8, [0.12] * 8)
    assert all(a != b for a, b in pairwise(fingers))
