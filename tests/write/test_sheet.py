"""The bars that all writers share: note values, ties, tuplets, voices, printed lengths."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from liltwright.read.abc import read_abc
from liltwright.tune import Tune
from liltwright.write.sheet.bars import SheetBar
from liltwright.write.sheet.beams import beams_of
from liltwright.write.sheet.layout import sheet_of_layer, sheet_of_tune
from liltwright.write.sheet.values import divided, value_and_dots
from tests.read import books
from tests.write.arranged import arrangements, layers
from tests.write.hand_made import arrangement, jig


def tune(music: str, meter: str = "4/4") -> Tune:
    return read_abc(f"X:1\nT:A\nM:{meter}\nL:1/8\nK:C\n{music}\n", name="a.abc")


def bars(music: str, meter: str = "4/4") -> tuple[SheetBar, ...]:
    return sheet_of_tune(tune(music, meter)).bars


def values(bar: SheetBar) -> list[str]:
    """Lengths of the items, ties after them, rests in brackets."""
    return [
        f"{item.length}{'-' if item.tied_out else ''}" if item.notes else f"({item.length})"
        for item in bar.voices[0].items
    ]


@pytest.mark.parametrize(
    ("length", "expected"),
    [("3/8", ("1/4", 1)), ("1/16", ("1/16", 0)), ("7/8", ("1/2", 2)), ("5/8", None)],
)
def test_note_values_and_dots(length: str, expected: tuple[str, int] | None):
    shown = value_and_dots(Fraction(length))
    assert shown == (expected and (Fraction(expected[0]), expected[1]))


@pytest.mark.parametrize(
    ("meter", "start", "length", "pieces"),
    [
        # Common practice: the middle of a 4/4 bar shows, as does every beat of compound time.
        ("4/4", "0", "1", ["1"]),
        ("4/4", "1/4", "1/2", ["1/2"]),
        ("4/4", "3/8", "1/4", ["1/8", "1/8"]),
        ("4/4", "1/8", "1/4", ["1/4"]),
        ("4/4", "0", "5/8", ["1/2", "1/8"]),
        ("6/8", "0", "3/4", ["3/4"]),
        ("6/8", "1/4", "1/4", ["1/8", "1/8"]),
        ("6/8", "0", "5/8", ["3/8", "1/4"]),
        ("9/8", "0", "9/8", ["3/4", "3/8"]),
        ("3/4", "1/8", "1/4", ["1/4"]),
    ],
)
def test_lengths_are_divided_at_the_beats(meter: str, start: str, length: str, pieces: list[str]):
    found = divided(Fraction(start), Fraction(length), meter)
    assert [str(piece) for piece in found] == pieces


def test_notes_over_the_bar_line_are_tied():
    first, second = bars("A6 B2-|B2 z2 A4|")
    assert values(first) == ["3/4", "1/4-"]
    assert values(second) == ["1/4", "(1/4)", "1/2"]
    assert [item.tied_in for item in second.voices[0].items] == [True, False, False]


def test_triplets_are_grouped_wherever_they_begin():
    (bar,) = bars("A2 (3BcdA2 (3e2f2g2|", "5/4")
    marks = [(i.tuplet.first, i.tuplet.last) if i.tuplet else None for i in bar.voices[0].items]
    triplet = [(True, False), (False, False), (False, True)]
    assert marks == [None, *triplet, None, *triplet]
    assert [str(item.written) for item in bar.voices[0].items][1:4] == ["1/8"] * 3


def test_beams_follow_the_metre():
    bar = bars("ABcd e2 fg|")[0]
    marks = beams_of(bar.voices[0].items, bar.offset, "4/4")
    assert [mark[0] if mark else "" for mark in marks] == [
        "begin", "continue", "continue", "end", "", "begin", "end",
    ]  # fmt: skip
    dotted = bars("A3/2B/2 c3/2d/2 z4|")[0]
    marks = beams_of(dotted.voices[0].items, dotted.offset, "4/4")
    assert marks[1] == ("continue", "backward hook")


def test_the_last_bar_is_printed_short_by_the_pickup():
    found = bars("|:AB|c8|d6:|\ne8|f8|]")
    assert [str(bar.length) for bar in found] == ["1/4", "1", "3/4", "1", "1"]
    assert [bar.number for bar in found] == [0, 1, 2, 3, 4]
    assert [(bar.opens_repeat, bar.closes_repeat) for bar in found][:3] == [
        (True, 0), (False, 0), (False, 2),
    ]  # fmt: skip


@pytest.mark.parametrize("book_tune", books.some(30), ids=lambda one: one.title[:24])
def test_every_bar_is_filled_and_every_item_is_one_note_value(book_tune: Tune):
    for bar in sheet_of_tune(book_tune).bars:
        for voice in bar.voices:
            assert sum(item.length for item in voice.items) == bar.length
            assert all(value_and_dots(i.written) for i in voice.items if i.notes)


@pytest.mark.parametrize(("made_tune", "made", "name"), layers())
def test_voices_of_layers_fill_their_bars(made_tune, made, name: str):
    for bar in sheet_of_layer(made_tune, made, name).bars:
        for voice in bar.voices:
            now = Fraction(0)
            for item in voice.items:
                assert item.start == now
                now += item.length
            assert now == bar.length


def test_a_performance_has_no_repeats_and_joins_pickups_to_the_bar_before():
    sheet = sheet_of_layer(jig(), arrangement(), "performance")
    assert not any(bar.closes_repeat or bar.opens_repeat or bar.ending for bar in sheet.bars)
    assert [bar.number for bar in sheet.bars] == list(range(len(sheet.bars)))
    assert all(bar.length == sheet.full for bar in sheet.bars[1:])
    assert [bar.heading for bar in sheet.bars if bar.heading] == [
        "Round 1: melody", "Round 2: drone", "Round 3: plain-bass",
    ]  # fmt: skip
    assert [bar.part for bar in sheet.bars if bar.part] == list("AABB" * 3)


def test_a_bass_that_rings_into_a_triplet_ends_on_a_sixteenth():
    made_tune, made = jig(), arrangement()
    plain = made.layers[2]
    bass = [note for note in plain.bars[1] if note.part == "bass"]
    others = [note for note in plain.bars[1] if note.part != "bass"]
    bass[0] = replace(bass[0], length=Fraction(1, 3))
    layer = replace(plain, bars=(plain.bars[0], (*others, *bass), *plain.bars[2:]))
    sheet = sheet_of_layer(made_tune, replace(made, layers=(layer,)), "plain-bass")
    voice = next(voice for voice in sheet.bars[1].voices if voice.name == "bass")
    assert sum(
        item.length for item in voice.items if item.notes and item.start < Fraction(3, 8)
    ) == (Fraction(5, 16))


def test_the_key_of_a_layer_is_the_sounding_one():
    made_tune, made = arrangements()[0]
    sheet = sheet_of_layer(made_tune, made, "melody")
    assert (sheet.key.tonic, sheet.signature) == ("E", 3)  # D mixolydian a tone higher
