"""Whole books of public-domain tunes are read, and every format gives the same tune back."""

from __future__ import annotations

import pytest

from liltwright.records import to_json
from liltwright.tune import Tune
from liltwright.tunefile import tune_from_bytes
from liltwright.write.formats.abc import tune_to_abc
from liltwright.write.formats.midi import tune_to_midi
from liltwright.write.formats.musicxml import tune_to_musicxml
from tests.read import books

SAMPLE = books.some(60)


def test_every_tune_of_the_sample_books_is_read():
    for name in books.BOOKS:
        book = books.read_book(books.folder() / name)
        assert book.faults == ()
        assert len(book) >= 25


def test_most_tunes_have_the_eight_bar_parts_of_a_tune_book():
    sizes = [
        len(part.bars) + (len(part.endings[0].bars) if part.endings else 0)
        for tune in books.tunes()
        for part in tune.parts
    ]
    assert sum(size % 4 == 0 for size in sizes) > 0.9 * len(sizes)


def same_tune(one: Tune, other: Tune) -> bool:
    facts = ("tune_type", "meter", "tonic", "mode", "signature", "form", "title")
    return books.plain_parts(one) == books.plain_parts(other) and all(
        getattr(one, fact) == getattr(other, fact) for fact in facts
    )


@pytest.mark.parametrize("tune", SAMPLE, ids=lambda tune: tune.title[:24])
def test_abc_musicxml_midi_and_json_give_the_same_tune_back(tune: Tune):
    written = {
        "tune.abc": tune_to_abc(tune).encode(),
        "tune.musicxml": tune_to_musicxml(tune),
        "tune.mid": tune_to_midi(tune),
        "tune.json": to_json(tune).encode(),
    }
    for name, data in written.items():
        again = tune_from_bytes(data, name=name)
        assert same_tune(again, tune), name
    assert tune_from_bytes(written["tune.json"], name="tune.json") == tune
    for name in ("tune.abc", "tune.musicxml"):
        assert tune_from_bytes(written[name], name=name).chords_typed == tune.chords_typed
