"""Orders of parts as header fields give them, and pages cut at their signs."""

from fractions import Fraction

import pytest

from liltwright.read.bars import ReadBar
from liltwright.read.sections import LONGEST_ORDER, _expanded, ordered, sections_of
from liltwright.tune import ScoreNote


@pytest.mark.parametrize(
    ("order", "letters"),
    [("AABB", "AABB"), ("A2B", "AAB"), ("(AB)3", "ABABAB"), ("A.B C", "ABC"),
     ("((AB)2C)2", "ABABCABABC"), ("A3(BC)2", "AAABCBC")],
)  # fmt: skip
def test_an_order_is_written_out(order, letters):
    """ABC standard 2.1, section 3.1.9 (P: parts)."""
    assert "".join(_expanded(order)) == letters


def test_an_order_without_end_is_passed_over():
    assert not _expanded("(((A9)9)9)9")
    assert LONGEST_ORDER < 9**4


def bar(midi: int, **signs) -> ReadBar:
    full = Fraction(1)
    return ReadBar(notes=(ScoreNote(midi, Fraction(0), full),), length=full, **signs)


def test_repeat_signs_and_double_bars_part_a_page():
    page = [bar(60, opens=True), bar(61, times=2), bar(62), bar(63, closes=True), bar(64)]
    found = sections_of(page)
    assert [[one.notes[0].midi for one in section.body] for section in found] == [
        [60, 61], [62, 63], [64],
    ]  # fmt: skip
    assert [section.repeats for section in found] == [2, 1, 1]


def test_endings_belong_to_the_section_before_them():
    page = [bar(60, opens=True), bar(61, ending=(1,), times=2), bar(62, ending=(2,), closes=True)]
    (found,) = sections_of(page)
    assert [numbers for numbers, _ in found.endings] == [(1,), (2,)]
    assert [[one.notes[0].midi for one in bars] for _, bars in found.endings] == [[61], [62]]
    assert found.repeats == 2


def test_labelled_sections_are_played_in_the_order_that_is_given():
    page = [bar(60, label="A"), bar(61, closes=True), bar(62, label="B"), bar(63, closes=True)]
    found = ordered(sections_of(page), "AAB")
    assert [section.body[0].notes[0].midi for section in found] == [60, 60, 62]
    assert ordered(sections_of(page), "AAC") == sections_of(page)
