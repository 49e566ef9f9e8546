"""The search for crooked bars against brute force on small pages, and its tables in closed form."""

from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liltwright.models import read_lines
from liltwright.notate.bars.beats import beats_of
from liltwright.notate.bars.crooked import (
    _along,
    _edge_change,
    _Page,
    _settled,
    _to_bar_lines,
    place_logs,
    straightened,
)
from liltwright.notate.metre.kind import Kind
from liltwright.notate.metre.network import Emissions
from liltwright.notate.metre.places import places
from liltwright.notate.metre.viterbi import COSTS, MetrePath, Told
from tests.notate.test_passes import line_of

IN_BAR = 3


def page_of(beats: int, seed: int) -> _Page:
    """Beats in a row, some of which also follow others, with made-up words on their places."""
    rng = np.random.default_rng(seed)
    one = np.append(np.arange(beats - 1), rng.integers(0, beats, 2))
    other = np.append(np.arange(1, beats), rng.integers(0, beats, 2))
    kept = one != other
    return _Page(
        rng.normal(0, 2, (beats, IN_BAR)), one[kept], other[kept], rng.uniform(0, 5, kept.sum())
    )


@pytest.mark.parametrize("seed", range(6))
def test_what_a_moved_stretch_costs_is_the_difference_of_two_pages(seed):
    page = page_of(7, seed)
    place = np.random.default_rng(seed + 100).integers(0, IN_BAR, 7)
    for by in range(1, IN_BAR):
        everywhere = (place + by) % IN_BAR
        change = _edge_change(page, place, everywhere, page.paid(place))
        for first in range(7):
            for end in range(first + 1, 8):
                moved = place.copy()
                moved[first:end] = everywhere[first:end]
                paid = page.paid(moved).sum() - page.paid(place).sum()
                assert change[first, end] == pytest.approx(paid)


@pytest.mark.parametrize("seed", range(6))
def test_moves_go_on_until_none_makes_the_page_likelier(seed):
    page = page_of(6, seed)
    start = np.zeros(6, int)
    found = _settled(page, start)
    assert page.score(found) <= page.score(start)
    for first, end, by in product(range(6), range(1, 7), range(1, IN_BAR)):
        moved = found.copy()
        moved[first:end] = (moved[first:end] + by) % IN_BAR
        assert page.score(moved) >= page.score(found) - 1e-5


@pytest.mark.parametrize("seed", range(4))
def test_the_way_along_the_beats_is_the_best_of_all(seed):
    page = page_of(6, seed)
    costs = read_lines(COSTS)
    price = costs["crooked"] - costs["crooked_jump"] * costs["least_jump"]

    def value(place: tuple[int, ...]) -> float:
        jumps = sum((a + 1) % IN_BAR != b for a, b in pairwise(place))
        return float(page.word[np.arange(6), list(place)].sum()) - price * jumps

    best = max(value(place) for place in product(range(IN_BAR), repeat=6))
    assert value(tuple(_along(page).tolist())) == pytest.approx(best)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.integers(0, 3), min_size=1, max_size=24))
def test_afterwards_bars_are_left_at_bar_lines_alone(places_of):
    before = np.array(places_of)
    after = _to_bar_lines(before, 4)
    apart = (after[:-1] + 1) % 4 != after[1:]
    assert not np.any(apart & (after[1:] != 0))
    assert after[0] == before[0]
    steady = np.all((before[:-1] + 1) % 4 == before[1:])
    assert not steady or np.array_equal(after, before)


def told_of(ticks: list[int], meter: str, seed: int = 0) -> Told:
    """Made-up words of the networks on notes at these ticks."""
    rng = np.random.default_rng(seed)
    n, table = len(ticks), places()

    def logs(size: int) -> np.ndarray:
        raw = rng.normal(0, 1, (n, size))
        return raw - np.logaddexp.reduce(raw, axis=1)[:, None]

    said = Emissions(logs(len(table.ticks)), logs(len(table.steps)), logs(16), logs(13), logs(5),
                     logs(2), logs(2))  # fmt: skip
    return Told.of(MetrePath(meter, 0.0, np.array(ticks), np.zeros(n, bool)), said)


