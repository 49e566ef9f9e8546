"""What a reading looks like, the trees that judge it, and the choice between metres."""

from __future__ import annotations

import numpy as np
import pytest

from liltwright import models
from liltwright.notate.metre.choice import chosen
from liltwright.notate.metre.reading_features import LOOKS, looks
from liltwright.notate.metre.viterbi import MetrePath
from liltwright.notate.plain import PlainNotes
from liltwright.trees import Trees, odds

TICK_S = 0.02


def reading(meter: str, ticks: np.ndarray, score: float = 0.0) -> MetrePath:
    return MetrePath(meter, score, ticks, np.zeros(len(ticks), bool))


def look(meter: str, ticks: np.ndarray, midi: np.ndarray) -> dict[str, float]:
    row = looks(reading(meter, ticks), TICK_S * ticks, midi)
    return dict(zip(LOOKS, row.tolist(), strict=True))


QUAVERS = 12 * np.arange(128)
TUNE = 62 + np.tile(np.arange(64) * 7 % 11, 2)
"""Eight bars of 4/4, twice."""


def test_quavers_in_common_time() -> None:
    found = look("4/4", QUAVERS, TUNE)
    assert found["bar s"] == pytest.approx(np.log(96 * TICK_S))
    assert found["beat s"] == pytest.approx(np.log(24 * TICK_S))
    assert found["notes in a beat"] == pytest.approx(2.0)
    assert (found["value 12"], found["value 24"], found["longer"]) == (1.0, 0.0, 0.0)
    assert [found[f"struck {beat}"] for beat in range(4)] == [1.0] * 4
    assert found["timing"] == pytest.approx(0.0, abs=1e-9)
    assert found["meter 0"] == 1.0
    assert found["meter 1"] == 0.0


def test_a_part_of_eight_bars_comes_back_after_sixteen_of_half_the_length() -> None:
    whole, half = look("4/4", QUAVERS, TUNE), look("2/4", QUAVERS, TUNE)
    assert (whole["back 8"], whole["back 4"]) == (1.0, 0.0)
    assert (half["back 16"], half["back 8"]) == (1.0, 0.0)
    assert half["bars"] == pytest.approx(np.log(32))
    assert np.isnan(half["struck 2"])


def test_a_long_note_at_the_end_of_each_fourth_bar_is_seen() -> None:
    ticks = np.concatenate([96 * bar + np.arange(0, 96 if bar % 4 < 3 else 60, 12)
                            for bar in range(16)])  # fmt: skip
    midi = 62 + np.arange(len(ticks)) % 7
    found = look("4/4", ticks, midi)
    longest = np.array([0.5, 0.5, 0.5, 2.0] * 3 + [0.5, 0.5, 0.5, 4.0])
    assert found["end 4"] == pytest.approx(longest[3::4].mean() - longest.mean())


def test_trees_go_left_up_to_the_threshold_and_where_told_with_nothing_known() -> None:
    tree = Trees(
        np.array([[1, 0, 0]]), np.array([[0.5, 0.0, 0.0]]), np.array([[1, -1, -1]]),
        np.array([[2, -1, -1]]), np.array([[False, False, False]]), np.array([[0.0, -2.0, 3.0]]),
        np.array([0.25]),
    )  # fmt: skip
    rows = np.array([[9.0, 0.4], [9.0, 0.5], [9.0, 0.6], [9.0, np.nan]])
    assert odds(tree, rows).tolist() == [-1.75, -1.75, 3.25, 3.25]


def test_the_shipped_trees_hold_together() -> None:
    trees = Trees(**models.read_arrays("readings/trees.npz"))
    inner = trees.left >= 0
    assert trees.feature.max() < len(LOOKS)
    number = np.broadcast_to(np.arange(inner.shape[1]), inner.shape)
    assert np.all(trees.left[inner] > number[inner])
    assert np.all(trees.right[inner] > number[inner])
    assert np.all((trees.right >= 0) == inner)


def notes_at(tick_s: float) -> PlainNotes:
    onset = tick_s * QUAVERS
    return PlainNotes(onset, onset + 11 * tick_s, TUNE, np.ones(len(onset)), (None,) * len(onset))


def test_the_choice_is_a_distribution_and_follows_clear_scores() -> None:
    """A path that is better by hundreds wins whatever the page looks like."""
    paths = [reading("4/4", QUAVERS, -400.0), reading("6/8", QUAVERS, 0.0)]
    best, chance = chosen(paths, notes_at(0.013))
    assert [path.meter for path in best] == ["6/8", "4/4"]
    assert chance.sum() == pytest.approx(1.0)
    assert chance[0] > 0.99


def test_slow_quavers_look_more_like_two_four_than_fast_ones() -> None:
    """Reels run at 0.13 to 0.17 s a quaver, polkas at 0.21 to 0.25: models/dances."""
    paths = [reading("4/4", QUAVERS), reading("2/4", QUAVERS)]

    def chance(quaver_s: float) -> float:
        best, shares = chosen(paths, notes_at(quaver_s / 12))
        return {path.meter: share for path, share in zip(best, shares, strict=True)}["2/4"]

    assert chance(0.23) > chance(0.145)


def test_one_path_needs_no_choice() -> None:
    best, chance = chosen([reading("4/4", QUAVERS)], notes_at(0.013))
    assert best[0].meter == "4/4"
    assert chance.tolist() == [1.0]
