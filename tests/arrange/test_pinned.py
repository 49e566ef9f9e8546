"""The user's hand: every pin is respected, or the pin that makes it impossible is named."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import product

import pytest

import liltwright
from liltwright.arrange.rounds import closing_chord
from liltwright.errors import UsageError
from liltwright.options import LayerOptions
from liltwright.tab import Arrangement, TabNote
from tests.arrange.checker import faults
from tests.arrange.samples import own, ryan, somewhere


def arranged(tune, *pins: str, earlier: Arrangement | None = None, setup=None) -> Arrangement:
    options = LayerOptions(pins=pins, earlier=earlier)
    return liltwright.arrange(tune, setup or somewhere(tune), options=options)


def melody_at(arrangement: Arrangement, bar: int, start: Fraction) -> list[TabNote]:
    return [
        note
        for layer in arrangement.layers
        for note in layer.bars[bar]
        if note.part == "melody" and note.start == start
    ]


def every_note(arrangement: Arrangement):
    return [note for layer in arrangement.layers for bar in layer.bars for note in bar]


@pytest.fixture(scope="module")
def jig():
    return own("jig")


@pytest.fixture(scope="module")
def free(jig):
    return arranged(jig)


def test_a_melody_note_lies_where_it_is_pinned_in_every_layer(jig, free):
    usual = melody_at(free, 1, Fraction(0))[0]
    for string in (s for s in (2, 3, 4) if s != usual.string):
        made = arranged(jig, f"2:0=string {string}")
        assert {note.string for note in melody_at(made, 1, Fraction(0))} == {string}
        assert faults(jig, made) == []


def test_a_pinned_finger_is_used(jig, free):
    usual = next(n for n in every_note(free) if n.part == "melody" and n.finger == 3)
    bar = next(i for i, b in enumerate(free.layers[0].bars) if usual in b)
    number = jig.written_bars()[bar].number
    made = arranged(jig, f"{number}:{usual.start}=finger 4")
    assert {note.finger for note in melody_at(made, bar, usual.start)} == {4}


@pytest.mark.parametrize("wish", ["finger 4", "finger 1", "string 6", "fret 2"])
def test_what_is_forbidden_is_nowhere(wish):
    tune = own("jig") if wish == "string 6" else ryan("HoleInTheWallJig")
    name, _, value = wish.partition(" ")
    made = arranged(tune, f"no {wish}")
    held = [getattr(note, name) for note in (*every_note(made), *closing_chord(tune, made))]
    assert int(value) not in held
    assert faults(tune, made) == []


def test_what_is_forbidden_in_some_bars_may_be_elsewhere(jig, free):
    fret = 4
    bars = [i for i, bar in enumerate(free.layers[-1].bars) if any(n.fret == fret for n in bar)]
    number = jig.written_bars()[bars[0]].number
    made = arranged(jig, f"{number}=no fret {fret}")
    assert all(n.fret != fret for layer in made.layers for n in layer.bars[bars[0]])
    assert any(n.fret == fret for bar in made.layers[-1].bars for n in bar)


def test_a_pinned_bass_note_is_struck_off_the_beat_and_out_of_the_chord(jig):
    made = arranged(jig, "3:1/8=bass string 6 fret 5")
    for name in ("plain-bass", "moving-bass", "fuller"):
        low = [
            n for n in made.layer(name).bars[2] if n.part == "bass" and n.start == Fraction(1, 8)
        ]
        assert [(n.string, n.fret) for n in low] == [(6, 5)], name
    assert faults(jig, made) == []


def test_no_bass_means_none_in_any_layer(jig):
    made = arranged(jig, "4=no bass", "5:0=no bass")
    for layer in made.layers:
        assert all(note.part != "bass" for note in layer.bars[3])
        assert all(note.part != "bass" or note.start > 0 for note in layer.bars[4])


def test_a_pinned_chord_is_law_for_the_bass(jig):
    made = arranged(jig, "9=chord Bm", "10:3/8=chord G")
    for layer in made.layers[1:]:
        names = [c.symbol for c in layer.chords if (c.bar, c.start) <= (8, Fraction(3, 8))]
        assert names[-1].startswith("Bm")
        names = [c.symbol for c in layer.chords if (c.bar, c.start) <= (9, Fraction(3, 8))]
        assert names[-1].startswith("G")
    for name in ("plain-bass", "moving-bass"):
        first = [n for n in made.layer(name).bars[8] if n.part == "bass" and n.start == 0]
        assert all(n.midi % 12 == 11 for n in first)  # the root B


def test_kept_bars_stay_while_others_change(jig, free):
    made = arranged(jig, "1-4=keep", "5-16=no fret 4", earlier=free)
    for before, after in zip(free.layers, made.layers, strict=True):
        assert before.bars[:4] == after.bars[:4]
        assert before.bars[4:] != after.bars[4:]
        assert [c for c in before.chords if c.bar < 4] == [c for c in after.chords if c.bar < 4]
    assert faults(jig, made) == []


def test_keeping_everything_gives_the_same_arrangement(jig, free):
    made = arranged(jig, "A=keep", "B=keep", earlier=free)
    assert [layer.bars for layer in made.layers] == [layer.bars for layer in free.layers]


def test_a_bar_kept_beside_its_own_pin_names_both(jig, free):
    usual = melody_at(free, 1, Fraction(0))[0].string
    other = next(s for s in (2, 3, 4) if s != usual)
    with pytest.raises(UsageError, match=r'"A=keep" and "2:0=string') as fault:
        arranged(jig, "5=no fret 9", "A=keep", f"2:0=string {other}", earlier=free)
    assert "5=no fret 9" not in str(fault.value)


def test_pins_that_only_together_are_impossible_are_named_together(jig):
    with pytest.raises(UsageError, match=r'"2:0=string 5" and "2:0=bass string 6"') as fault:
        arranged(jig, "no finger 4", "2:0=string 5", "2:0=bass string 6", "9=chord Bm")
    assert "no finger 4" not in str(fault.value)
    assert fault.value.exit_code == 2


def test_the_named_set_is_a_smallest_one(jig):
    """Leaving out any one of the pins named makes the rest possible (Junker 2004: minimal)."""
    pins = ("1=no open", "2:0=string 5", "2:0=bass string 6", "5=no bass")
    with pytest.raises(UsageError) as fault:
        arranged(jig, *pins)
    named = [pin for pin in pins if f'"{pin}"' in str(fault.value)]
    assert named
    for left_out in named:
        arranged(jig, *(pin for pin in named if pin != left_out))


@pytest.mark.parametrize(
    ("pin", "said"),
    [
        ("40=string 2", "its parts are A, B, its bars 1 to 16"),
        ("C=string 2", "does not have"),
        ("2:1/5=string 2", "no melody note begins at 1/5"),
        ("2:7/8=bass string 6", "beyond the end of its bar"),
        ("0=bass string 6", "does not have"),
        ("2=keep", "there is none"),
        ("2=chord H", "is not a chord"),
        ("2:0=string 1", "that note lies on"),
    ],
)
def test_a_pin_that_does_not_fit_is_said_in_one_sentence(jig, pin, said):
    with pytest.raises(UsageError, match=said):
        arranged(jig, pin)


def test_bars_are_not_kept_from_another_tuning_or_melody(jig, free):
    with pytest.raises(UsageError, match="name that tuning"):
        arranged(jig, "2=keep", earlier=free, setup=replace(free.setup, capo=5))
    bars = (free.layers[0].bars[0][1:], *free.layers[0].bars[1:])
    other = replace(free, layers=(replace(free.layers[0], bars=bars), *free.layers[1:]))
    with pytest.raises(UsageError, match="another melody"):
        arranged(jig, "1=keep", earlier=other)


def test_pins_of_the_tune_hold_in_every_arrangement(jig):
    tune = replace(jig, pins=("no finger 4",))
    made = arranged(tune)
    assert made.pins == ("no finger 4",)
    assert "As you wished: no finger 4." in made.layers[0].remarks
    assert all(note.finger != 4 for note in every_note(made))


def test_the_search_is_still_the_best_under_pins(jig):
    """Of all strings for two notes the free choice costs least: pins never make it cheaper."""
    from liltwright.arrange.assemble import Ground
    from liltwright.arrange.fingered import bass_tables, choices_of
    from liltwright.arrange.harmony import harmonise
    from liltwright.arrange.pinned import pinned_of
    from liltwright.arrange.search import best_path
    from liltwright.guitar.player import Player
    from liltwright.guitar.states import NEVER

    setup = somewhere(jig)

    def cost(*pins: str) -> int:
        ground = Ground(jig, setup, Player(), pinned_of(pins, jig, setup))
        tables = bass_tables(ground, harmonise(jig, transpose=setup.transpose), None)
        choices = choices_of(ground, tables)
        if not all(map(len, choices)):
            return NEVER
        return best_path(tables, choices, "moving").ticks

    free = cost()
    costs = [
        cost(f"2:0=string {one}", f"3:0=string {two}") for one, two in product((2, 3, 4), (3, 4, 5))
    ]
    assert min(costs) == free
    assert max(c for c in costs if c < NEVER) > free
