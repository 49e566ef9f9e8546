"""String tension: Mersenne's law, published figures, cautions."""

from __future__ import annotations

import pytest

from liltwright.errors import UsageError
from liltwright.guitar.tension import (
    breaking_hz,
    cautions,
    change_percent,
    mass_kg_m,
    plain_mass_kg_m,
    refuse_breaking,
    string_sets,
    tension_n,
    tensions,
)
from liltwright.guitar.tunings import catalogue, parse_tuning, standard


def test_mersenne_against_a_worked_textbook_example() -> None:
    """OpenStax, University Physics 1, section 16.3, example on a guitar string.

    A high E string of 3.09e-4 kg/m under 56.40 N carries waves at 427.23 m/s; the fundamental of a
    length L is f = v / 2L, so the same length and pitch give 56.40 N back. A low E string of
    5.78e-3 kg/m needs 1055.00 N for the same speed.
    """
    length_m = 0.65
    frequency = 427.23 / (2 * length_m)
    assert tension_n(3.09e-4, length_m, frequency) == pytest.approx(56.40, abs=0.01)
    assert tension_n(5.78e-3, length_m, frequency) == pytest.approx(1055.00, abs=0.05)


def test_a_plain_first_string_by_hand() -> None:
    """.012 inch of steel, 7850 kg/m^3, 647.7 mm at E4: 104.4 N, worked from the formula."""
    assert tension_n(plain_mass_kg_m(0.012 * 0.0254), 0.6477, 329.628) == pytest.approx(
        104.4, abs=0.1
    )


@pytest.mark.parametrize(
    ("semitones", "percent"),
    [(-5, -43.9), (-2, -20.6), (-1, -10.9), (1, 12.2), (2, 26.0), (3, 41.4)],
)
def test_tension_goes_as_the_square_of_the_frequency(semitones: int, percent: float) -> None:
    assert change_percent(semitones) == pytest.approx(percent, abs=0.05)
    lower = tensions(standard())[0]
    moved = tensions((*standard()[:5], standard()[5] + semitones))[0]
    assert 100 * (moved.tension_n / lower.tension_n - 1) == pytest.approx(moved.percent)


def test_breaking_pitch_of_plain_steel_does_not_depend_on_gauge() -> None:
    """2.0 GPa and 7850 kg/m^3 at 647.7 mm: 389.7 Hz, just under G4 (392 Hz)."""
    assert breaking_hz(0.6477) == pytest.approx(389.65, abs=0.05)


@pytest.mark.parametrize("name", string_sets())
def test_sets_pull_like_guitar_strings(name: str) -> None:
    """60 to 180 N a string in standard tuning: common practice for steel strings."""
    for string in tensions(standard(), string_set=name):
        assert 60 < string.tension_n < 180


def test_an_unknown_set_is_refused() -> None:
    with pytest.raises(UsageError, match="no string set"):
        mass_kg_m("spider silk", 1)


def test_standard_and_lowered_tunings_need_no_warning_about_tension() -> None:
    for name in ("standard", "drop D", "DADGAD", "open G"):
        assert cautions(parse_tuning(name)[1]) == ()


def test_a_raised_string_gets_a_caution_and_a_high_one_a_strong_one() -> None:
    (open_a,) = cautions(parse_tuning("open A")[1])
    assert "26 % more tension" in open_a
    assert "keep the face away" in open_a
    strong = cautions(parse_tuning("E A D G D4 E4")[1])
    assert any("Danger of a snapped string" in said and "second" in said for said in strong)


def test_slack_strings_are_mentioned() -> None:
    assert any("slack" in said for said in cautions(parse_tuning("CGCGCE")[1]))


def test_a_string_near_breaking_is_refused() -> None:
    with pytest.raises(UsageError, match="first string at G4 is near its breaking pitch"):
        refuse_breaking(parse_tuning("E2 A2 D3 G3 B3 G4")[1])
    for tuning in catalogue():
        refuse_breaking(tuning.strings_midi)
