"""What a file holds of a finished page: every note, whichever format it is in."""

from fractions import Fraction

import pytest

from liltwright.errors import PipelineError
from liltwright.read.finished import finished_from_bytes, without_voices
from liltwright.write.formats.abc import layer_to_abc
from liltwright.write.formats.midi import layer_to_midi
from liltwright.write.formats.musicxml import layer_to_musicxml
from liltwright.write.formats.tablature import layer_to_text
from tests.unpick.pages import page_of

LAYER = "fuller"


@pytest.fixture(scope="module")
def page():
    return page_of("jig")


def written(page, kind):
    tune, arrangement = page
    if kind == "musicxml":
        return layer_to_musicxml(tune, arrangement, LAYER)
    if kind == "mid":
        return layer_to_midi(tune, arrangement, LAYER)
    if kind == "abc":
        return layer_to_abc(tune, arrangement, LAYER).encode()
    return layer_to_text(tune, arrangement, LAYER).encode()


def truth(page):
    """Pitch and part of every note that begins in each printed bar."""
    _, arrangement = page
    return [sorted((n.midi, n.part) for n in bar) for bar in arrangement.layer(LAYER).bars]


@pytest.mark.parametrize("kind", ["musicxml", "txt", "abc"])
def test_every_note_of_our_own_page_is_read(page, kind):
    found = finished_from_bytes(written(page, kind), name=f"page.{kind}")
    assert [sorted((n.midi, n.voice) for n in bar.notes) for bar in found.bars] == truth(page)
    assert found.stated.key == page[1].setup.sounds_in
    assert found.stated.meter == "6/8"
    if kind != "abc":
        assert found.has_strings
        assert found.strings_midi == page[1].setup.strings_midi
        assert found.capo == page[1].setup.capo
        mine = [sorted((n.string, n.fret) for n in bar.notes) for bar in found.bars]
        assert mine == [
            sorted((n.string, n.fret) for n in bar) for bar in page[1].layer(LAYER).bars
        ]


def test_midi_is_folded_into_the_printed_bars(page):
    found = finished_from_bytes(written(page, "mid"), name="page.mid")
    got = [sorted((n.midi, n.voice) for n in bar.notes) for bar in found.bars]
    assert [bar for bar in got if bar] == [bar for bar in truth(page) if bar]


def test_fingers_come_from_the_notation_staff(page):
    found = finished_from_bytes(written(page, "musicxml"), name="page.musicxml")
    fingers = {(n.midi, n.string, n.finger) for bar in found.bars for n in bar.notes if n.fret}
    assert any(finger for _, _, finger in fingers)


def test_voices_can_be_forgotten(page):
    found = without_voices(finished_from_bytes(written(page, "txt"), name="page.txt"))
    notes = [note for bar in found.bars for note in bar.notes]
    assert {note.voice for note in notes} == {""}
    assert all(note.string for note in notes)


def test_frets_may_count_from_the_nut(page):
    text = written(page, "musicxml").decode()
    capo = page[1].setup.capo
    if not capo:
        pytest.skip("no capo here")
    import re

    moved = re.sub(r"<fret>(\d+)</fret>", lambda m: f"<fret>{int(m[1]) + capo}</fret>", text)
    there = finished_from_bytes(moved.encode(), name="nut.musicxml")
    here = finished_from_bytes(text.encode(), name="capo.musicxml")
    assert [bar.notes for bar in there.bars] == [bar.notes for bar in here.bars]


def test_an_abc_chord_keeps_all_its_notes_and_its_ties():
    abc = "X:1\nT:T\nM:4/4\nL:1/8\nK:D\n[DAd]4- [DAd]4 | [D2A2] z2 d4 |]\n"
    bars = finished_from_bytes(abc.encode(), name="t.abc").bars
    assert [n.midi for n in bars[0].notes] == [62, 69, 74]
    assert all(n.length == Fraction(1) for n in bars[0].notes)
    assert [n.midi for n in bars[1].notes] == [62, 69, 74]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is empty"),
        (b"hello", "holds no tune"),
        (b'{"format": "liltwright-tune"}', "is JSON"),
        (b"<score-partwise><part id='P1'/></score-partwise>", "has no notes"),
        (b"X:1\nK:D\nz4 |]\n", "has no notes"),
        (b"MThd\x00\x00", "broken MIDI"),
    ],
)
def test_what_is_no_page_is_refused_in_a_sentence(data, words):
    with pytest.raises(PipelineError, match=words):
        finished_from_bytes(data, name="file")


def test_a_voice_of_an_abc_page_may_be_named_by_its_name():
    abc = (
        'X:1\nT:T\nM:4/4\nL:1/4\nK:D\nV:1 name=Melody\nV:2 clef=bass nm="Bass"\n'
        "V:1\nd f a d' |]\nV:2\nD,2 A,2 |]\n"
    )
    bars = finished_from_bytes(abc.encode(), name="t.abc").bars
    assert [n.voice for n in bars[0].notes] == [
        "bass",
        "melody",
        "melody",
        "bass",
        "melody",
        "melody",
    ]


def test_a_silent_bar_and_one_of_grace_notes_lose_their_voices_too():
    abc = "X:1\nT:T\nM:4/4\nL:1/4\nK:D\ndfad|z4|[D,d]4|]\n"
    found = without_voices(finished_from_bytes(abc.encode(), name="t.abc"))
    assert [len(bar.notes) for bar in found.bars] == [4, 0, 2]


def test_a_page_of_one_named_voice_keeps_its_name():
    abc = "X:1\nT:T\nM:4/4\nL:1/4\nK:D\nV:melody\nD,faA|]\n"
    found = finished_from_bytes(abc.encode(), name="t.abc")
    assert {note.voice for note in found.bars[0].notes} == {"melody"}
