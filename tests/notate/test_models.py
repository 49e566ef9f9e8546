"""Form, against closed forms."""

from itertools import product

import numpy as np
import pytest

from liltwright.notate.form.segments import find_form


def likeness_of(letters: str, bars: int = 8) -> np.ndarray:
    """Bars of equal letters and places are alike, others hardly."""
    names = [(letter, bar) for letter, bar in product(letters, range(bars))]
    return np.array([[1.0 if a == b else 0.2 for a in names] for b in names])


@pytest.mark.parametrize("letters", ["AABBAABB", "AABB", "ABAB", "AABBCC", "AABBAABBAABB"])
def test_parts_and_rounds_are_found_by_their_repetition(letters: str) -> None:
    form = find_form(likeness_of(letters), np.zeros(8 * len(letters)))
    found = "".join("ABCDEF"[segment.label] for segment in form.segments)
    assert found == letters
    assert all(segment.bars == 8 for segment in form.segments)


def test_a_start_inside_a_part_keeps_the_parts_in_place() -> None:
    form = find_form(likeness_of("AABBAABB")[3:, 3:], np.zeros(61))
    assert [s.first for s in form.segments] == [0, 5, 13, 21, 29, 37, 45, 53]
    assert (form.segments[0].skipped, form.segments[0].bars) == (3, 5)


@pytest.mark.parametrize("begins", [[0, 16], [0, 8, 16, 24]])
def test_parts_that_never_repeat_begin_where_the_network_hears_them_begin(begins) -> None:
    """Thirty-two different bars played twice."""
    name = np.arange(64) % 32
    alike = np.where(name[:, None] == name[None], 1.0, 0.2)
    form = find_form(alike, np.where(np.isin(name, begins), 4.0, -4.0))
    assert [s.first for s in form.segments] == [*begins, *(32 + at for at in begins)]


def test_a_part_that_comes_back_ends_the_round_and_no_round_is_broken_off() -> None:
    form = find_form(likeness_of("AABAA"), np.zeros(40))
    assert form.round_bars == 40
    assert "".join("AB"[segment.label] for segment in form.segments) == "AABAA"


def test_two_rounds_stay_two_rounds_after_a_late_start() -> None:
    form = find_form(likeness_of("AABBAABB")[1:, 1:], np.zeros(63))
    assert (form.round_bars, form.segments[0].skipped) == (32, 1)
