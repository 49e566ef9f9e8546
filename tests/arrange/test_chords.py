"""Chord symbols: what they mean, held against music21's ChordSymbol."""

import pytest
from music21 import harmony

from liltwright.arrange.chords import parse_symbol, transpose_symbol
from liltwright.errors import UsageError

SYMBOLS = (
    "G", "Em", "D7", "Bm7", "A5", "Dsus4", "Cmaj7", "F#m7b5", "Bdim", "G6", "Caug", "Gadd9", "A7",
    "F#m", "C#7", "Gm", "Dsus2", "Am6", "Adim7", "E9",
)  # fmt: skip


@pytest.mark.parametrize("symbol", SYMBOLS)
def test_pitch_classes_are_those_of_music21(symbol: str) -> None:
    theirs = harmony.ChordSymbol(symbol)
    ours = parse_symbol(symbol)
    assert ours.tones == {pitch.pitchClass for pitch in theirs.pitches}
    assert ours.root == theirs.root().pitchClass


@pytest.mark.parametrize(("symbol", "bass"), [("D7/F#", 6), ("Am/C", 0), ("G/D", 2), ("G7/b", 11)])
def test_a_note_after_the_slash_is_the_bass(symbol: str, bass: int) -> None:
    assert parse_symbol(symbol).bass == bass


@pytest.mark.parametrize("text", ["", "H7", "G/x", "hello", "D7/F#/A", "Gmin11b"])
def test_what_is_no_chord_is_refused_in_words(text: str) -> None:
    with pytest.raises(UsageError, match="is not a chord"):
        parse_symbol(text)


def test_transposing_spells_for_the_new_key() -> None:
    assert transpose_symbol("D7/F#", 2, 3) == "E7/G#"
    assert transpose_symbol("Bbmaj7", -2, -4) == "Abmaj7"
    assert transpose_symbol("F#m", -12, 2) == "F#m"
    assert transpose_symbol("G", 3, -2) == "Bb"
