"""Ticks on the grid of note values, against every place tried; and repeats found again in a tune
that music21 has written out."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liltwright.read.bars import ReadBar
from liltwright.read.midi_grid import GRID, RARE, TickNote, nearest, quantised, snapped
from liltwright.read.unfold import printed_bars
from liltwright.tune import ScoreNote

WHOLE = 4 * 480
EIGHTH = Fraction(1, 8)


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 9_999))
def test_the_nearest_place_is_nearest(number):
    at = Fraction(number, 10_000)
    best = min(abs(place - at) for place in (*GRID, Fraction(1)))
    assert abs(nearest(at, GRID) - at) == best


@given(st.sampled_from([*GRID, *RARE]), st.integers(0, 20))
def test_a_tick_on_a_place_of_the_grid_stays_there(place, bars):
    ticks = (bars + place) * 4 * 6720  # a resolution that all places divide
    assert snapped(int(ticks), 4 * 6720, GRID) == bars + place


def test_a_note_that_ends_early_lasts_to_the_next():
    notes = [TickNote(0, 216, 62), TickNote(240, 456, 64), TickNote(480, 960, 66)]
    assert quantised(notes, WHOLE) == [
        (Fraction(0), EIGHTH, 62),
        (EIGHTH, 2 * EIGHTH, 64),
        (2 * EIGHTH, 4 * EIGHTH, 66),
    ]


@pytest.mark.parametrize("endings", [False, True])
def test_repeats_written_out_by_music21_are_found_again(endings):
    """The page below is played through by music21's own expander (music21.repeat)."""
    from music21 import bar, meter, note, repeat, spanner, stream

    part = stream.Part([meter.TimeSignature("4/4")])
    measures = []
    for number in range(16 + endings):
        measure = stream.Measure(number=number + 1)
        measure.append(
            [note.Note(60 + (number * 5 + k * 3) % 13, quarterLength=0.5) for k in range(8)]
        )
        measures.append(measure)
        part.append(measure)
    measures[7].rightBarline = bar.Repeat(direction="end")
    if endings:
        part.insert(0, spanner.RepeatBracket(measures[7], number=1))
        part.insert(0, spanner.RepeatBracket(measures[8], number=2))
    second = measures[8 + endings]
    second.leftBarline = bar.Repeat(direction="start")
    measures[-1].rightBarline = bar.Repeat(direction="end")
    played = repeat.Expander(part).process()
    read = []
    for measure in played.getElementsByClass(stream.Measure):
        notes = tuple(
            ScoreNote(one.pitch.midi, Fraction(one.offset) / 4, EIGHTH) for one in measure.notes
        )
        read.append(ReadBar(notes, Fraction(1)))
    assert len(read) == 32
    printed = printed_bars(read, Fraction(1))
    assert len(printed) == 16 + endings
    assert [one.notes[0].midi for one in printed] == [m.notes[0].pitch.midi for m in measures]
    closing = [(at, one.times) for at, one in enumerate(printed) if one.closes and one.times > 1]
    assert closing == [(7, 2), (15 + endings, 2)]
    assert [one.ending for one in printed if one.ending] == ([(1,), (2,)] if endings else [])
