"""Tunings by name and by what a player types."""

from __future__ import annotations

import pytest

from liltwright.errors import UsageError
from liltwright.guitar.tunings import (
    catalogue,
    changes,
    name_of,
    parse_tuning,
    retuning_steps,
    standard,
    tuning_of,
)

DADGAD = (38, 45, 50, 55, 57, 62)


def test_at_least_twenty_four_tunings_each_once() -> None:
    assert len(catalogue()) >= 24
    assert len({tuning.strings_midi for tuning in catalogue()}) == len(catalogue())
    assert len({tuning.name.lower() for tuning in catalogue()}) == len(catalogue())


def test_standard_tuning_by_music21_note_numbers() -> None:
    """Standard guitar tuning E2 A2 D3 G3 B3 E4, numbered by music21."""
    from music21 import pitch

    expected = tuple(pitch.Pitch(name).midi for name in ("E2", "A2", "D3", "G3", "B3", "E4"))
    assert standard() == expected == catalogue()[0].strings_midi


@pytest.mark.parametrize(
    "text", ["DADGAD", "dadgad", "D A D G A D", "D2 A2 D3 G3 A3 D4", "D-A-D-G-A-D", " D,A,D,G,A,D "]
)
def test_many_ways_to_write_one_tuning(text: str) -> None:
    assert parse_tuning(text) == ("DADGAD", DADGAD)


@pytest.mark.parametrize(
    ("text", "name"),
    [("EADGBE", "standard"), ("DADF#AD", "open D"), ("DADG♭AD", "open D"), ("Open g", "open G"),
     ("DGDGB♭D", "open G minor"), ("CGDGCD", "Orkney"), ("CGCGCE", "open C")],
)  # fmt: skip
def test_notes_of_a_known_tuning_get_its_name(text: str, name: str) -> None:
    assert parse_tuning(text)[0] == name


def test_octaves_are_the_nearest_to_standard() -> None:
    assert parse_tuning("CGDGCD")[1] == (36, 43, 50, 55, 60, 62)
    assert parse_tuning("FBEADG")[1] == (41, 47, 52, 57, 62, 67)


def test_an_unknown_tuning_is_named_by_its_notes_and_read_back() -> None:
    name, strings = parse_tuning("C2 F2 D3 G3 A3 C4")
    assert name == "CFDGAC"
    assert parse_tuning(name) == (name, strings)
    far = (33, 45, 50, 55, 59, 64)
    assert parse_tuning(name_of(far))[1] == far


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("DADGA", "has 5 notes"),
        ("DADGADD", "has 7 notes"),
        ("DADGAH", '"H" is neither'),
        ("hello", "is neither a note name"),
        ("", "has 0 notes"),
        ("E4 A2 D3 G3 B3 E4", "string 5 (A2) lies below string 6"),
        ("D9 A9 D9 G9 A9 D9", "lies outside"),
        ("E9 C G C G C", "lies outside"),
    ],
)
def test_nonsense_is_explained(text: str, says: str) -> None:
    with pytest.raises(UsageError) as fault:
        parse_tuning(text)
    assert says in str(fault.value)


def test_strings_to_retune() -> None:
    """Standard to DADGAD moves strings 6, 2 and 1 down a tone (common practice)."""
    assert changes(DADGAD, standard()) == ((6, -2), (2, -2), (1, -2))
    assert changes(DADGAD, DADGAD) == ()


def test_the_strings_that_move_least_come_first() -> None:
    """Common practice: change the strings that move least first."""
    steps = retuning_steps(parse_tuning("CGDGAD")[1], standard())
    assert steps[-1] == "string 6 from E down to C"
    assert "string 5 from A down to G" in steps[:-1]
    assert retuning_steps(standard(), DADGAD)[0] == "string 6 from D up to E"


def test_a_typed_tuning_is_the_catalogued_one() -> None:
    assert tuning_of("D A D G A D").common == tuning_of("DADGAD").common == 1
    assert tuning_of("C2 F2 D3 G3 A3 C4").common == 0
