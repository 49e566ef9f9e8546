"""Foreign MIDI files begin with the pick-up at the very start: the bar lines are found."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

from liltwright.read.barline import pickup_length
from liltwright.tunefile import tune_from_bytes
from liltwright.write.formats.abc import tune_to_abc
from tests.read import books
from tests.tools import need
from tests.write.heard_by import abc2midi

EIGHTH = Fraction(1, 8)


def test_long_notes_stand_on_bar_lines():
    lengths = [1, *[2, 1, 2, 1] * 7, 3, 2]  # jig rhythm after a pick-up of an eighth
    starts = [sum(lengths[:place]) * EIGHTH for place in range(len(lengths))]
    notes = [(at, at + n * EIGHTH, 69) for at, n in zip(starts, lengths, strict=True)]
    assert pickup_length(notes, Fraction(3, 4), Fraction(3, 8)) == EIGHTH
    without = [(at - EIGHTH, end - EIGHTH, midi) for at, end, midi in notes[1:]]
    assert pickup_length(without, Fraction(3, 4), Fraction(3, 8)) == 0


def test_pickups_of_files_by_abc2midi_are_found(tmp_path: Path):
    need("abc2midi")
    right = 0
    sample = books.some(60)
    for tune in sample:
        text = re.sub(r"^R:.*\n", "", tune_to_abc(tune), flags=re.MULTILINE)
        abc2midi(text, tmp_path)
        again = tune_from_bytes((tmp_path / "tune.mid").read_bytes(), name="tune.mid")
        first, found = tune.parts[0].pickup, again.parts[0].pickup
        right += [note.start for note in first] == [note.start for note in found]
    # 48 of these 60 when written; a floor, so that a change for the worse shows
    assert right >= 46
