"""Setups: keys, shapes, and the note that does not fit."""

from __future__ import annotations

import pytest

from liltwright.errors import UsageError
from liltwright.guitar.player import Player
from liltwright.guitar.setups import make_setup
from liltwright.tune import KeyName
from tests.guitar.small_tunes import REEL_IN_D, REEL_IN_G, tune_of


def test_dadgad_with_capo_five_plays_g_in_d_shapes() -> None:
    """Capo arithmetic (trade facts, common practice)."""
    setup = make_setup(REEL_IN_G, tuning="DADGAD", capo=5)
    assert setup.sounds_in == KeyName("G", "major")
    assert setup.shapes_in == KeyName("D", "major")
    assert setup.transpose == -12


@pytest.mark.parametrize(("capo", "shapes"), [(0, "G"), (2, "F"), (3, "E"), (7, "C")])
def test_shapes_move_down_as_the_capo_moves_up(capo: int, shapes: str) -> None:
    tune = tune_of([[67, 71, 74]], tonic="G", signature=1)
    assert make_setup(tune, tuning="drop D", capo=capo, transpose=-12).shapes_in.tonic == shapes


def test_transposing_moves_the_key() -> None:
    setup = make_setup(REEL_IN_G, tuning="DADGAD", capo=3, transpose=-14)
    assert (setup.sounds_in.tonic, setup.shapes_in.tonic) == ("F", "D")


def test_a_note_below_the_lowest_string_is_named_with_its_bar() -> None:
    tune = tune_of([[62, 66], [62, 52]])
    with pytest.raises(UsageError, match="E2 in bar 2 lies below the lowest string"):
        make_setup(tune, tuning="standard", capo=3, transpose=-12)


def test_a_note_above_the_reach_is_named_with_its_bar() -> None:
    with pytest.raises(UsageError, match="G5 in bar 6 lies above the last fret in reach"):
        make_setup(REEL_IN_D, tuning="open G", transpose=0)


def test_a_note_that_falls_between_the_strings_is_named() -> None:
    """Six low strings far apart: the gap cannot be bridged with few frets."""
    player = Player(body_fret=9, past_body=0, highest_capo=9)
    with pytest.raises(UsageError, match="falls between two strings"):
        make_setup(
            tune_of([[62]]), tuning="C1 C1 C1 C1 C1 E5", transpose=0, player=player, force=True
        )


@pytest.mark.parametrize("capo", [-1, 12, 40])
def test_a_capo_nobody_can_use_is_refused(capo: int) -> None:
    with pytest.raises(UsageError, match="choose 0"):
        make_setup(REEL_IN_G, tuning="DADGAD", capo=capo)


def test_without_a_transposition_the_octave_that_fits_is_taken() -> None:
    high = tune_of([[86, 90, 93]])
    assert make_setup(high, tuning="standard").transpose == -24
    assert make_setup(REEL_IN_D, tuning="standard").transpose == -12


def test_a_string_near_breaking_is_refused_unless_forced() -> None:
    """Plain steel near G4 is close to its breaking stress (anchors: 389.7 Hz at 2.0 GPa)."""
    with pytest.raises(UsageError, match="near its breaking pitch"):
        make_setup(REEL_IN_G, tuning="E2 A2 D3 G3 B3 G4")
    assert make_setup(REEL_IN_G, tuning="E2 A2 D3 G3 B3 G4", force=True).strings_midi[5] == 67
