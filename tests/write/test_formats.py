"""The check of every format (tests/write/formats.py): clean on tunes of the books, not blind."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from music21 import repeat

from liltwright.write.formats.abc import layer_to_abc
from liltwright.write.formats.midi import layer_to_midi
from liltwright.write.formats.musicxml import layer_to_musicxml
from liltwright.write.formats.tablature import layer_to_text
from liltwright.write.sheet.layout import sheet_of_layer
from tests.read import books
from tests.tools import need
from tests.write.arranged import arrangements
from tests.write.formats import (
    check_tune,
    layer_abc_reads,
    mido_reads,
    music21_reads,
    text_reads,
    verovio_reads,
)

TUNE, MADE = arrangements()[1]
"""The slip jig: ties over bar lines, endings, pick-ups; in DADGAD with the capo at 2."""
NAME = MADE.layers[-1].name
SHEET = sheet_of_layer(TUNE, MADE, NAME)
ORDER = TUNE.performed_order()


@pytest.mark.slow
@pytest.mark.parametrize("number", range(3))
def test_every_format_of_a_tune_of_the_books_is_read_back(number: int):
    need("abc2midi")
    checks = Counter[str]()
    assert list(check_tune(books.some(3)[number], number, checks)) == []
    assert checks["layer music21"] >= 5


@pytest.mark.parametrize(
    ("find", "put"),
    [
        (r"<fret>0</fret>", "<fret>1</fret>"),
        (r"<string>1</string>", "<string>2</string>"),
        (r"<step>E</step>", "<step>F</step>"),
        (r'<repeat direction="backward"/>', ""),
        (r'<tie type="(start|stop)"/>\s*', ""),
        (r"<tuning-octave>2</tuning-octave>", "<tuning-octave>3</tuning-octave>"),
        (r'<ending number="2"[^>]*type="start".*?</ending>', ""),
    ],
)
def test_damage_to_musicxml_is_found(find: str, put: str):
    xml = layer_to_musicxml(TUNE, MADE, NAME)
    damaged, count = re.subn(find, put, xml.decode())
    assert count
    assert any(_complains(check, damaged.encode()) for check in (music21_reads, verovio_reads))
    assert not list(music21_reads(xml, SHEET, ORDER, MADE.setup))
    assert not list(verovio_reads(xml, SHEET, ORDER, MADE.setup))


def _complains(check: Callable[..., Iterator[str]], xml: bytes) -> bool:
    """Whether a check finds a difference, or the library behind it refuses the file."""
    try:
        return bool(list(check(xml, SHEET, ORDER, MADE.setup)))
    except repeat.ExpanderException:
        return True


def test_damage_to_abc_midi_and_text_is_found(tmp_path: Path):
    need("abc2midi")
    abc = layer_to_abc(TUNE, MADE, NAME)
    assert not list(layer_abc_reads(abc, SHEET))
    assert list(layer_abc_reads(re.sub("E2 ", "F2 ", abc, count=1), SHEET))
    text = layer_to_text(TUNE, MADE, NAME)
    assert not list(text_reads(text, SHEET, MADE.setup))
    assert list(text_reads(text.replace("-2-", "-3-", 1), SHEET, MADE.setup))
    midi = layer_to_midi(TUNE, MADE, NAME)
    assert not list(mido_reads(midi, SHEET, ORDER))
    assert list(mido_reads(layer_to_midi(TUNE, MADE, "melody"), SHEET, ORDER))
