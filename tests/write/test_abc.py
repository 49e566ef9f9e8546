"""ABC as we write it, held against ABC 2.1, music21 and abc2midi."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

import pytest

from liltwright.read.abc import read_abc
from liltwright.write.formats.abc import layer_to_abc, tune_to_abc
from liltwright.write.sheet.layout import sheet_of_layer, sheet_of_tune
from tests.read import books
from tests.tools import need
from tests.write.arranged import HORNPIPE, SLIP_JIG, layers
from tests.write.heard_by import abc2midi, agree, played, voice_of


def rewritten(text: str, **options: bool) -> str:
    return tune_to_abc(read_abc(text, name="a.abc"), **options)


def test_a_tune_reads_like_a_tune_book():
    assert rewritten(SLIP_JIG).splitlines() == [
        "%abc-2.1",
        "X:1",
        "T:The Slate Quay",
        "R:slip jig",
        "M:9/8",
        "L:1/8",
        "Q:3/8=112",
        "K:Edor",
        "|: B | e2 f gfe dBA | B2 d A2 F E2 B | efg a2 f ged | B3- BAF E2 :|",
        "|: F | E2 G B2 A BdB | A2 F D2 E FAd | [1 e2 d B2 A G^GA | B3 E3- E2 :| [2 efg fed Bcd |",
        "e6- e2 |]",
    ]


def test_fields_stand_in_the_order_of_the_standard():
    # 3: X first, T second, K last
    letters = re.findall(r"^([A-Z]):", rewritten(HORNPIPE), re.MULTILINE)
    assert letters == ["X", "T", "R", "M", "L", "Q", "K"]


def test_triplets_chords_and_accidentals():
    music = rewritten(HORNPIPE)
    assert "|: (3DEF | " in music
    assert '"D7"d3/2^c/2d3/2e/2 fd=cA' in music


def test_ornaments_only_when_asked():
    text = "X:1\nT:A\nM:4/4\nL:1/8\nK:D\n~A2 {c}B2 {G}A2 Jd2|\n"
    assert "A2 B2 A2 d2" in rewritten(text)
    assert "~A2 {c}B2 {G}A2 !slide!d2" in rewritten(text, ornaments=True)


def test_an_accidental_is_clear_under_both_readings_of_the_standard():
    # An accidental may hold for its octave or for all: both must give the same notes.
    assert "^c2 =c'2 c2" not in (music := rewritten("X:1\nT:A\nM:4/4\nL:1/8\nK:C\n^c2=c'2^c2d2|"))
    assert "^c2 =c'2 ^c2 d2" in music


@pytest.mark.parametrize("tune", books.some(40), ids=lambda tune: tune.title[:24])
def test_abc2midi_plays_exactly_our_notes(tune, tmp_path: Path):
    need("abc2midi")
    # abc2midi swings whatever R: calls a hornpipe; the notes as written are compared.
    text = re.sub(r"^R:.*\n", "", tune_to_abc(tune), flags=re.MULTILINE)
    (melody,) = abc2midi(text, tmp_path)
    assert agree(played(tune), melody)


@pytest.mark.parametrize(("tune", "arrangement", "name"), layers())
def test_abc2midi_plays_every_voice_of_a_layer(tune, arrangement, name, tmp_path: Path):
    need("abc2midi")
    text = re.sub(r"^R:.*\n", "", layer_to_abc(tune, arrangement, name), flags=re.MULTILINE)
    unrepeated = text.replace("|:", "|").replace(":|", "|").replace("[1 ", "").replace("[2 ", "")
    tracks = abc2midi(unrepeated, tmp_path)
    sheet = sheet_of_layer(tune, arrangement, name)
    expected = [voice_of(sheet, (voice,)) for voice in ("melody", "inner", "bass")]
    expected = [notes for notes in expected if notes]
    assert len(tracks) == len(expected)
    for ours, theirs in zip(expected, tracks, strict=True):
        assert agree(ours, theirs)


def test_music21_reads_our_abc_note_for_note():
    from music21 import converter

    for tune in books.some(12):
        score = converter.parseData(tune_to_abc(tune), format="abc")
        theirs = [
            (Fraction(note.offset).limit_denominator(960) / 4, note.pitch.midi)
            for note in score.flatten().notes
            if note.isNote and (note.tie is None or note.tie.type == "start")
        ]
        assert agree(voice_of(sheet_of_tune(tune), ("melody",)), theirs)
