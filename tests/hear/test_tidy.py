"""False starts and blips go, everything a player means stays."""

from liltwright.hear.clean.tidy import tidy
from liltwright.hear.ears.raw import RawNote


def notes(*rows):
    """From (onset, length, MIDI number, confidence)."""
    return [RawNote(on, on + length, midi, sure, 0.1) for on, length, midi, sure in rows]


def test_a_swell_into_a_note_is_part_of_it():
    heard = notes((1.0, 0.2, 60, 0.9), (1.2, 0.06, 64, 0.8), (1.26, 0.5, 64, 0.9))
    assert [(n.onset_s, n.midi) for n in tidy(heard)] == [(1.0, 60), (1.26, 64)]


def test_a_blip_before_a_rest_is_dropped():
    heard = notes((1.0, 0.03, 62, 0.6), (1.2, 0.4, 64, 0.9))
    assert [n.midi for n in tidy(heard)] == [64]


def test_a_cut_stays():
    heard = notes((1.0, 0.2, 62, 0.9), (1.2, 0.04, 67, 0.8), (1.24, 0.2, 64, 0.9))
    assert [n.midi for n in tidy(heard)] == [62, 67, 64]


def test_the_strokes_of_a_treble_stay():
    heard = notes((1.0, 0.07, 62, 0.9), (1.07, 0.07, 62, 0.9), (1.14, 0.15, 62, 0.9))
    assert len(tidy(heard)) >= 2


def test_the_last_piece_of_a_roll_stays():
    heard = notes(
        (1.0, 0.1, 67, 0.9), (1.1, 0.04, 66, 0.9), (1.14, 0.08, 67, 0.9), (1.22, 0.2, 67, 0.9)
    )  # fmt: skip
    assert [n.midi for n in tidy(heard)] == [67, 66, 67, 67]


def test_overlaps_are_cut_and_order_is_made():
    heard = notes((2.0, 0.3, 64, 0.9), (1.0, 1.2, 60, 0.9))
    tidied = tidy(heard)
    assert [n.midi for n in tidied] == [60, 64]
    assert tidied[0].offset_s == tidied[1].onset_s


def test_nothing():
    assert tidy([]) == []
