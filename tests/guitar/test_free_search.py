"""Free search over all tunings: bounds that no setup exceeds, nothing lost by pruning."""

from __future__ import annotations

import numpy as np
import pytest

from liltwright.guitar import free
from liltwright.guitar.bounds import Bounds
from liltwright.guitar.candidates import Question, RankSettings, fitting, question_of
from liltwright.guitar.exact import exact_parts
from liltwright.guitar.player import Player
from liltwright.guitar.rank import rank_setups
from liltwright.guitar.score import Field
from liltwright.guitar.tunings import standard
from liltwright.progress import silent
from tests.guitar.small_tunes import REEL_IN_D, REEL_IN_G

PLAYER = Player()


def some_tunings(seed: int, count: int) -> np.ndarray:
    every = free.all_tunings(PLAYER)
    return every[np.sort(np.random.default_rng(seed).choice(len(every), count, replace=False))]


def field_of(tunings: np.ndarray, capo: int, transpose: int) -> Field:
    n = len(tunings)
    return Field(tunings, np.full(n, capo), np.full(n, transpose), np.full(n, 0.5))


def exact_scores(asked: Question, field: Field) -> np.ndarray:
    return 100.0 * exact_parts(asked.facts, field, PLAYER, asked.search) @ asked.weight


def test_all_tunings_lie_within_the_limits() -> None:
    every = free.all_tunings(PLAYER)
    change = every - np.array(standard())
    assert len(every) > 50_000
    assert change.min() == -4
    assert change.max() == 2
    assert (np.diff(every, axis=1) >= 0).all()
    assert len(free.all_tunings(PLAYER, force=True)) > len(every)


@pytest.mark.parametrize(("capo", "transpose"), [(0, -12), (5, -12), (0, -24), (7, 0)])
@pytest.mark.parametrize("tune", [REEL_IN_D, REEL_IN_G])
def test_no_setup_scores_above_its_bounds(tune, capo: int, transpose: int) -> None:
    asked = question_of(tune, PLAYER, RankSettings())
    field = field_of(some_tunings(capo, 400), capo, transpose)
    field = field.take(fitting(asked.facts.line, field, PLAYER))
    assert len(field) > 0
    bounds = Bounds(asked)
    upper = bounds.upper(field, np.array(standard()))
    closer = bounds.closer(field, upper)
    exact = exact_scores(asked, field)
    assert (closer <= upper + 1e-9).all()
    assert (exact <= closer + 1e-9).all()


@pytest.mark.parametrize("seed", range(3))
def test_pruning_keeps_the_best_of_all(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every setup of a random set of tunings scored exactly, against the pruned search."""
    tunings = some_tunings(seed, 60)
    monkeypatch.setattr(free, "all_tunings", lambda player, force=False: tunings)
    monkeypatch.setattr(free, "CHUNK", 64)
    asked = question_of(REEL_IN_G, PLAYER, RankSettings(free=True))
    scores = []
    for capo in range(10):
        for transpose in (-12, -24, 0):
            field = field_of(tunings, capo, transpose)
            field = field.take(fitting(asked.facts.line, field, PLAYER))
            if len(field):
                scores.append(exact_scores(asked, field))
    expected = np.sort(np.concatenate(scores))[::-1][: free.KEPT]
    best, searched = free.search_freely(asked, known=0.0, progress=silent)
    found = np.sort(exact_scores(asked, best))[::-1]
    assert searched == 60 * 30
    assert found == pytest.approx(expected)


def test_a_free_search_is_at_least_as_good_and_names_what_to_retune(monkeypatch) -> None:
    tunings = some_tunings(9, 3000)
    monkeypatch.setattr(free, "all_tunings", lambda player, force=False: tunings)
    said: list[float] = []
    settings = RankSettings(free=True, capos=(0, 2, 5))
    ranking = rank_setups(
        REEL_IN_G, settings=settings, progress=lambda what, fraction: said.append(fraction)
    )
    assert said == sorted(said)
    assert said[-1] == 1.0
    assert ranking.searched == 3000 * 3 * 3
    assert len(ranking.setups) == free.KEPT
    assert len({(s.strings_midi, s.capo, s.transpose) for s in ranking.setups}) == free.KEPT
    unnamed = [s for s in ranking.setups[:10] if any("differ" in r for r in s.reasons)]
    for setup in unnamed:
        assert any("from" in reason for reason in setup.reasons)
