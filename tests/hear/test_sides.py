"""What speaks for another tune, on rows of notes that are known."""

import numpy as np

from liltwright.hear.changes import likeness
from liltwright.hear.sides import LOOKS, looks

STEP_S = 0.25


def seen(midi):
    midi = np.array(midi)
    onset_s = np.arange(len(midi)) * STEP_S
    return looks(onset_s, onset_s + 0.9 * STEP_S, midi, likeness(midi % 12, onset_s))


def column(rows, name):
    return rows[:, LOOKS.index(name)]


def test_nothing_comes_back_across_a_change():
    rng = np.random.default_rng(4)
    first = rng.choice([62, 64, 66, 67, 69, 71, 73], 48).tolist() * 2
    second = rng.choice([63, 65, 67, 68, 70, 72, 74], 48).tolist() * 2
    rows = seen([*first, *second])
    assert rows.shape == (193, len(LOOKS))
    assert max(column(rows, "back near")[96], column(rows, "ahead near")[96]) < 0.05
    assert column(rows, "back near")[48] > 0.8
    assert column(rows, "key near").argmax() in range(90, 103)
    # each side holds one part of its own and comes back to it
    assert abs(column(rows, "own left")[96] - 48 * 0.9 * STEP_S) < 2.0
    assert abs(column(rows, "own right")[96] - 48 * 0.9 * STEP_S) < 2.0
    assert column(rows, "returns left")[96] > 0.9
    assert column(rows, "returns right")[96] > 0.9
    assert column(rows, "shorter side")[96] > column(rows, "shorter side")[20]


def test_another_pace_is_seen_where_it_begins():
    rng = np.random.default_rng(5)
    midi = rng.choice([62, 64, 66, 67], 120)
    onset_s = np.concatenate([np.arange(60) * 0.15, 9.0 + np.arange(60) * 0.3])
    none = np.zeros((120, 120), dtype=bool)
    rows = looks(onset_s, onset_s + 0.1, midi, none)
    assert abs(int(column(rows, "pace near").argmax()) - 60) <= 3
