"""The vote of the passes against its closed form, and bars folded from a page played through."""

from __future__ import annotations

import itertools
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liltwright.notate.form.fold import difference, vote
from liltwright.notate.form.similarity import likeness
from liltwright.tune import ScoreNote

EIGHTH = Fraction(1, 8)
BAR = Fraction(6, 8)


def bar(*midi: int | None) -> tuple[ScoreNote, ...]:
    """Quavers; None is a quaver more of the note before."""
    notes: list[ScoreNote] = []
    for at, pitch in enumerate(midi):
        if pitch is None:
            last = notes.pop()
            notes.append(ScoreNote(last.midi, last.start, last.length + EIGHTH))
        else:
            notes.append(ScoreNote(pitch, at * EIGHTH, EIGHTH))
    return tuple(notes)


quavers = st.lists(st.sampled_from([62, 64, 66]), min_size=6, max_size=6).map(lambda m: bar(*m))


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(quavers, st.sampled_from([0.3, 0.55, 0.8, 1.05])), min_size=1, max_size=5)
)
def test_passes_of_one_rhythm_vote_place_by_place(versions):
    """Where all passes have the same onsets the vote is the heaviest pitch of each place."""
    voted = vote(versions)
    for place, note in enumerate(voted):
        weight = {
            midi: sum(w for notes, w in versions if notes[place].midi == midi)
            for midi in (62, 64, 66)
        }
        assert weight[note.midi] >= max(weight.values()) - 1e-9
        assert (note.start, note.length) == (place * EIGHTH, EIGHTH)
    assert len(voted) == 6


def test_the_first_pass_breaks_a_tie():
    one, other = bar(62, 64, 66, 62, 64, 66), bar(62, 64, 67, 62, 64, 66)
    assert vote([(one, 1.0), (other, 1.0)]) == one
    assert vote([(other, 1.0), (one, 1.0)]) == other


def test_an_onset_stays_when_half_of_the_weight_has_it():
    split, whole = bar(62, 64, 66, 62, 64, 66), bar(62, None, 66, 62, 64, 66)
    assert vote([(split, 1.0), (whole, 0.9), (whole, 0.05)]) == split
    assert vote([(split, 1.0), (whole, 1.1)]) == whole


def test_a_rest_stays_when_most_passes_rest():
    resting = (*bar(62, 64)[:1], *(n for n in bar(62, 64, 66, 62, 64, 66) if n.start >= 2 * EIGHTH))
    through = bar(62, None, 66, 62, 64, 66)
    assert vote([(resting, 1.0), (resting, 1.0), (through, 1.0)]) == resting
    assert vote([(resting, 1.0), (through, 1.0), (through, 1.0)]) == through
    assert vote([]) == ()


def test_the_difference_of_two_bars_is_the_share_of_time_that_sounds_otherwise():
    plain = bar(62, 64, 66, 62, 64, 66)
    assert difference(plain, plain, BAR) == 0
    assert difference(plain, bar(62, 64, 66, 62, 64, 67), BAR) == pytest.approx(1 / 6)
    assert difference(plain, bar(74, 76, 78, 74, 76, 78), BAR) == 1


def test_likeness_is_the_share_of_equal_slots():
    grid = np.random.default_rng(5).integers(60, 63, (7, 12))
    found = likeness(grid)
    for i, j in itertools.product(range(7), repeat=2):
        assert found[i, j] == sum(grid[i, k] == grid[j, k] for k in range(12)) / 12
