"""Layers that two hands can play: checked by a checker that shares no code with the stage."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest

from liltwright.arrange.layers import ArrangeSettings, arrange_layers
from liltwright.errors import UsageError
from liltwright.guitar.player import Player
from liltwright.guitar.setups import make_setup
from liltwright.records import from_json, to_json
from liltwright.tab import LAYER_NAMES, Arrangement
from liltwright.tune import Tune, TypedChord
from tests.arrange.checker import faults
from tests.arrange.samples import OWN, RYAN, own, ryan, somewhere

TUNES = [*(("own", name) for name in OWN), *(("ryan", name) for name in RYAN)]


def tune_of(where: str, name: str) -> Tune:
    return own(name) if where == "own" else ryan(name)


@pytest.mark.parametrize(("where", "name"), TUNES)
def test_every_layer_of_every_tune_is_playable_and_keeps_the_melody(where: str, name: str) -> None:
    tune = tune_of(where, name)
    arrangement = arrange_layers(tune, somewhere(tune))
    assert [layer.name for layer in arrangement.layers] == list(LAYER_NAMES)
    assert faults(tune, arrangement) == []


@pytest.mark.parametrize("effort", ["easier", "as is", "harder"])
def test_difficulty_never_falls_from_layer_to_layer(effort: str) -> None:
    for name in ("reel", "waltz"):
        tune = own(name)
        settings = ArrangeSettings(effort=effort)  # type: ignore[arg-type]
        arrangement = arrange_layers(tune, somewhere(tune), settings=settings)
        assert faults(tune, arrangement) == []
        for one, two in pairwise(arrangement.layers):
            assert all(two.difficulty[key] >= value for key, value in one.difficulty.items())


def moves(arrangement: Arrangement, name: str) -> float:
    return arrangement.layer(name).difficulty["moves_per_second"]


def test_the_player_may_ask_for_easier_and_harder() -> None:
    tune = own("reel")
    setup = somewhere(tune)
    easier, usual, harder = (
        arrange_layers(tune, setup, settings=ArrangeSettings(effort=effort))  # type: ignore[arg-type]
        for effort in ("easier", "as is", "harder")
    )
    assert moves(easier, "moving-bass") < moves(usual, "moving-bass")
    assert moves(usual, "fuller") <= moves(harder, "fuller")
    assert easier.layer("fuller").difficulty["notes_at_once"] <= 2
    assert any("too hard" in line for layer in easier.layers for line in layer.remarks)


def test_a_layer_holds_every_note_of_the_one_below() -> None:
    tune = own("jig")
    arrangement = arrange_layers(tune, somewhere(tune))
    for lower, upper in (("plain-bass", "moving-bass"), ("moving-bass", "fuller")):
        for old, new in zip(
            arrangement.layer(lower).bars, arrangement.layer(upper).bars, strict=True
        ):
            places = {(n.start, n.string, n.fret, n.finger, n.pluck) for n in new}
            assert {(n.start, n.string, n.fret, n.finger, n.pluck) for n in old} <= places


def test_the_drone_is_an_open_string_of_tonic_or_fifth() -> None:
    tune = own("jig")
    setup = make_setup(tune, tuning="DADGAD", capo=0)
    drone = [n for bar in arrange_layers(tune, setup).layer("drone").bars for n in bar]
    low = [note for note in drone if note.part == "bass"]
    assert len(low) >= 30, "32 main beats"
    assert all(note.fret == 0 and note.midi % 12 in (2, 9) for note in low)


def test_the_bass_of_a_typed_slash_chord_is_played() -> None:
    typed = (TypedChord(0, Fraction(0), "D/F#"),)
    tune = replace(own("jig"), chords_typed=typed)
    arrangement = arrange_layers(tune, make_setup(tune, tuning="DADGAD", capo=0))
    first = next(n for n in arrangement.layer("plain-bass").bars[0] if n.part == "bass")
    assert first.midi % 12 == 6
    assert arrangement.layer("plain-bass").chords[0].symbol == "D/F#"


def test_chords_are_given_for_every_layer_and_bar_but_pick_ups() -> None:
    tune = own("reel")
    arrangement = arrange_layers(tune, somewhere(tune))
    full = {i for i, bar in enumerate(tune.written_bars()) if bar.kind != "pickup"}
    for layer in arrangement.layers:
        assert {chord.bar for chord in layer.chords} == full


def test_the_same_input_gives_the_same_bytes_and_reads_back() -> None:
    tune = own("waltz")
    one, two = (arrange_layers(tune, somewhere(tune)) for _ in range(2))
    assert to_json(one) == to_json(two)
    assert from_json(to_json(one), Arrangement) == one


def test_a_smaller_hand_is_respected() -> None:
    tune = own("jig")
    small = Player(comfort_mm=70.0, widest_mm=85.0)
    arrangement = arrange_layers(tune, somewhere(tune), player=small)
    assert faults(tune, arrangement) == []
    assert max(layer.difficulty["largest_stretch_mm"] for layer in arrangement.layers) <= 85.0


def test_a_tune_that_does_not_fit_and_a_wrong_plan_are_named() -> None:
    tune = own("jig")
    setup = replace(make_setup(tune, tuning="standard", capo=0), transpose=-40)
    with pytest.raises(UsageError, match="lies below the lowest string"):
        arrange_layers(tune, setup)
    with pytest.raises(UsageError, match="not a layer"):
        arrange_layers(tune, somewhere(tune), settings=ArrangeSettings(rounds="melody trumpet"))


def test_no_bass_is_struck_where_the_next_pick_up_belongs():
    """The last bar of a part and the pick-up that follows add up to one bar (common practice)."""
    from liltwright.arrange.layers import arrange_layers
    from liltwright.guitar.setups import make_setup
    from liltwright.read.abc import read_abc

    tune = read_abc(
        "X:1\nT:The Kettle Lid\nR:jig\nM:6/8\nL:1/8\nK:Dmix\n"
        "D|DFA d2A|BAG A2F|GBd AFE|D3 D2:|A|d2e fed|cAG A2A|GBd AFE|D3 D2:|\n",
        name="kettle.abc",
    )
    setup = make_setup(tune, tuning="DADGAD", capo=0, transpose=-12)
    bars = tune.written_bars()
    last = [i for i, bar in enumerate(bars) if i + 1 == len(bars) or bars[i + 1].part != bar.part]
    assert len(last) == 2
    for layer in arrange_layers(tune, setup).layers:
        for index in last:
            assert max(note.start + note.length for note in layer.bars[index]) <= Fraction(5, 8)
