"""What hands can do: shifts, stretches and grips."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from liltwright.guitar.fretboard import Place
from liltwright.guitar.hand import Hand, costs, grips, shift_seconds, stretch_cost

TABLE = Path(__file__).parents[2] / "models" / "hand" / "costs.json"


def places(shape: str) -> tuple[Place, ...]:
    """ "x32010" from the sixth string to the first."""
    return tuple(Place(6 - k, int(fret)) for k, fret in enumerate(shape) if fret != "x")


def test_every_cost_line_has_unit_reason_and_source() -> None:
    for line in json.loads(TABLE.read_text(encoding="utf-8"))["lines"]:
        assert line["unit"]
        assert len(line["reason"]) > 20
        assert line["source"]
        assert costs()[line["name"]] == line["value"]


def test_a_shift_takes_the_time_of_fitts_law() -> None:
    """MacKenzie 1992: time = a + b log2(D / W + 1). One fret up: D is a little over W."""
    ratio = (1 - 2 ** (-1 / 12)) / (2 ** (-1 / 12) - 2 ** (-2 / 12))  # the fret left : W
    assert ratio == pytest.approx(2 ** (1 / 12))
    from math import log2

    # From position 5 to 6 the hand travels the width of fret 6, whose own width is W.
    expected = costs()["shift_start_s"] + costs()["shift_bit_s"] * log2(1 + 1)
    assert shift_seconds(5, 6) == pytest.approx(expected)


def test_longer_shifts_take_longer_and_staying_takes_none() -> None:
    times = [shift_seconds(1, there) for there in range(1, 12)]
    assert times[0] == 0.0
    assert times == sorted(times)


def test_stretch_is_judged_in_millimetres() -> None:
    hand = Hand()
    assert stretch_cost(1, 4, 97.0, hand) == 0.0
    assert stretch_cost(1, 4, 126.0, hand) > 0.0
    assert stretch_cost(1, 4, 131.0, hand) == float("inf")


@pytest.mark.parametrize(
    ("shape", "fingers"),
    [
        ("x32010", (3, 2, 0, 1, 0)),
        ("022100", (0, 2, 3, 1, 0, 0)),
        ("xx0232", (0, 1, 3, 2)),
        ("x02210", (0, 2, 3, 1, 0)),
        ("133211", (1, 3, 4, 2, 1, 1)),
    ],
)
def test_open_chords_have_the_fingering_of_the_chord_books(
    shape: str, fingers: tuple[int, ...]
) -> None:
    """C, E, D, A minor and the F barre: common practice."""
    found = grips(places(shape), capo=0, hand=Hand())
    assert fingers in [grip.fingers for grip in found[:2]]


def test_fingers_rise_with_the_frets_and_spans_stay_within_the_hand() -> None:
    for shape in ("xx0232", "x32010", "320003", "224432", "x5x65x"):
        for grip in grips(places(shape), capo=0, hand=Hand()):
            held = [(f, p.fret) for f, p in zip(grip.fingers, places(shape), strict=True) if f]
            for finger, fret in held:
                for other, other_fret in held:
                    assert not (finger < other and fret > other_fret)
            assert grip.span_mm <= Hand().widest_mm


def test_a_barre_cannot_lie_over_a_string_that_must_ring_open() -> None:
    assert all(grip.barre == 0 for grip in grips(places("2x0x2x"), capo=0, hand=Hand()))


def test_six_frets_apart_is_too_far_at_the_nut_but_not_up_the_neck() -> None:
    wide = (Place(6, 1), Place(1, 6))
    assert grips(wide, capo=0, hand=Hand()) == ()
    assert grips(wide, capo=7, hand=Hand()) != ()


def test_open_strings_need_no_finger() -> None:
    (grip,) = grips((Place(6, 0), Place(1, 0)), capo=3, hand=Hand())
    assert (grip.fingers, grip.cost) == ((0, 0), 0.0)
