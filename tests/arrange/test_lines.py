"""Three bass lines for every part: different, playable, under one fingering, picked by part."""

from __future__ import annotations

import pytest

import liltwright
from liltwright.arrange.lines import lines_words, parse_picks
from liltwright.arrange.rounds import parse_plan, performance, plan_text
from liltwright.errors import UsageError
from liltwright.options import LayerOptions
from liltwright.tab import LINE_NAMES, Arrangement, Layer
from liltwright.tune import Tune
from liltwright.write.files import arrangement_files
from liltwright.write.sheet.layout import sheet_of_layer
from tests.arrange.checker import faults
from tests.arrange.samples import RYAN, own, ryan, somewhere


def arranged(tune: Tune, **options) -> Arrangement:
    return liltwright.arrange(tune, somewhere(tune), options=LayerOptions(**options))


def low(layer: Layer, tune: Tune, part: str):
    """The bass of a part: bar, start and pitch of every note."""
    written = tune.written_bars()
    return [
        (index, note.start, note.midi)
        for index, bar in enumerate(layer.bars)
        if tune.parts[written[index].part].name == part
        for note in bar
        if note.part == "bass"
    ]


def melody(layer: Layer):
    return [
        (index, n.start, n.string, n.fret, n.finger, n.pluck)
        for index, bar in enumerate(layer.bars)
        for n in bar
        if n.part == "melody"
    ]


@pytest.mark.parametrize("name", ["jig", "reel", "slip jig", "waltz", *RYAN])
def test_every_part_has_three_lines_under_one_fingering(name):
    tune = ryan(name) if name in RYAN else own(name)
    made = arranged(tune)
    assert tuple(line.name for line in made.lines) == LINE_NAMES
    assert faults(tune, made) == []
    fingers = melody(made.layers[0])
    assert all(melody(line) == fingers for line in made.lines)
    for part in {part.name for part in tune.parts}:
        still, steady, restless = (low(line, tune, part) for line in made.lines)
        assert len({tuple(still), tuple(steady), tuple(restless)}) == 3
        assert len(still) < len(restless)
    assert made.layer("steady").bars == made.layer("moving-bass").bars


def test_a_picked_line_is_what_was_shown():
    tune = own("reel")
    shown = arranged(tune)
    made = arranged(tune, lines="B=restless")
    assert made.picked == {"B": "restless"}
    moving = made.layer("moving-bass")
    assert low(moving, tune, "B") == low(shown.layer("restless"), tune, "B")
    assert low(moving, tune, "A") == low(shown.layer("steady"), tune, "A")
    assert melody(moving) == melody(shown.layers[0])
    assert faults(tune, made) == []
    named = {(c.bar, c.start): c.symbol for c in moving.chords}
    restless = {(c.bar, c.start): c.symbol for c in shown.layer("restless").chords}
    written = tune.written_bars()
    in_b = {at: s for at, s in named.items() if tune.parts[written[at[0]].part].name == "B"}
    assert in_b == {at: restless[at] for at in in_b}
    for layer in made.layers[1:]:
        assert {(c.bar, c.start): c.symbol.partition("/")[0] for c in layer.chords} == {
            at: symbol.partition("/")[0] for at, symbol in named.items()
        }


def test_a_still_line_is_one_note_a_chord_also_when_picked():
    tune = own("jig")
    shown = arranged(tune)
    made = arranged(tune, lines="still")
    still = shown.layer("still")
    assert faults(tune, made) == []
    for part in ("A", "B"):
        assert low(made.layer("moving-bass"), tune, part) == low(still, tune, part)
        assert low(made.layer("plain-bass"), tune, part) == low(still, tune, part)
    for index, bar in enumerate(still.bars):
        chords = [chord for chord in still.chords if chord.bar == index]
        assert len([note for note in bar if note.part == "bass"]) <= len(chords)


@pytest.mark.parametrize(
    ("text", "said"),
    [("A=wild", "no bass line"), ("C=still", "its parts|the parts of this tune are A, B")],
)
def test_a_wrong_pick_is_named(text, said):
    with pytest.raises(UsageError, match=said):
        parse_picks(text, own("jig"))


def test_all_parts_at_once_and_one_apart():
    assert parse_picks("still B=restless", own("jig")) == {"A": "still", "B": "restless"}


def test_rounds_take_a_layer_and_a_dynamic_for_a_part():
    tune = own("reel")
    plan = "melody:p moving-bass:f/B=restless:mp A=drone:p/B=still"
    made = arranged(tune, rounds=plan)
    assert parse_plan(plan_text(made.rounds)) == made.rounds
    written = tune.written_bars()
    for bar in performance(tune, made)[:-1]:
        part = tune.parts[written[bar.written].part].name
        expected = {
            (1, "A"): ("melody", "p"), (1, "B"): ("melody", "p"),
            (2, "A"): ("moving-bass", "f"), (2, "B"): ("restless", "mp"),
            (3, "A"): ("drone", "p"), (3, "B"): ("still", "f"),
        }[bar.round, part]  # fmt: skip
        assert (bar.layer, bar.dynamic) == expected
        assert bar.notes == made.layer(bar.layer).bars[bar.written]
    sheet = sheet_of_layer(tune, made, "performance")
    headings = [bar.heading for bar in sheet.bars if bar.heading]
    assert headings[1] == "Round 2: moving-bass, B restless"
    assert [bar.dynamic for bar in sheet.bars if bar.dynamic] == ["p", "f", "mp", "p", "f"]


@pytest.mark.parametrize(
    ("plan", "said"),
    [
        ("melody/drone", "two layers for one round"),
        ("melody/C=drone", "parts of this tune are A, B"),
        ("melody/B=tune", "not a layer"),
        ("melody/B=drone:loud", "not a dynamic"),
    ],
)
def test_a_wrong_plan_of_parts_is_named(plan, said):
    with pytest.raises(UsageError, match=said):
        arranged(own("jig"), rounds=plan)


def test_the_lines_are_listed_and_can_be_read():
    tune = own("jig")
    made = arranged(tune, lines="A=still")
    rows = lines_words(tune, made)
    assert len(rows) == 6
    assert [row.endswith("taken") for row in rows] == [True, False, False, False, True, False]
    text = arrangement_files(tune, made, 1)["arrangement-1-lines.txt"].decode()
    assert all(row in text for row in rows)
    assert text.count("Tuning ") == 3
