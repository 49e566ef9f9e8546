"""Every mode of every signature: the table of the ABC notation standard 2.1, section 3.1.14."""

from __future__ import annotations

import pytest

from liltwright.keys import signature_alters
from liltwright.read.abc import read_abc
from liltwright.read.abc_fields import parse_key_field
from liltwright.write.formats.abc import tune_to_abc

# Signature, then major, minor, mixolydian, dorian, phrygian, lydian, locrian.
TABLE = """
 7 C#  A#m G#Mix D#Dor E#Phr F#Lyd B#Loc
 6 F#  D#m C#Mix G#Dor A#Phr BLyd  E#Loc
 5 B   G#m F#Mix C#Dor D#Phr ELyd  A#Loc
 4 E   C#m BMix  F#Dor G#Phr ALyd  D#Loc
 3 A   F#m EMix  BDor  C#Phr DLyd  G#Loc
 2 D   Bm  AMix  EDor  F#Phr GLyd  C#Loc
 1 G   Em  DMix  ADor  BPhr  CLyd  F#Loc
 0 C   Am  GMix  DDor  EPhr  FLyd  BLoc
-1 F   Dm  CMix  GDor  APhr  BbLyd ELoc
-2 Bb  Gm  FMix  CDor  DPhr  EbLyd ALoc
-3 Eb  Cm  BbMix FDor  GPhr  AbLyd DLoc
-4 Ab  Fm  EbMix BbDor CPhr  DbLyd GLoc
-5 Db  Bbm AbMix EbDor FPhr  GbLyd CLoc
-6 Gb  Ebm DbMix AbDor BbPhr CbLyd FLoc
-7 Cb  Abm GbMix DbDor EbPhr FbLyd BbLoc
"""
MODES = ("major", "minor", "mixolydian", "dorian", "phrygian", "lydian", "phrygian")
ROWS = [
    (int(row.split()[0]), name, mode)
    for row in TABLE.strip().splitlines()
    for name, mode in zip(row.split()[1:], MODES, strict=True)
]


@pytest.mark.parametrize(("signature", "name", "mode"), ROWS, ids=[row[1] for row in ROWS])
def test_the_standards_table(signature: int, name: str, mode: str):
    key = parse_key_field(name)
    assert (key.signature, key.mode) == (signature, mode)
    assert key.alters == signature_alters(signature)


def test_music21_reads_the_same_signatures():
    from music21.abcFormat import ABCMetadata

    for signature, name, _ in ROWS:
        if name.endswith("Loc") or name == "FbLyd":  # music21 knows neither
            continue
        field = ABCMetadata(f"K:{name}")
        field.preParse()
        assert field.getKeySignatureParameters()[0] == signature, name


@pytest.mark.parametrize(
    ("written", "tonic", "mode", "signature"),
    [
        ("D maj =c", "D", "mixolydian", 1),  # the standard's own example
        ("D Mixolydian", "D", "mixolydian", 1),
        ("e minor", "E", "minor", 1),
        ("Am", "A", "minor", 0),
        ("AMIX", "A", "mixolydian", 2),
        ("G ionian clef=treble", "G", "major", 1),
        ("Hp", "A", "mixolydian", 2),
    ],
)
def test_ways_to_write_a_key(written: str, tonic: str, mode: str, signature: int):
    key = parse_key_field(written)
    assert (key.tonic, key.mode, key.signature) == (tonic, mode, signature)


def test_explicit_accidentals_without_a_mode_alter_the_notes():
    tune = read_abc("X:1\nT:A\nK:D exp _b ^f\nBcdf|", name="a")
    assert [note.midi for note in tune.parts[0].bars[0]] == [70, 72, 74, 78]


# Locrian is kept as phrygian; B# phrygian has eight sharps and is not written.
WRITTEN = [row for row in ROWS if row[1] != "B#Loc"]


@pytest.mark.parametrize(("signature", "name", "mode"), WRITTEN, ids=[row[1] for row in WRITTEN])
def test_written_keys_read_back(signature: int, name: str, mode: str):
    tune = read_abc(f"X:1\nT:A\nM:4/4\nL:1/8\nK:{name}\nCDEF GABc|", name="a")
    again = read_abc(tune_to_abc(tune), name="a")
    assert (again.signature, again.mode, again.tonic) == (tune.signature, tune.mode, tune.tonic)
    assert again.parts == tune.parts
