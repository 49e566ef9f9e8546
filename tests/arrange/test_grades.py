"""How hard a bar is, counted by hand, and the melody cut at the main beats."""

from dataclasses import replace
from fractions import Fraction as F

import numpy as np
import pytest

from liltwright import models
from liltwright.arrange.grades import difficulty, grade_bar, within_limit
from liltwright.arrange.stretches import stretches, tone_shares
from liltwright.bassbeats import pulse_of
from liltwright.guitar.fretboard import span_mm
from liltwright.guitar.hand import Hand
from liltwright.guitar.setups import make_setup
from liltwright.read.abc import read_abc
from liltwright.tab import TabNote

JIG = read_abc(
    "X:1\nR:jig\nM:6/8\nL:1/8\nQ:3/8=120\nK:D\nDFA d2A|B3 A3|d2f ecA|d3 D3|]\n", name="j"
)
SETUP = make_setup(JIG)


def note(string: int, fret: int, start: F, length: F = F(1, 8), **more) -> TabNote:
    return replace(
        TabNote(string=string, fret=fret, midi=60, start=start, length=length, part="melody"),
        **more,
    )


def test_moves_are_plucks_and_fingers_put_down():
    """Three plucks and two fingers (open strings take none); a bar of 6/8 at 120 lasts a second."""
    bar = (note(1, 2, F(0)), note(2, 0, F(1, 8)), note(3, 4, F(1, 4)))
    grade = grade_bar(bar, F(3, 4), JIG, SETUP, Hand())
    assert (grade.moves, grade.at_once, grade.stretch_mm) == (5, 1, 0.0)
    assert grade.seconds == pytest.approx(1.0)


def test_a_pull_off_to_a_finger_that_stayed_is_no_move():
    """Fret 2, hammered to 4, pulled off to 2: two fingers down and one pluck."""
    bar = (
        note(1, 2, F(0)),
        note(1, 4, F(1, 8), technique="hammer-on"),
        note(1, 2, F(1, 4), technique="pull-off"),
    )
    assert grade_bar(bar, F(3, 4), JIG, SETUP, Hand()).moves == 3


def test_the_stretch_is_that_of_frets_held_together():
    apart = (note(1, 2, F(0)), note(5, 5, F(1, 8)))
    held = (note(1, 2, F(0), F(1, 4)), note(5, 5, F(1, 8)))
    hand = Hand()
    assert grade_bar(apart, F(3, 4), JIG, SETUP, hand).stretch_mm == 0.0
    wide = grade_bar(held, F(3, 4), JIG, SETUP, hand)
    assert wide.stretch_mm == span_mm(2, 5, capo=SETUP.capo, scale_mm=hand.scale_mm)


def test_a_layer_has_the_mean_of_its_bars_and_the_worst_of_them():
    hand = Hand()
    easy = grade_bar((note(1, 0, F(0)),), F(3, 4), JIG, SETUP, hand)
    busy = grade_bar((note(1, 2, F(0)), note(5, 0, F(0))), F(3, 4), JIG, SETUP, hand)
    found = difficulty([easy, busy], shifted_bars=1)
    assert found["moves_per_second"] == pytest.approx((1 + 3) / 2)
    assert found["notes_at_once"] == 2.0
    assert found["share_of_bars_with_shift"] == 0.5


def test_nothing_is_harder_than_itself():
    grade = grade_bar((note(1, 2, F(0)), note(5, 3, F(0))), F(3, 4), JIG, SETUP, Hand())
    for effort in ("easier", "as is", "harder"):
        most = models.read_json("bass/effort.json")[effort]["added_moves_per_second"]
        busier = replace(grade, moves=grade.moves + int(most) + 1)
        assert within_limit(grade, grade, effort, Hand())
        assert not within_limit(busier, grade, effort, Hand())


def test_the_melody_is_cut_at_the_beats_of_a_jig():
    found = stretches(JIG, pulse_of(JIG))
    assert [(one.bar, one.start) for one in found] == [
        (bar, F(3, 8) * half) for bar in range(4) for half in (0, 1)
    ]
    assert {one.length for one in found} == {F(3, 8)}
    first = found[0]
    # D, F sharp, A: a third of a beat each, the first on the beat, none passing by step
    assert [(tone, on) for tone, _, on, _ in first.tones] == [(2, True), (6, False), (9, False)]
    assert [beats for _, beats, _, _ in first.tones] == pytest.approx([1 / 3] * 3)
    assert not any(step for _, _, _, step in first.tones)
    assert [one.phrase_end for one in found] == [""] * 6 + ["close"] * 2
    assert [one.after for one in found] == [-1, 0, 1, 2, 3, 4, 5, 6]


def test_shares_of_time_by_pitch():
    """Quavers of D 1+2+3+3+..., counted by hand: D 11, F sharp 2, A 6, B 3, E 1, C sharp 1."""
    shares = tone_shares(stretches(JIG, pulse_of(JIG)))
    counted = np.zeros(12)
    counted[[2, 6, 9, 11, 4, 1]] = [11, 2, 6, 3, 1, 1]
    np.testing.assert_allclose(shares, counted / 24)
