"""Text tablature: what it looks like, and that it reads back to the same notes."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from liltwright.errors import PipelineError
from liltwright.read.tablature import read_tablature, tune_of_tablature
from liltwright.tab import Arrangement, Layer, TabNote
from liltwright.tune import Tune
from liltwright.write.formats.tablature import layer_to_text
from liltwright.write.sheet.layout import sheet_of_layer
from tests.read.books import plain_parts
from tests.write.arranged import arrangements, layers
from tests.write.hand_made import DADGAD, SETUP, arrangement, jig
from tests.write.heard_by import as_read, as_sounding

EIGHTH = Fraction(1, 8)


def test_what_a_layer_looks_like():
    text = layer_to_text(jig(), arrangement(), "plain-bass")
    head, first = text.split("\n\n")[0], text.split("\n\n")[2]
    assert head.splitlines() == [
        "The Lamp at the Ferry: plain-bass",
        "Jig in 6/8, q. = 112",
        "Sounds in E mixolydian, fingered as D mixolydian",
        "Sounds 10 semitones below the tune as written",
        "Tuning DADGAD: D2 A2 D3 G3 A3 D4, low to high",
        "Capo 2, frets count from the capo",
    ]
    assert first.splitlines() == [
        "     [A]",
        "     E     E5                  E                  E5",
        "     e     e  e  e  e  e  e    e  e  e  q    e    e  e  e  e  e  e",
        "D||------|-------------------|------------------|-0-----------------|",
        "A||--0---|-------0--0--------|----0--2--3----0--|----0-----------0--|",
        "G||:-----|-------------0-----|-0----------------|-------------------|",
        "D||:-----|-0--4-----------4--|------------------|-------4--0--4-----|",
        "A||------|----------0=====---|----------0====---|----------0=====---|",
        "D||------|-0========---------|-0========--------|-0========---------|",
    ]


@pytest.mark.parametrize(("tune", "made", "name"), layers())
def test_every_layer_reads_back_to_the_same_notes(tune: Tune, made: Arrangement, name: str):
    text = layer_to_text(tune, made, name)
    sheet = sheet_of_layer(tune, made, name)
    tab = read_tablature(text, name="a.txt")
    assert as_read(tab, sheet) == as_sounding(sheet)
    assert tab.setup == made.setup
    assert (tab.layer, tab.title, tab.head.meter) == (name, tune.title, tune.meter)
    printed = [(bar.closes_repeat or 1, bar.ending) for bar in sheet.bars]
    assert [(bar.times, bar.ending) for bar in tab.page] == printed
    assert [(c.bar, c.symbol) for c in tab.chords] == [
        (index, symbol) for index, bar in enumerate(sheet.bars) for _, symbol in bar.chords
    ]


@pytest.mark.parametrize(("tune", "made", "name"), layers())
def test_it_survives_email(tune: Tune, made: Arrangement, name: str):
    text = layer_to_text(tune, made, name)
    assert text.isascii()
    assert "\t" not in text
    assert max(len(line) for line in text.splitlines()) <= 80
    assert all(line == line.rstrip() for line in text.splitlines())
    assert text.endswith("\n")


@pytest.mark.parametrize("which", range(3))
def test_the_tune_comes_back_out_of_a_full_layer(which: int):
    tune, made = arrangements()[which]
    name = made.layers[-1].name
    again = tune_of_tablature(layer_to_text(tune, made, name), name="a.txt")
    assert again.parts == plain_parts(tune)
    assert (again.form, again.tonic, again.mode) == (tune.form, tune.tonic, tune.mode)
    assert (again.tune_type, again.signature) == (tune.tune_type, tune.signature)


def test_grace_notes_and_techniques_stand_before_their_fret():
    made = arrangement()
    melody = made.layers[0]
    bar = list(melody.bars[1])
    string = bar[0].string
    grace = replace(bar[0], fret=bar[0].fret + 2, length=Fraction(1, 32), grace=True)
    grace = replace(grace, midi=grace.midi + 2)
    bar[0] = replace(bar[0], technique="pull-off")
    layer = replace(melody, bars=(melody.bars[0], (grace, *bar), *melody.bars[2:]))
    text = layer_to_text(jig(), replace(made, layers=(layer,)), "melody")
    assert f"g{grace.fret}p{bar[0].fret}" in text
    assert "g3 is a grace note of 1/32" in " ".join(text.split())
    found = read_tablature(text, name="a.txt").bars[1]
    assert (found[0].grace, found[0].string, found[0].fret) == (True, string, grace.fret)
    assert found[0].length == Fraction(1, 32)
    assert found[1].technique == "pull-off"


def test_a_grace_note_and_a_plucked_note_on_its_string_are_two_numbers():
    """Without a sign between them, "g2" before "2" would be a grace note at fret 22."""
    made = arrangement()
    melody = made.layers[0]
    bar = list(melody.bars[1])
    grace = replace(bar[0], fret=2, length=Fraction(1, 32), grace=True)
    grace = replace(grace, midi=DADGAD[6 - grace.string] + SETUP.capo + 2)
    layer = replace(melody, bars=(melody.bars[0], (grace, *bar), *melody.bars[2:]))
    text = layer_to_text(jig(), replace(made, layers=(layer,)), "melody")
    assert f"g2,{bar[0].fret}" in text
    found = read_tablature(text, name="a.txt").bars[1]
    assert [(n.grace, n.fret) for n in found[:2]] == [(True, 2), (False, bar[0].fret)]


@pytest.mark.parametrize(
    ("semitones", "words"),
    [(0, "at the pitch of"), (-1, "1 semitone below"), (-2, "a tone (2 semitones) below"),
     (-12, "an octave (12 semitones) below"), (3, "3 semitones above")],
)  # fmt: skip
def test_where_the_arrangement_sounds_is_said_and_read_back(semitones: int, words: str):
    made = arrangement()
    made = replace(made, setup=replace(made.setup, transpose=semitones))
    text = layer_to_text(jig(), made, "melody")
    assert f"Sounds {words} the tune as written\n" in text
    assert read_tablature(text, name="a.txt").setup == made.setup


def test_cautions_are_printed():
    made = replace(arrangement(), cautions=("Stop when it hurts.",))
    assert "Caution: Stop when it hurts." in layer_to_text(jig(), made, "melody")


# ---------------------------------------------------------------- any notes at all

GRID = st.integers(0, 11).map(lambda n: Fraction(n, 16))
LENGTHS = st.sampled_from(
    [
        Fraction(1, 16),
        EIGHTH,
        Fraction(3, 16),
        Fraction(1, 4),
        Fraction(3, 8),
        Fraction(3, 4),
        Fraction(5, 4),
        Fraction(1, 24),
    ]
)


@st.composite
def tab_notes(draw: st.DrawFn) -> TabNote:
    string = draw(st.integers(1, 6))
    fret = draw(st.integers(0, 14))
    part = draw(st.sampled_from(("melody", "bass", "inner")))
    midi = DADGAD[6 - string] + SETUP.capo + fret
    return TabNote(part, string, fret, midi, draw(GRID), draw(LENGTHS))


@settings(max_examples=25, deadline=None, derandomize=True, phases=(Phase.generate,))
@given(st.lists(st.lists(tab_notes(), max_size=7), min_size=19, max_size=19))
def test_whatever_rings_is_read_back_exactly(bars: list[list[TabNote]]):
    tune, made = jig(), arrangement()
    written = tune.written_bars()
    kept = []
    for bar, notes in zip(written, bars, strict=False):
        first = tune.bar_length - bar.length if bar.kind == "pickup" else Fraction(0)
        by_place = {(n.start, n.string): n for n in notes if n.start >= first}
        kept.append(tuple(by_place.values()))
    kept += [()] * (len(written) - len(kept))
    made = replace(made, layers=(Layer("melody", tuple(kept)),))
    sheet = sheet_of_layer(tune, made, "melody")
    tab = read_tablature(layer_to_text(tune, made, "melody"), name="a.txt")
    assert as_read(tab, sheet) == as_sounding(sheet)


# ---------------------------------------------------------------- faults


@pytest.mark.parametrize(
    ("damage", "fault"),
    [
        (lambda text: text.replace("Tuning DADGAD", "In DADGAD"), "is not text tablature"),
        (lambda text: text.split("\n\n")[0] + "\n", "holds no tablature"),
        (lambda text: text.replace("Jig in", "Gigue in"), 'the tune type "gigue"'),
        (lambda text: text.replace("     e     e ", "     k     e "), 'the rhythm mark "k"'),
        (lambda text: text.replace("     e     e  e", "           e  e"), "no rhythm marks"),
    ],
)
def test_faults_are_one_clear_sentence(damage, fault: str):
    text = damage(layer_to_text(jig(), arrangement(), "plain-bass"))
    with pytest.raises(PipelineError, match=fault):
        read_tablature(text, name="a.txt")


def test_the_fingers_of_both_hands_stand_under_the_strings_and_are_read_over():
    made = arrangement()
    plain = layer_to_text(jig(), made, "plain-bass")
    text = layer_to_text(jig(), made, "plain-bass", hands=True)
    rows = [line.split() for line in text.splitlines() if re.fullmatch(r"[ pima-]+", line)]
    marks = [mark for row in rows for mark in row]
    notes = [note for bar in made.layer("plain-bass").bars for note in bar if not note.grace]
    plucked = sorted(note.pluck for note in notes if note.technique is None)
    assert sorted("".join(marks).replace("-", "")) == plucked
    assert all(list(mark) == sorted(mark, key="pima".index) for mark in marks if "-" not in mark)
    assert max(map(len, text.splitlines())) <= 80
    one, two = (read_tablature(each, name="a.txt") for each in (plain, text))
    assert one.bars == two.bars
    assert one.chords == two.chords
