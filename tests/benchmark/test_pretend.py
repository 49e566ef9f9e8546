"""The pretend-real performer: endings that a tune has no room for are left out."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tests.benchmark.pretend import Habits, _ended
from tests.benchmark.timeline import RoundNote

BAR = Fraction(1)


def notes_from(first: Fraction) -> list[RoundNote]:
    """Two bars of crotchets, the first of them so far from the bar line."""
    begins = [first, *(Fraction(at, 4) for at in range(1, 8))]
    return [RoundNote(at, Fraction(1, 4), 60 + index, 0, index) for index, at in enumerate(begins)]


def ending_in(bars: int) -> Habits:
    return Habits(1.0, 1, None, 2.0, "bars", bars, False)


def test_a_tune_that_begins_after_its_bar_line_has_no_held_first_note_to_end_with() -> None:
    """The ending of one bar holds what stands on its bar line, and here nothing does."""
    notes = notes_from(Fraction(1, 8))
    assert _ended(notes, BAR, 2, ending_in(1)) == (notes, 2)


@pytest.mark.parametrize("bars", [1, 2])
def test_an_ending_is_the_first_bars_again_with_the_last_note_held(bars: int) -> None:
    notes = notes_from(Fraction(0))
    ended, count = _ended(notes, BAR, 2, ending_in(bars))
    assert count == 2 + bars
    assert ended[: len(notes)] == notes
    assert (ended[-1].position, ended[-1].length) == (BAR * (1 + bars), BAR)
