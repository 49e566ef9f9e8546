"""Another key by the capo, and two setups side by side."""

import pytest

from liltwright.arrange.compare import compare, move_with_capo
from liltwright.arrange.layers import arrange_layers
from liltwright.errors import UsageError
from liltwright.guitar.setups import make_setup
from liltwright.tab import Arrangement
from tests.arrange.checker import faults
from tests.arrange.samples import own

TUNE = own("jig")


@pytest.fixture(scope="module")
def in_g() -> Arrangement:
    return arrange_layers(TUNE, make_setup(TUNE, tuning="DADGAD", capo=5, transpose=-7))


def test_a_tone_lower_keeps_the_shapes_and_moves_the_capo(in_g: Arrangement) -> None:
    """trade.md's fact (common practice): from G at capo 5 the same shapes at capo 3 sound in F
    and leave more frets between the capo and the body."""
    lower, room = move_with_capo(in_g, -2)
    assert (lower.setup.capo, lower.setup.sounds_in.tonic) == (3, "F")
    assert lower.setup.shapes_in == in_g.setup.shapes_in
    assert faults(TUNE, lower) == []
    for old, new in zip(in_g.layers, lower.layers, strict=True):
        frets = [[(n.string, n.fret, n.finger) for n in bar] for bar in old.bars]
        assert frets == [[(n.string, n.fret, n.finger) for n in bar] for bar in new.bars]
    plain = {chord.symbol for chord in lower.layer("plain-bass").chords}
    assert plain <= {"F", "Bb", "C", "Gm"}
    assert {c.symbol.partition("/")[0] for c in lower.layer("drone").chords} == plain
    _, before = move_with_capo(in_g, 0)
    assert room.frets == before.frets + 2
    assert "8 to spare" in room.sentence or f"{room.frets} to spare" in room.sentence


def test_a_capo_cannot_leave_the_neck(in_g: Arrangement) -> None:
    with pytest.raises(UsageError, match="cannot go 6 down"):
        move_with_capo(in_g, -6)
    with pytest.raises(UsageError, match="above the player's highest"):
        move_with_capo(in_g, 6)


def test_two_setups_side_by_side(in_g: Arrangement) -> None:
    other = arrange_layers(TUNE, make_setup(TUNE, tuning="standard", capo=0))
    both = compare(TUNE, in_g, other, layer="plain-bass")
    assert len(both.bars) == 16
    assert both.bars[3].number == 4
    easier = {pair.easier for pair in both.bars}
    assert {"first", "second"} <= easier
    swapped = compare(TUNE, other, in_g, layer="plain-bass")
    opposite = {"first": "second", "second": "first", "neither": "neither"}
    assert [opposite[p.easier] for p in swapped.bars] == [p.easier for p in both.bars]
    assert any("DADGAD, capo 5" in sentence for sentence in both.summary)


def test_a_setup_against_itself_is_easier_nowhere(in_g: Arrangement) -> None:
    same = compare(TUNE, in_g, in_g)
    assert {pair.easier for pair in same.bars} == {"neither"}
