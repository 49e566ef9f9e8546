"""Both hands on paper: every finger of the tab is in the engraving and in MusicXML."""

from __future__ import annotations

import re
from collections import Counter

import pytest
from lxml import etree

import liltwright
from liltwright.options import LayerOptions
from liltwright.write.engrave.engraving import engrave_layer
from liltwright.write.formats.musicxml import layer_to_musicxml
from tests.arrange.samples import own, somewhere


@pytest.fixture(scope="module")
def made():
    tune = own("jig")
    options = LayerOptions(suggest=True)
    return tune, liltwright.arrange(tune, somewhere(tune), options=options)


def plucked(layer) -> Counter[str]:
    return Counter(
        note.pluck
        for bar in layer.bars
        for note in bar
        if note.technique is None and not note.grace
    )


@pytest.mark.parametrize("name", ["melody", "plain-bass", "moving-bass", "fuller", "restless"])
def test_every_plucked_note_has_its_letter_in_the_drawing(made, name):
    tune, arrangement = made
    music = engrave_layer(tune, arrangement, name)
    texts = [
        word
        for line in music.lines
        for word in re.findall(r'<text class="pluck"[^>]*>([pima]+)</text>', line.body)
    ]
    assert Counter("".join(texts)) == plucked(arrangement.layer(name))
    assert all("".join(sorted(word, key="pima".index)) == word for word in texts)


def test_letters_stand_below_the_strings_and_inside_the_picture(made):
    tune, arrangement = made
    for line in engrave_layer(tune, arrangement, "moving-bass").lines:
        feet = [int(y) for y in re.findall(r'<text class="pluck" x="-?\d+" y="(\d+)"', line.body)]
        frets = [int(y) for y in re.findall(r'<text class="fret"[^>]*? y="(\d+)"', line.body)]
        frets += [int(y) for y in re.findall(r'y="(\d+)"[^>]*class="fret"', line.body)]
        assert len(set(feet)) == 2
        assert min(feet) > max(frets)
        assert max(feet) < line.top + line.height


@pytest.mark.parametrize("name", ["melody", "moving-bass", "fuller"])
def test_musicxml_names_the_fingers_of_both_hands(made, name):
    tune, arrangement = made
    root = etree.fromstring(layer_to_musicxml(tune, arrangement, name))
    layer = arrangement.layer(name)
    found = Counter(element.text for element in root.iter("pluck"))
    graces = Counter(n.pluck for bar in layer.bars for n in bar if n.grace and n.technique is None)
    assert found == plucked(layer) + graces
    fingers = Counter(element.text for element in root.iter("fingering"))
    assert fingers == Counter(str(n.finger) for bar in layer.bars for n in bar if n.finger)
