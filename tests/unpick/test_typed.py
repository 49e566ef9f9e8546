"""Typed pages, written by hand: taken apart as typed, or refused with line and column."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction

import pytest

from liltwright.errors import PipelineError
from liltwright.read.finished import finished_from_bytes
from liltwright.read.typed_tab import read_typed_tab
from liltwright.unpick.unpicked import Unpicked, unpick
from tests.read.test_typed import FOLDER, READ, REFUSED, text_of

PAGES = sorted({*READ, "30-our-own"})


def taken_apart(name: str) -> Unpicked:
    return unpick(finished_from_bytes((FOLDER / f"{name}.txt").read_bytes(), name=f"{name}.txt"))


@pytest.mark.parametrize("name", PAGES)
def test_every_note_of_a_typed_page_is_in_the_unpicked_page(name: str):
    typed = read_typed_tab(text_of(name), name=name)
    found = taken_apart(name)
    assert found.page.setup.strings_midi == typed.strings_midi
    assert found.page.setup.capo == typed.capo
    sounding = [n for bar in typed.bars for n in bar.notes if "x" not in n.marks]
    page = [note for bar in found.page.layers[0].bars for note in bar]
    assert {(n.string, n.fret) for n in page} == {(n.string, n.fret) for n in sounding}
    assert not Counter((n.string, n.fret) for n in page) - Counter(
        (n.string, n.fret) for n in sounding
    )
    assert found.stages.layers[0].name == "melody"


@pytest.mark.parametrize("name", PAGES)
def test_a_typed_page_has_its_bass_on_the_thumb_strings_and_its_tune_on_top(name: str):
    for bar in taken_apart(name).page.layers[0].bars:
        for note in bar:
            together = [other.midi for other in bar if other.start == note.start]
            if note.string >= 5:
                assert note.part == "bass"
            elif note.string <= 2 and note.midi == max(together):
                assert note.part == "melody"


METRES = """
6/8: The Lamp at Drumsallow  (jig, 6/8)
4/4: The Lamp at Drumsallow (reel)
9/8: The Lamp at Drumsallow [slip jig]
3/4: The Lamp at Drumsallow, 3/4
4/4: The Lamp at Drumsallow - 4/4
""".strip().splitlines()


@pytest.mark.parametrize("row", METRES)
def test_the_metre_is_taken_from_the_title_and_not_left_in_it(row: str):
    metre, _, title = row.partition(": ")
    tab = read_typed_tab(f"{title}\n\n{SYSTEM}", name="lamp.txt")
    assert tab.meter == metre
    assert tab.title == "The Lamp at Drumsallow"


def test_a_word_in_brackets_that_is_no_metre_stays_in_the_title():
    tab = read_typed_tab(f"Kitty's Gate (the old setting)\n\n{SYSTEM}", name="gate.txt")
    assert tab.title == "Kitty's Gate (the old setting)"


SYSTEM = """\
e|0-----------|0-----2-----|
B|------3-----|------------|
G|------------|------------|
D|------------|------------|
A|0-----0-----|0-----0-----|
E|------------|------------|
"""
WALTZ = """\
  q   q   q    q   q   q
e|0---2---3---|3---2---0---|
B|------------|------------|
G|------------|------------|
D|------------|------------|
A|0-----------|0-----------|
E|------------|------------|
"""


def test_twelve_columns_without_a_metre_are_six_eighths():
    found = unpick(finished_from_bytes(SYSTEM.encode(), name="a.txt"))
    assert found.tune.meter == "6/8"
    assert any("measured as 6/8" in remark for remark in found.tune.remarks)


def test_three_quarters_by_letters_are_a_waltz():
    found = unpick(finished_from_bytes(WALTZ.encode(), name="a.txt"))
    assert (found.tune.meter, found.tune.tune_type) == ("3/4", "waltz")


def test_a_typed_bass_rings_until_the_next_one_or_the_bar_line():
    bars = unpick(finished_from_bytes(SYSTEM.encode(), name="a.txt")).page.layers[0].bars
    bass = [[(n.start, n.length) for n in bar if n.part == "bass"] for bar in bars]
    half = Fraction(3, 8)
    assert bass == [[(Fraction(0), half), (half, half)]] * 2


def test_the_remark_on_the_key_names_the_key_that_is_written():
    tune = unpick(finished_from_bytes(SYSTEM.encode(), name="a.txt")).tune
    assert f"The file names no key; the notes suggest {tune.tonic} {tune.mode}." in tune.remarks


def test_our_own_page_quoted_in_an_answer_is_taken_apart_alike():
    text = text_of("30-our-own")
    quoted = "\n".join(f"> {line}" for line in text.splitlines())
    own, again = (unpick(finished_from_bytes(t.encode(), name="a.txt")) for t in (text, quoted))
    assert again.tune.form == own.tune.form
    assert (again.tune.title, again.tune.tune_type) == (own.tune.title, own.tune.tune_type)
    assert [[(n.midi, n.start) for n in bar.notes] for bar in again.tune.written_bars()] == [
        [(n.midi, n.start) for n in bar.notes] for bar in own.tune.written_bars()
    ]


@pytest.mark.parametrize("name", sorted({*REFUSED} - {"39-no-system"}))
def test_a_typed_page_is_refused_with_its_place(name: str):
    place, fault = REFUSED[name]
    with pytest.raises(PipelineError) as raised:
        finished_from_bytes((FOLDER / f"{name}.txt").read_bytes(), name=f"{name}.txt")
    said = str(raised.value)
    assert fault in said
    assert f"{name}.txt, {place}" in said


def test_forty_pages_at_least():
    assert len(PAGES) + len(REFUSED) >= 40
