"""Which notes are the tune and which decorate it.

The ornaments are those that players teach: common practice.
"""

from itertools import pairwise

import pytest

from liltwright.hear.clean.ornaments import label_ornaments, usual_gap_s
from liltwright.hear.ears.raw import RawNote

QUAVER = 0.15


def performed(*pieces, ornament=0.5):
    """RawNotes from (length in s, MIDI number) one after another."""
    notes, now = [], 1.0
    for seconds, midi in pieces:
        notes.append(RawNote(now, now + seconds, midi, 0.9, ornament))
        now += seconds
    return notes


def plain(*midi):
    """Quavers."""
    return [(QUAVER, pitch) for pitch in midi]


def labels(*pieces):
    """(MIDI number, role, kind) of every event."""
    return [(e.midi, e.role, e.ornament) for e in label_ornaments(performed(*pieces))]


def test_a_plain_tune_has_no_ornaments():
    found = labels(*plain(62, 66, 69, 74, 73, 69, 66, 64, 62, 62, 64))
    assert {(role, kind) for _, role, kind in found} == {("note", None)}


def test_cut():
    found = labels(*plain(66, 69), (0.04, 74), (0.11, 71), *plain(69, 66))
    assert found[2:4] == [(74, "ornament", "cut"), (71, "note", "cut")]


def test_tap_between_two_notes_of_one_pitch():
    found = labels(*plain(66, 69), (0.04, 67), (0.11, 69), *plain(71, 66))
    assert found[2:4] == [(67, "ornament", "tap"), (69, "note", "tap")]


def test_a_short_note_from_below_is_a_grace_note():
    found = labels(*plain(66, 69), (0.04, 69), (0.11, 71), *plain(69, 66))
    assert found[2:4] == [(69, "ornament", "grace"), (71, "note", "grace")]


def test_a_run_of_grace_notes():
    found = labels(*plain(66), (0.045, 67), (0.045, 69), (0.2, 71), *plain(69, 66))
    assert found[1:4] == [
        (67, "ornament", "grace"), (69, "ornament", "grace"), (71, "note", "grace"),
    ]  # fmt: skip


ROLL = [(0.13, 67), (0.04, 71), (0.11, 67), (0.04, 66), (0.13, 67)]


def test_a_roll_is_one_long_plain_note():
    events = label_ornaments(performed(*plain(69, 66), *ROLL, *plain(71, 69)))
    notes = [event for event in events if event.role == "note"]
    assert [note.midi for note in notes] == [69, 66, 67, 71, 69]
    roll = notes[2]
    assert roll.ornament == "roll"
    assert roll.offset_s - roll.onset_s == pytest.approx(sum(s for s, _ in ROLL))
    assert [e.ornament for e in events if e.role == "ornament"] == ["roll"] * 4


def test_a_short_roll_begins_with_its_cut():
    events = label_ornaments(performed(*plain(69, 66), *ROLL[1:], *plain(71, 69)))
    assert [(e.midi, e.role) for e in events[2:6]] == [
        (71, "ornament"), (67, "note"), (66, "ornament"), (67, "ornament"),
    ]  # fmt: skip


def test_a_cran_is_labelled_as_a_roll():
    cran = [(0.1, 62), (0.04, 69), (0.09, 62), (0.04, 67), (0.12, 62)]
    notes = [
        e for e in label_ornaments(performed(*plain(66), *cran, *plain(64))) if e.role == "note"
    ]
    assert [(note.midi, note.ornament) for note in notes] == [(66, None), (62, "roll"), (64, None)]


def test_repeated_notes_with_cuts_are_no_roll():
    found = labels(*plain(66, 69), (0.04, 74), (0.26, 69), (0.04, 74), (0.26, 69), *plain(66))
    assert [kind for _, role, kind in found if role == "note"].count("cut") == 2


def test_treble_in_the_time_of_a_crotchet():
    treble = [(QUAVER / 2, 69), (QUAVER / 2, 69), (QUAVER, 69)]
    events = label_ornaments(performed(*plain(62, 66, 64, 66), *treble, *plain(66, 64, 62, 64)))
    notes = [event for event in events if event.role == "note"]
    assert [note.midi for note in notes] == [62, 66, 64, 66, 69, 66, 64, 62, 64]
    assert notes[4].ornament == "triplet"
    assert notes[4].offset_s - notes[4].onset_s == pytest.approx(2 * QUAVER)


def test_three_repeated_quavers_are_no_treble():
    assert {kind for _, _, kind in labels(*plain(62, 66, 69, 69, 69, 66, 64, 62))} == {None}


def test_the_ear_can_deny_an_ornament():
    pieces = [*plain(66, 69), (0.05, 74), (0.11, 71), *plain(69)]
    denied = label_ornaments(performed(*pieces, ornament=0.05))
    assert {event.role for event in denied} == {"note"}


def test_plain_notes_never_overlap_and_all_are_in_order():
    events = label_ornaments(performed(*plain(69, 66), *ROLL, *ROLL, *plain(71), *ROLL[1:]))
    assert all(a.onset_s < b.onset_s for a, b in pairwise(events))
    notes = [event for event in events if event.role == "note"]
    assert all(a.offset_s <= b.onset_s + 1e-9 for a, b in pairwise(notes))


def test_the_usual_gap_is_the_quaver():
    assert usual_gap_s(performed(*plain(*[62, 64] * 10), (0.3, 66))) == pytest.approx(
        QUAVER, rel=0.05
    )


def test_nothing():
    assert label_ornaments([]) == []


def test_one_cut_in_nearly_every_long_note_is_a_roll_and_a_few_are_repeats():
    def played(long_notes: int, pairs: int) -> list[RawNote]:
        notes, now = [], 0.0
        for k in range(8 * (long_notes + pairs)):
            notes.append(RawNote(now, now + 0.15, 62.0 + 2 * (k % 3), ornament=0.0))
            now += 0.15
            if k % 8 == 7 and k // 8 < long_notes:
                notes += [
                    RawNote(now, now + 0.14, 71.0, ornament=0.0),
                    RawNote(now + 0.14, now + 0.18, 74.0, ornament=0.9),
                    RawNote(now + 0.18, now + 0.3, 71.0, ornament=0.0),
                ]
                now += 0.3
            elif k % 8 == 7:
                notes += [RawNote(now + d, now + d + 0.15, 71.0, ornament=0.0) for d in (0, 0.15)]
                now += 0.3
        return notes

    for long_notes, pairs, rolls in ((6, 2, 6), (6, 9, 0), (2, 0, 0)):
        found = label_ornaments(played(long_notes, pairs))
        plain = [n for n in found if n.role == "note"]
        assert sum(n.ornament == "roll" for n in plain) == rolls
        assert sum(0.25 < n.offset_s - n.onset_s < 0.35 for n in plain) == rolls
