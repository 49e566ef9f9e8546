"""Tune and bass are found again in pages that say nothing of voices."""

import pytest

from liltwright.read.finished import finished_from_bytes, without_voices
from liltwright.unpick.page import page_of
from liltwright.unpick.parting import part_notes
from liltwright.write.formats.musicxml import layer_to_musicxml
from tests.unpick import pages


def f1(truth, found, part):
    both = sum(a == b == part for a, b in zip(truth, found, strict=True))
    return 2 * both / max(1, truth.count(part) + list(found).count(part))


@pytest.mark.parametrize("kind", ["jig", "reel", "slip jig", "hornpipe"])
def test_our_layers_as_pure_tab_are_parted_again(kind):
    tune, arrangement = pages.page_of(kind)
    for layer in arrangement.layers:
        read = finished_from_bytes(layer_to_musicxml(tune, arrangement, layer.name), name="p")
        truth = [one.note.voice for one in page_of(read).notes]
        page = page_of(without_voices(read))
        parted = part_notes(page)
        assert f1(truth, parted.parts, "melody") >= 0.97, (kind, layer.name)
        if layer.name != "melody":
            assert f1(truth, parted.parts, "bass") >= 0.9, (kind, layer.name)


def test_a_named_voice_is_believed():
    tune, arrangement = pages.page_of("jig")
    read = finished_from_bytes(layer_to_musicxml(tune, arrangement, "fuller"), name="p")
    page = page_of(read)
    assert list(part_notes(page).parts) == [one.note.voice for one in page.notes]


def test_what_the_user_says_of_a_note_holds_and_its_neighbours_follow():
    abc = "X:1\nT:T\nM:4/4\nL:1/4\nK:D\n[Dd]fad|[Dd]fa2|]\n"
    page = page_of(finished_from_bytes(abc.encode(), name="t.abc"))
    plain = part_notes(page)
    assert plain.parts[:2] == ("bass", "melody")
    told = part_notes(page, {1: "inner"})
    assert told.parts[1] == "inner"
    assert told.confidence[1] == 1.0


def test_every_note_has_a_confidence_that_is_a_share():
    tune, arrangement = pages.page_of("reel")
    read = finished_from_bytes(layer_to_musicxml(tune, arrangement, "fuller"), name="p")
    page = page_of(without_voices(read))
    parted = part_notes(page)
    assert len(parted.parts) == len(page.notes)
    assert all(0 <= one <= 1 for one in parted.confidence)
    assert min(parted.confidence) < 0.999
