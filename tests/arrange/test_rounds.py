"""The plan of a performance in one line, and the performance written out."""

from dataclasses import replace
from fractions import Fraction

import pytest

from liltwright.arrange.layers import ArrangeSettings, arrange_layers
from liltwright.arrange.rounds import closing_chord, parse_plan, performance
from liltwright.errors import UsageError
from liltwright.guitar.setups import make_setup
from liltwright.tab import Arrangement, Round
from tests.arrange.checker import hand_faults
from tests.arrange.samples import OWN, own, somewhere


def test_a_plan_grows_when_nothing_is_said_of_dynamics() -> None:
    assert parse_plan("melody drone moving-bass") == (
        Round("melody", "mp"),
        Round("drone", "mf"),
        Round("moving-bass", "f"),
    )


def test_a_plan_may_name_dynamics() -> None:
    plan = parse_plan("melody:p fuller:f, melody:mp")
    assert [one.dynamic for one in plan] == ["p", "f", "mp"]


@pytest.mark.parametrize(
    ("text", "word"),
    [("", "0 rounds"), ("melody:loud", "dynamic"), ("tune", "not a layer"), ("drone " * 13, "13")],
)
def test_a_wrong_plan_is_named(text: str, word: str) -> None:
    with pytest.raises(UsageError, match=word):
        parse_plan(text)


def test_rounds_take_repeats_and_endings_and_close_on_a_chord() -> None:
    tune = own("reel")
    settings = ArrangeSettings(rounds="melody:p plain-bass")
    arrangement = arrange_layers(tune, somewhere(tune), settings=settings)
    played = performance(tune, arrangement)
    order = tune.performed_order()
    assert [bar.written for bar in played] == [*order, *order, -1]
    assert [bar.round for bar in played] == [1] * len(order) + [2] * (len(order) + 1)
    assert played[0].dynamic == "p"
    assert played[len(order)].layer == "plain-bass"
    assert played[-1].length == tune.bar_length
    assert {note.start for note in played[-1].notes} == {Fraction(0)}


@pytest.mark.parametrize("tuning", ["DADGAD", "standard", "open G", "open C", "drop D", "CGDGCD"])
def test_the_closing_chord_is_the_tonic_and_can_be_held(tuning: str) -> None:
    for name in OWN:
        tune = own(name)
        setup = make_setup(tune, tuning=tuning, capo=0)
        arrangement = Arrangement(setup, tune.meter, tune.beats_per_minute, (), ())
        chord = closing_chord(tune, arrangement)
        lowest = min(chord, key=lambda note: note.midi)
        tonic = {"jig": 2, "reel": 2, "slip jig": 4, "waltz": 11}[name]
        assert lowest.midi % 12 == tonic
        assert lowest.pluck == "p"
        assert {(note.midi - tonic) % 12 for note in chord} <= {0, 3, 4, 7}
        assert hand_faults(list(chord), 0) == []
        assert len(chord) <= 4
        assert len({note.pluck for note in chord}) == len(chord)


def test_a_plan_for_a_missing_layer_is_refused() -> None:
    tune = own("jig")
    arrangement = arrange_layers(tune, somewhere(tune))
    only = replace(arrangement, layers=arrangement.layers[:1])
    with pytest.raises(UsageError, match="has only melody"):
        performance(tune, only)
