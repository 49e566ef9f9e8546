"""Pins as words: what may be written, and what is said of the rest (grammar: our own)."""

from fractions import Fraction

import pytest

from liltwright.errors import UsageError
from liltwright.pins import parse_pin, place_text
from liltwright.read.abc import read_abc
from liltwright.write.formats.abc import tune_to_abc

REEL = """X:1
T:Two Endings
R:reel
M:4/4
L:1/8
K:D
|:A2|"@pin string 2 fret 3"d2f2 a2f2|"G""@pin bar keep"g2f2 e2d2|1 "@pin bass string 6"e4 A4|A6:|
[2 d8|d6|]
%%pin no finger 4
|:fg|a2f2 d2f2|"@pin nonsense"e2c2 A4|d8|d6:|
"""


@pytest.mark.parametrize(
    ("text", "kind", "held"),
    [
        ("5:1/4=string 4", "note", (4, None, None)),
        ("5=fret 7 finger 3", "note", (None, 7, 3)),
        ("5:0=open", "note", (None, 0, None)),
        ("8(2):1/2=bass string 6 fret 2", "bass", (6, 2, None)),
        ("no finger 4", "forbid", (None, None, 4)),
        ("5-8=no string 6", "forbid", (6, None, None)),
        ("5=no bass", "no bass", (None, None, None)),
        ("B=keep", "keep", (None, None, None)),
    ],
)
def test_every_wish_is_read(text, kind, held):
    pin = parse_pin(text)
    assert (pin.kind, (pin.string, pin.fret, pin.finger)) == (kind, held)


def test_the_place_is_read():
    where = parse_pin("12-14:3/8=string 1").where
    assert where is not None
    assert (where.first, where.last, where.start) == (12, 14, Fraction(3, 8))
    assert parse_pin("5=chord D7/F#").symbol == "D7/F#"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("string 4", "names no bar"),
        ("keep", "names no bar"),
        ("5:1/4=", "is not understood"),
        ("5=string", "is not understood"),
        ("5=string 7", "names string 7: there are strings 1 to 6"),
        ("5=finger 5", "there are fingers 0 to 4"),
        ("5=bass string 2", "the thumb plays it on string 4, 5 or 6"),
        ("5:1/0=string 2", "divides by 0"),
        ("five=string 2", "has no place"),
        ("5:1/4=keep", "keeps whole bars"),
        ("5=sing louder", "is not understood"),
    ],
)
def test_what_is_no_pin_is_said_in_one_sentence(text, said):
    with pytest.raises(UsageError, match=said) as fault:
        parse_pin(text)
    assert fault.value.exit_code == 2


def test_places_of_pickups_and_endings_have_words():
    tune = read_abc(REEL, name="reel.abc")
    written = tune.written_bars()
    for index, bar in enumerate(written):
        where = parse_pin(f"{place_text(tune, index)}=fret 1").where
        assert where is not None
        assert where.bars(tune) == (index,)
        assert place_text(tune, index, Fraction(1, 4)).endswith(":1/4")
        assert bar.number or place_text(tune, index) in ("A0", "B0")


def test_annotations_of_tune_abc_are_pins_and_survive_a_round_trip():
    tune = read_abc(REEL, name="reel.abc")
    assert tune.pins == (
        "no finger 4",
        "1:0=string 2 fret 3",
        "2=keep",
        "3(1):0=bass string 6",
    )
    assert [chord.symbol for chord in tune.chords_typed] == ["G"]
    assert any("pin nonsense" in remark for remark in tune.remarks)
    again = read_abc(tune_to_abc(tune), name="tune.abc")
    assert again.pins == tune.pins
    assert again.parts == tune.parts


def test_a_pin_line_that_cannot_be_read_is_said_with_its_number():
    tune = read_abc(REEL.replace("no finger 4", "no toe 4"), name="reel.abc")
    assert any("no toe 4" in remark and remark.startswith("Line 9") for remark in tune.remarks)
