"""Fretboard geometry against its closed form, and pitches against music21."""

from __future__ import annotations

import pytest

from liltwright.guitar.fretboard import Place, fret_mm, last_fret, places, span_mm
from liltwright.guitar.tunings import catalogue, standard, with_octaves


def test_the_twelfth_fret_halves_the_string() -> None:
    assert fret_mm(12, 648.0) == pytest.approx(324.0)
    assert fret_mm(24, 648.0) == pytest.approx(486.0)
    assert fret_mm(0, 648.0) == 0.0


@pytest.mark.parametrize(
    ("fret", "mm"), [(1, 36.35), (2, 70.66), (3, 103.05), (5, 162.47), (7, 215.41), (12, 323.85)]
)
def test_fret_places_of_a_steel_string_guitar(fret: int, mm: float) -> None:
    """L (1 - 2^(-n/12)) with L = 647.7 mm (25.5 inches), worked by hand to 0.01 mm."""
    assert fret_mm(fret, 647.7) == pytest.approx(mm, abs=0.01)


def test_each_fret_shortens_the_string_by_one_semitone() -> None:
    """Equal temperament: the sounding length falls by 2^(1/12) a fret."""
    for fret in range(20):
        length, next_length = 648 - fret_mm(fret, 648.0), 648 - fret_mm(fret + 1, 648.0)
        assert length / next_length == pytest.approx(2 ** (1 / 12))


def test_a_capo_shrinks_every_span_by_the_same_factor() -> None:
    for capo in range(10):
        ratio = span_mm(1, 4, capo=capo, scale_mm=648) / span_mm(1, 4, capo=0, scale_mm=648)
        assert ratio == pytest.approx(2 ** (-capo / 12))


def test_the_body_stays_where_it_is() -> None:
    assert last_fret(0, body_fret=14, past_body=2) == 16
    assert last_fret(5, body_fret=14, past_body=2) == 11


def test_the_places_of_middle_c_in_standard_tuning() -> None:
    """Common practice: C4 lies at 2:1, 3:5, 4:10, 5:15 (string:fret)."""
    assert places(standard(), 0, 60, 16) == ((2, 1), (3, 5), (4, 10), (5, 15))
    assert places(standard(), 3, 60, 13) == ((3, 2), (4, 7), (5, 12))
    assert places(standard(), 0, 39, 16) == ()
    assert places((38, 45, 50, 55, 57, 62), 0, 62, 4) == (Place(1, 0),)


def test_every_place_sounds_its_pitch_by_music21() -> None:
    """music21's interval arithmetic on note names, not ours."""
    from music21 import interval, pitch

    for tuning in catalogue():
        names = with_octaves(tuning.strings_midi).replace("b", "-").split()
        for place in places(tuning.strings_midi, 2, 67, 14):
            sounding = pitch.Pitch(names[6 - place.string]).transpose(
                interval.Interval(2 + place.fret)
            )
            assert sounding.midi == 67
