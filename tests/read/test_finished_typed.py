"""Typed pages as finished arrangements: pitches, techniques, what is left out, and the metre."""

from __future__ import annotations

import pytest

from liltwright.errors import PipelineError
from liltwright.read.finished import finished_from_bytes

PAGE = """\
Tuning: D A D G A D
Capo 2
Time: 6/8

d|------------|0-----2---x-|
A|------2h3---|------------|
G|2--0--------|---2--------|
D|------------|------------|
A|------------|0-----0-----|
D|0-----0-----|------------|
"""


def test_pitches_count_from_the_capo():
    page = finished_from_bytes(PAGE.encode(), name="page.txt")
    first = sorted((note.start, note.midi) for note in page.bars[0].notes)
    assert [midi for _, midi in first] == [40, 59, 57, 40, 61, 62]
    assert (page.strings_midi, page.capo) == ((38, 45, 50, 55, 57, 62), 2)


def test_signs_become_techniques_and_muted_strokes_are_left_out():
    page = finished_from_bytes(PAGE.encode(), name="page.txt")
    assert [note.technique for note in page.bars[0].notes if note.technique] == ["hammer-on"]
    assert len(page.bars[1].notes) == 5
    assert any("1 muted stroke" in words for words in page.remarks)


def test_without_a_named_metre_the_length_of_a_bar_tells():
    page = finished_from_bytes(PAGE.replace("Time: 6/8\n", "").encode(), name="page.txt")
    assert page.stated.meter == "6/8"
    assert any("proposal by the spacing" in words for words in page.remarks)


def test_a_broken_page_is_refused_with_line_and_column():
    with pytest.raises(PipelineError, match=r"line \d+, column \d+"):
        finished_from_bytes(PAGE.replace("2h3", "2q3").encode(), name="page.txt")
