"""Keys, modes, signatures and spelling against the ABC standard and music21."""

import pytest
from music21 import key as m21_key

from liltwright.errors import UsageError
from liltwright.keys import (
    note_name,
    parse_key,
    pitch_class,
    scale_steps,
    signature_of,
    spell,
    transpose_key,
)
from liltwright.tune import MODES, KeyName

# ABC notation standard 2.1, section 3.1.14: signature, then the tonic of each mode.
ABC_TABLE = """
7 C# A# G# D# E# F#
6 F# D# C# G# A# B
5 B G# F# C# D# E
4 E C# B F# G# A
3 A F# E B C# D
2 D B A E F# G
1 G E D A B C
0 C A G D E F
-1 F D C G A Bb
-2 Bb G F C D Eb
-3 Eb C Bb F G Ab
-4 Ab F Eb Bb C Db
-5 Db Bb Ab Eb F Gb
-6 Gb Eb Db Ab Bb Cb
-7 Cb Ab Gb Db Eb Fb
"""
ABC_MODES = ("major", "minor", "mixolydian", "dorian", "phrygian", "lydian")
ROWS = [
    (int(row.split()[0]), mode, tonic)
    for row in ABC_TABLE.strip().splitlines()
    for mode, tonic in zip(ABC_MODES, row.split()[1:], strict=True)
]


@pytest.mark.parametrize(("fifths", "mode", "tonic"), ROWS)
def test_every_row_of_the_abc_mode_table(fifths, mode, tonic):
    assert signature_of(tonic, mode) == fifths


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("tonic", ["C", "D", "E", "F#", "G", "A", "Bb"])
def test_scale_and_signature_agree_with_music21(tonic, mode):
    theirs = m21_key.Key(tonic.replace("b", "-"), mode)
    assert theirs.sharps == signature_of(tonic, mode)
    ours = {(pitch_class(tonic) + step) % 12 for step in scale_steps(mode)}
    assert ours == {pitch.pitchClass for pitch in theirs.pitches}


@pytest.mark.parametrize("fifths", range(-5, 7))
def test_notes_of_a_signature_are_spelled_by_it(fifths):
    theirs = m21_key.KeySignature(fifths)
    scale = theirs.asKey("major").pitches[:7]
    assert [note_name(int(p.midi), fifths) for p in scale] == [
        p.name.replace("-", "b") for p in scale
    ]


def test_notes_outside_the_scale_take_the_near_spelling():
    """Common practice: C natural and G sharp in D, B flat in F and in D minor."""
    assert note_name(72, 2) == "C"
    assert note_name(68, 2) == "G#"
    assert note_name(70, -1) == "Bb"
    assert note_name(61, -1) == "C#"


def test_octaves_follow_the_letter_not_the_pitch():
    """B# belongs to the octave below, Cb to the one above: C4 is middle C (scientific pitch)."""
    assert spell(60, 0) == ("C", 0, 4)
    assert spell(60, 9) == ("B", 1, 3)
    assert spell(59, -9) == ("C", -1, 4)


def test_transposed_keys_are_spelled_anew():
    assert transpose_key(KeyName("D", "mixolydian"), 2) == KeyName("E", "mixolydian")
    assert transpose_key(KeyName("G", "major"), 1) == KeyName("Ab", "major")


@pytest.mark.parametrize(
    ("typed", "tonic", "mode"),
    [("D:dorian", "D", "dorian"), ("Em", "E", "minor"), ("bb", "Bb", "major"),
     ("A mix", "A", "mixolydian"), ("F# minor", "F#", "minor"), ("g", "G", "major")],
)  # fmt: skip
def test_keys_as_people_type_them(typed, tonic, mode):
    assert parse_key(typed) == KeyName(tonic, mode)


@pytest.mark.parametrize("typed", ["", "H", "D:funky", "dm7", "6/8", "m"])
def test_nonsense_is_explained(typed):
    with pytest.raises(UsageError, match="is not a key: write a tonic and a mode"):
        parse_key(typed)


@pytest.mark.parametrize("signature", range(-7, 8))
def test_no_note_is_spelled_with_a_double_accidental(signature):
    names = [note_name(midi, signature) for midi in range(60, 72)]
    assert all(len(name) <= 2 for name in names)
    assert len(set(names)) == 12
    assert note_name(67, 5) == "G"