def test_the_word_on_a_place_is_shared_among_the_beats_of_the_bar():
    """A note 6 ticks after a beat of 4/4 may be 6 ticks after any of the four."""
    told = told_of([6, 24, 102], "4/4")
    found = np.exp(place_logs(told, 24))
    np.testing.assert_allclose(found.sum(axis=1), 1.0, rtol=1e-6)
    table = places()
    which = table.meters.index("4/4")
    for row, inside in enumerate((6, 0, 6)):
        number = [table.number[which, inside + 24 * beat] for beat in range(4)]
        chance = np.exp(told.said.place[row, number])
        np.testing.assert_allclose(found[row], chance / chance.sum(), rtol=1e-6)


def test_notes_passed_over_are_no_part_of_what_is_told():
    told = told_of([0, 24, 48], "4/4")
    gappy = MetrePath("4/4", 0.0, np.array([0, -1, 48]), np.array([False, True, False]))
    kept = Told.of(gappy, told.said)
    assert kept.path.ticks.tolist() == [0, 48]
    assert not kept.path.jumps.any()
    np.testing.assert_array_equal(kept.said.step, told.said.step[[0, 2]])


TWICE = [62, 66, 69, 74, 73, 71, 69, 66, 67, 64, 62, 61, 62, 64, 66, 67]


def test_beats_that_come_again_are_one_beat_of_the_page():
    """Sixteen different crotchets, three times: every beat is the one that it repeats."""
    ticks = [24 * at for at in range(48)]
    beats = beats_of(line_of(ticks, TWICE * 3, Kind("reel", "4/4")), np.zeros(48, bool))
    assert (beats.unit, beats.in_bar) == (24, 4)
    assert beats.place.tolist() == [at % 4 for at in range(48)]
    assert beats.inside.tolist() == [0] * 48
    # at the very edges a stretch is too short to be known again
    inner = slice(20, 44)
    assert beats.root[inner].tolist() == [at % 16 for at in range(20, 44)]
    assert beats.passes(24) == (3, 3)


def test_a_straight_tune_stays_as_it_is():
    ticks = [24 * at for at in range(48)]
    line = line_of(ticks, TWICE * 3, Kind("reel", "4/4"))
    table, told = places(), told_of(ticks, "4/4")
    which = table.meters.index("4/4")
    sure = np.full((48, len(table.ticks)), -12.0)
    sure[np.arange(48), [table.number[which, tick % 96] for tick in ticks]] = 0.0
    said = Emissions(sure, told.said.step, told.said.since, told.said.kind, told.said.meter,
                     told.said.real, np.tile([-9.0, 0.0], (48, 1)))  # fmt: skip
    assert straightened(line, Told(told.path, said)).short == ()


def test_bars_that_end_early_in_every_pass_are_found():
    """A crotchet is left out at the end of the second of four bars, in each of four passes."""
    page = [at for at in range(16) if at != 7]
    midi = [TWICE[at] for at in page] * 4
    played = [24 * at for at in range(60)]
    where = [24 * at + 96 * 4 * which for which in range(4) for at in page]
    line = line_of(played, midi, Kind("reel", "4/4"))
    table, told = places(), told_of(played, "4/4")
    which = table.meters.index("4/4")
    sure = np.full((60, len(table.ticks)), -12.0)
    sure[np.arange(60), [table.number[which, tick % 96] for tick in where]] = 0.0
    said = Emissions(sure, told.said.step, told.said.since, told.said.kind, told.said.meter,
                     told.said.real, np.tile([-3.0, 0.0], (60, 1)))  # fmt: skip
    found = straightened(line, Told(told.path, said))
    assert (found.ticks - found.ticks[0]).tolist() == where
    assert [bar for bar, _ in found.short] == [1, 5, 9, 13]
    assert {ticks for _, ticks in found.short} == {72}
