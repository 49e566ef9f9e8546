"""Ornaments by the fretting hand: where they are played, how, and that they stay playable."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest

from liltwright.arrange.layers import ArrangeSettings, arrange_layers
from liltwright.guitar.setups import make_setup
from liltwright.read.abc import read_abc
from liltwright.tab import Arrangement, TabNote
from liltwright.tune import Ornament, Part, Tune
from tests.arrange.checker import faults
from tests.arrange.samples import own, somewhere

LONG = "X:1\nT:t\nR:jig\nM:6/8\nL:1/8\nK:D\n|:E3 A3|F3 d3|G3 e3|D3 D3:|\n"


def with_ornament(tune: Tune, kind: Ornament, every: int = 1) -> Tune:
    count = 0
    parts: list[Part] = []
    for part in tune.parts:
        bars = []
        for bar in part.bars:
            notes = []
            for note in bar:
                count += 1
                notes.append(replace(note, ornament=kind) if count % every == 0 else note)
            bars.append(tuple(notes))
        parts.append(replace(part, bars=tuple(bars)))
    return replace(tune, parts=tuple(parts))


def arranged(tune: Tune, *, ornaments: bool = True) -> Arrangement:
    setup = make_setup(tune, tuning="standard", capo=0)
    return arrange_layers(tune, setup, settings=ArrangeSettings(ornaments=ornaments))


def first_bar(kind: Ornament) -> list[TabNote]:
    tune = with_ornament(read_abc(LONG, name="long.abc"), kind)
    bar = arranged(tune).layer("melody").bars[0]
    first = [note for note in bar if note.start < Fraction(3, 8)]
    assert first[0].midi in (52, 54, 50) or kind == "slide"
    return first


def test_a_cut_is_a_grace_note_above_pulled_off() -> None:
    grace, note = first_bar("cut")
    assert grace.grace
    assert (grace.midi, note.midi, note.technique) == (54, 52, "pull-off")
    assert grace.string == note.string
    assert grace.finger > note.finger


def test_a_tap_is_a_grace_note_below_hammered_on() -> None:
    grace, note = first_bar("tap")
    assert (grace.grace, grace.midi, note.midi, note.technique) == (True, 50, 52, "hammer-on")


def test_a_roll_is_note_cut_note_tap_note() -> None:
    roll = first_bar("roll")
    assert [note.midi for note in roll] == [52, 54, 52, 50, 52]
    assert [note.grace for note in roll] == [False, True, False, True, False]
    plain = [note for note in roll if not note.grace]
    assert [note.start for note in plain] == [Fraction(0), Fraction(1, 8), Fraction(1, 4)]
    assert sum((note.length for note in plain), Fraction(0)) == Fraction(3, 8)


def test_without_the_switch_nothing_is_added() -> None:
    tune = with_ornament(read_abc(LONG, name="long.abc"), "roll")
    for layer in arranged(tune, ornaments=False).layers:
        assert not any(n.grace or n.technique for bar in layer.bars for n in bar)


@pytest.mark.parametrize("kind", ["cut", "tap", "roll", "triplet", "slide", "grace"])
def test_ornaments_are_the_same_and_playable_in_every_layer(kind: Ornament) -> None:
    tune = with_ornament(own("jig"), kind, every=3)
    setup = somewhere(tune)
    arrangement = arrange_layers(tune, setup, settings=ArrangeSettings(ornaments=True))
    assert faults(tune, arrangement) == []
    rows = [
        [
            (i, n.start, n.string, n.fret, n.grace, n.technique)
            for i, bar in enumerate(layer.bars)
            for n in bar
            if n.part == "melody"
        ]
        for layer in arrangement.layers
    ]
    assert any(grace for _, _, _, _, grace, _ in rows[0])
    assert all(row == rows[0] for row in rows)
    assert "ornaments are played" in arrangement.layers[0].remarks[-1]


def test_grace_and_note_lie_on_one_string_unless_crossed() -> None:
    tune = with_ornament(own("jig"), "cut", every=2)
    for bar in arranged(tune).layer("fuller").bars:
        for one, two in pairwise(bar):
            if one.grace:
                assert two.technique == "pull-off"
                assert two.string == one.string
                assert 1 <= one.fret - two.fret <= 4
