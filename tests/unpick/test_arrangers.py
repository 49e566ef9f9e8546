"""Pages by arrangers unlike ours are parted too."""

import pytest

from liltwright.unpick.parting import part_notes
from liltwright.unpick.unpicked import unpick
from tests.unpick.arrangers import TEXTURES, arranged_by, blind, on_strings
from tests.unpick.pages import of_type
from tests.unpick.scores import QUARTET, SONG, score
from tests.unpick.test_parting import f1

LEAST = {
    "broken chords": (0.93, 0.6),
    "alternating thumb": (0.95, 0.9),
    "harp": (0.9, 0.9),
    "melody in the middle": (0.9, 0.9),
    "block chords": (0.97, 0.95),
}


@pytest.mark.parametrize("name", list(TEXTURES))
def test_a_foreign_texture_is_parted(name):
    truth, found = [], []
    for kind in ("jig", "reel", "hornpipe"):
        page = on_strings(arranged_by(name, of_type(kind)))
        truth += [one.note.voice for one in page.notes]
        found += part_notes(blind(page)).parts
    melody, bass = LEAST[name]
    assert f1(truth, found, "melody") >= melody
    assert f1(truth, found, "bass") >= bass


@pytest.mark.parametrize("name", list(TEXTURES))
def test_a_foreign_page_gets_its_stages(name):
    found = unpick(arranged_by(name, of_type("jig")))
    assert found.stages.layers[0].name == "melody"
    assert found.stages.layers[-1].name == "finished"
    setup = found.page.setup
    for bar in found.page.layers[0].bars:
        for note in bar:
            assert setup.strings_midi[6 - note.string] + setup.capo + note.fret == note.midi


@pytest.mark.parametrize(
    ("name", "staves", "melody"),
    [
        ("liliuokalani/aloha_oe", SONG, 0.95),
        ("haydn/opus1no1/movement2", QUARTET, 0.93),
    ],
)
def test_a_score_that_music21_carries_is_parted(name, staves, melody):
    page = on_strings(score(name, staves), "drop D")
    truth = [one.note.voice for one in page.notes]
    assert f1(truth, part_notes(blind(page, lengths=True)).parts, "melody") >= melody
