"""Tune types of performances as on real recordings: hornpipes nearly even, slides nearly 3:2."""

from __future__ import annotations

import numpy as np
import pytest

from liltwright.notate.metre.type_features import MANNER, manner
from liltwright.notate.metre.types import retold
from liltwright.notate.metre.viterbi import MetrePath
from liltwright.notate.notate import notate
from tests.benchmark.collections import tunes
from tests.benchmark.performer import perform
from tests.benchmark.pretend import Habits, pretend_heard

PLAIN = {"pace": 1.0, "ending": "none", "ending_bars": 1, "trebles_are_notes": False}


def test_crotchets_become_dotted_crotchets() -> None:
    ticks = np.array([0, 12, 24, 32, 40, 48, 72, -1, 96])
    path = MetrePath("4/4", -1.0, ticks, np.zeros(9, bool))
    told = retold(path)
    assert told.meter == "6/8"
    assert told.ticks.tolist() == [0, 24, 36, 48, 60, 72, 108, -1, 144]


def test_manner_of_two_bars() -> None:
    """Eight beats: four pairs, one triplet, three crotchets as a cadence, all at 120."""
    ticks = np.array([0, 12, 24, 36, 48, 60, 72, 84, 96, 120, 144, 168, 176, 184])
    midi = np.full(len(ticks), 67)
    row = dict(zip(MANNER, manner(ticks, ticks / 48, midi, "4/4"), strict=True))
    assert row["pair"] == pytest.approx(4 / 8)
    assert row["one"] == pytest.approx(3 / 8)
    assert row["three"] == pytest.approx(1 / 8)
    assert row["cadences"] == pytest.approx(1 / 2)
    assert np.exp(row["pulse s"]) == pytest.approx(0.5)
    assert row["swing"] == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("kind", "bpm", "swing", "soft"),
    [("hornpipe", 72.0, (1.3, 1.5), 2.0), ("slide", 138.0, None, 1.5), ("reel", 100.0, None, 2.0)],
)
def test_types_as_played(
    kind: str, bpm: float, swing: tuple[float, float] | None, soft: float
) -> None:
    """Types as the collections of O'Neill 1903, Ryan 1883 and Aird 1782 name them (dev split);
    four of six are right today (wanted: six)."""
    mine = [item.tune for item in tunes("dev") if item.tune.tune_type == kind][:6]
    habits = Habits(rounds=2, swing=swing, soft=soft, **PLAIN)  # type: ignore[arg-type]
    found = []
    for seed, tune in enumerate(mine):
        played = perform(tune, "flute", seed=seed, rounds=2, beats_per_minute=bpm, habits=habits)
        found.append(notate(pretend_heard(played, habits)).tune_type)
    assert found.count(kind) >= len(mine) - 2, found


def test_an_ending_of_the_pretend_performer_is_outside_the_form() -> None:
    tune = next(item.tune for item in tunes("dev") if item.tune.tune_type == "jig")
    habits = Habits(1.0, 2, None, 2.0, "bars", 2, False)
    played = perform(tune, "flute", seed=3, rounds=2, beats_per_minute=112.0, habits=habits)
    bars = sum(len(bar.notes) > 0 for bar in played.truth.bars_heard)
    plain = perform(tune, "flute", seed=3, rounds=2, beats_per_minute=112.0)
    assert bars >= sum(len(bar.notes) > 0 for bar in plain.truth.bars_heard) + 1
    written = notate(pretend_heard(played, habits))
    assert any("ending of the performance" in remark for remark in written.remarks)
