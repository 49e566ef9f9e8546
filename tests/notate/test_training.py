"""The performances the metre network is trained on: their truth holds together. No PyTorch."""

from __future__ import annotations

import numpy as np
import pytest

from liltwright.models.metre.features import IGNORE, example
from liltwright.models.metre.page import Page
from liltwright.models.metre.recombine import recombined
from liltwright.models.metre.rounds import AT, LONG, PLAYED, _crooked, _lengthened
from liltwright.notate.metre.places import places
from tests.benchmark.timeline import whole_round
from tests.notate.playing import JIG, REEL, SLIP_JIG, tune_of


def page_of(abc: str) -> Page:
    """A written tune as models/metre/pages.py packs it."""
    tune = tune_of(abc)
    laid = whole_round(tune)
    assert laid is not None
    notes = np.array([
        (int(n.position * 96), int(n.length * 96), n.midi, n.treble, 64 * n.written + n.index)
        for n in laid[0]
    ])  # fmt: skip
    bar = np.arange(laid[1])
    return Page(tune.tune_type, tune.meter, notes, bar // 16, bar % 8, 7, False)


@pytest.mark.parametrize("abc", [JIG, REEL, SLIP_JIG])
@pytest.mark.parametrize("seed", range(12))
def test_places_and_steps_of_a_random_performance_agree(abc: str, seed: int) -> None:
    """From every note that is on the page the true step leads to the place of the next one."""
    page = page_of(abc)
    made = example(page, [page], np.random.default_rng(seed))
    table = places()
    real = np.flatnonzero(made["real"] > 0)
    place, step = made["place"][real], made["step"][real]
    known = (step[:-1] != IGNORE) & (place[:-1] != IGNORE) & (place[1:] != IGNORE)
    assert known.mean() > 0.5
    begin, step, end = place[:-1][known], step[:-1][known], place[1:][known]
    arrived = (table.ticks[begin] + table.steps[step]) % page.bar
    assert np.mean(arrived == table.ticks[end]) > 0.96  # a few steps are between the classes
    assert np.all(np.diff(made["clock"]) > 0)
    assert np.all(table.meter[place[place != IGNORE]] == table.meters.index(page.meter))


def test_the_same_seed_gives_the_same_performance() -> None:
    page = page_of(REEL)
    one, other = (example(page, [page], np.random.default_rng(5)) for _ in range(2))
    assert one.keys() == other.keys()
    assert all(np.array_equal(one[name], other[name]) for name in one)


@pytest.mark.parametrize("change", [_crooked, _lengthened])
@pytest.mark.parametrize("seed", range(10))
def test_only_in_one_place_of_a_crooked_round_does_the_page_run_apart_from_the_music(
    change, seed: int
) -> None:
    page = page_of(REEL)
    rows = np.zeros((len(page.notes), 6), np.int64)
    rows[:, [AT, LONG]] = page.notes[:, :2]
    rows[:, PLAYED] = rows[:, AT]
    odd = change(rows, page, np.random.default_rng(seed))
    apart = np.diff(odd[:, AT]) - np.diff(odd[:, PLAYED])
    assert np.count_nonzero(apart) <= 1
    assert np.all(np.diff(odd[:, AT]) > 0)
    assert np.all(np.diff(odd[:, PLAYED]) > 0)
    assert 0 <= apart.sum() < page.bar


@pytest.mark.parametrize("seed", range(6))
def test_a_tune_of_another_metre_lends_its_pitches_and_leaves_the_rhythm(seed: int) -> None:
    """What stands in the phrases of a reel are degrees of the jig, at the times of the reel."""
    page, other = page_of(REEL), page_of(JIG)
    made = recombined(page, [page], np.random.default_rng(seed), [other])
    own = recombined(page, [page], np.random.default_rng(seed))
    assert set(made.notes[:, 0] % page.bar) <= set(page.notes[:, 0] % page.bar)
    assert np.array_equal(made.part, page.part)
    assert made.bar == page.bar
    lent = set((other.notes[:, 2] + page.tonic - other.tonic) % 12)
    old = set(page.notes[:, 2] % 12)
    assert set(made.notes[:, 2] % 12) <= lent | old
    assert not np.array_equal(made.notes[:, 2], own.notes[:, 2])
