"""Bare parallels of tune and bass, against music21's own judgement of two voices."""

from __future__ import annotations

import itertools

import numpy as np
from music21 import note, voiceLeading

from liltwright.arrange.leading import ON, BassPlace, rocking, step_costs
from liltwright.arrange.timeline import Event

BASS = np.array([38, 40, 41, 43, 45, 47, 48, 50])
TUNE = (62, 64, 66, 67, 69, 71)


def place(above: int) -> BassPlace:
    """A main beat with a note of the tune over it."""
    nothing = np.zeros(len(BASS))
    event = Event(0, 0, 0, 0.5, 0, True, True, "main", None, True, False)  # type: ignore[arg-type]
    return BassPlace(0, event, nothing, nothing, 0.0, above, 0, False)


def test_parallels_cost_where_music21_finds_them():
    every = np.arange(len(BASS))
    found = 0
    for first, second in itertools.product(TUNE, repeat=2):
        usual = step_costs(BASS, every, place(second), None, None)[ON, 0]
        told = step_costs(BASS, every, place(second), None, place(first))[ON, 0]
        for one, two in itertools.product(range(len(BASS)), repeat=2):
            quartet = voiceLeading.VoiceLeadingQuartet(
                note.Note(first),
                note.Note(second),
                note.Note(int(BASS[one])),
                note.Note(int(BASS[two])),
            )
            bad = first != second and (quartet.parallelFifth() or quartet.parallelOctave())
            assert (told[one, two] > usual[one, two]) == bad, (first, second, BASS[one], BASS[two])
            found += bad
    assert found > 20


def test_rocking_is_a_b_a_b_and_nothing_else():
    n = 4
    cost = rocking(n)
    for a, b, c, d in itertools.product(range(n + 1), range(n + 1), range(n + 1), range(n)):
        again = a == c and b == d and a != b and a < n
        assert (cost[a, b, c, d] > 0) == (again and b < n)
