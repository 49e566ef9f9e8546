"""Suggested ornaments: held against the ornaments that old collections print.

Ryan's Mammoth Collection (1883, public domain, in music21's corpus) was not used to choose the
places; where its editors put ornaments, the suggestions must fall far more often than elsewhere.
"""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

import liltwright
from liltwright.arrange.suggested import asking, with_suggestions
from liltwright.options import LayerOptions
from liltwright.read.abc import read_abc, read_abc_book
from tests.arrange.checker import faults
from tests.arrange.samples import own, ryan, somewhere


def test_places_that_ryan_ornaments_are_suggested_far_more_often_than_others():
    found = importlib.util.find_spec("music21")
    assert found is not None
    assert found.origin is not None
    folder = Path(found.origin).parent / "corpus" / "ryansMammoth"
    printed = other = printed_here = other_here = 0
    for path in sorted(folder.glob("*.abc"))[::5]:
        for tune in read_abc_book(path.read_text(encoding="utf-8", errors="replace")):
            for bar in tune.written_bars():
                asks = {at for at, _ in asking(tune, bar.notes)}
                for at, note in enumerate(bar.notes):
                    if note.ornament:
                        printed, printed_here = printed + 1, printed_here + (at in asks)
                    else:
                        other, other_here = other + 1, other_here + (at in asks)
    assert printed > 150
    assert printed_here / printed > 2.5 * other_here / other


def test_one_a_bar_none_on_the_close_none_beside_the_users():
    tune = own("reel")
    dressed, added = with_suggestions(tune)
    assert added > 0
    for before, after in zip(tune.written_bars(), dressed.written_bars(), strict=True):
        assert sum(note.ornament is not None for note in after.notes) <= 1
        assert [replace(n, ornament=None) for n in after.notes] == list(before.notes)
    last = dressed.written_bars()[-1].notes[-1]
    assert last.ornament is None
    assert with_suggestions(dressed) == (dressed, 0)


@pytest.mark.parametrize("name", ["jig", "reel", "slip jig", "waltz"])
def test_suggestions_can_be_played_and_are_said(name):
    tune = own(name)
    made = liltwright.arrange(tune, somewhere(tune), options=LayerOptions(suggest=True))
    plain = liltwright.arrange(tune, somewhere(tune))
    assert faults(tune, made) == []
    assert any(note.grace for bar in made.layers[0].bars for note in bar)
    said = " ".join(made.layers[0].remarks)
    assert "of them suggested" in said
    for one, two in zip(made.layers, plain.layers, strict=True):
        assert one.difficulty["moves_per_second"] >= two.difficulty["moves_per_second"]


def test_fewer_ornaments_when_it_shall_be_easier():
    tune = ryan("RocksOfCashelReel")
    graces = []
    for effort in ("easier", "as is"):
        options = LayerOptions(effort=effort, suggest=True)
        made = liltwright.arrange(tune, somewhere(tune), options=options)
        graces.append(sum(note.grace for bar in made.layers[0].bars for note in bar))
    assert graces[0] <= graces[1]


def test_written_grace_notes_keep_their_pitches():
    text = "X:1\nR:jig\nM:6/8\nL:1/8\nK:D\n|:{A}F3 {g}e3|{cd}e3 D3|F3 A3|D6:|\n"
    tune = read_abc(text, name="graced.abc")
    assert [note.graces for note in tune.written_bars()[0].notes] == [(3,), (3,)]
    assert tune.written_bars()[1].notes[0].graces == (-3, -2)
    options = LayerOptions(ornaments=True)
    made = liltwright.arrange(tune, somewhere(tune), options=options)
    bar = made.layers[0].bars[0]
    first = [note for note in bar if note.start == 0 and note.part == "melody"]
    assert [note.midi - first[-1].midi for note in first] == [3, 0]
    assert first[-1].technique == "pull-off"
    assert faults(tune, made) == []


def test_a_fast_tune_leaves_out_what_there_is_no_time_for():
    text = "X:1\nR:reel\nM:4/4\nL:1/8\nQ:1/2={}\nK:D\n|:{{d}}ADEG A2d2|A2F2 D4:|\n"
    slow = read_abc(text.format(60), name="slow.abc")
    fast = read_abc(text.format(200), name="fast.abc")
    graces = []
    for tune in (slow, fast):
        made = liltwright.arrange(tune, somewhere(tune), options=LayerOptions(ornaments=True))
        graces.append([n.start for n in made.layers[0].bars[0] if n.grace])
    assert graces == [[Fraction(0)], []]
    assert "too short at this tempo" in " ".join(made.layers[0].remarks)


def test_musicxml_ornaments_are_read():
    from liltwright.read.musicxml import read_musicxml
    from liltwright.write.formats.musicxml import tune_to_musicxml

    tune = own("jig")
    text = tune_to_musicxml(tune).decode()
    graced = text.replace(
        "<note>", "<note><grace/><pitch><step>B</step><octave>5</octave></pitch></note><note>", 1
    )
    note = read_musicxml(graced.encode(), name="graced.musicxml").written_bars()[0].notes[0]
    assert (note.ornament, len(note.graces)) == ("cut", 1)
    at = text.index("</note>")
    turned = text[:at] + "<notations><ornaments><turn/></ornaments></notations>" + text[at:]
    first = read_musicxml(turned.encode(), name="turned.musicxml").written_bars()[0].notes[0]
    assert first.ornament == "roll"
