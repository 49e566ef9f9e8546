"""The checker itself: every kind of fault is found when it is put in by hand."""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import pytest

from liltwright.arrange.layers import arrange_layers
from liltwright.guitar.setups import make_setup
from liltwright.tab import Arrangement, Layer, TabBar, TabNote
from tests.arrange.checker import distance_mm, faults, hand_faults
from tests.arrange.samples import own

BAR = 2


@pytest.fixture(scope="module")
def sound() -> Arrangement:
    tune = own("jig")
    return arrange_layers(tune, make_setup(tune, tuning="DADGAD", capo=0))


def broken(arrangement: Arrangement, change: Callable[[TabBar], TabBar]) -> list[str]:
    """Faults after one bar of the moving bass was changed."""
    layers = []
    for layer in arrangement.layers:
        bars = list(layer.bars)
        if layer.name == "moving-bass":
            bars[BAR] = change(bars[BAR])
        layers.append(replace(layer, bars=tuple(bars)))
    return faults(own("jig"), replace(arrangement, layers=tuple(layers)))


def on_first(part: str, change: Callable[[TabNote], TabNote]) -> Callable[[TabBar], TabBar]:
    def changed(bar: TabBar) -> TabBar:
        place = next(i for i, note in enumerate(bar) if note.part == part)
        return (*bar[:place], change(bar[place]), *bar[place + 1 :])

    return changed


def test_a_sound_arrangement_has_no_faults(sound: Arrangement) -> None:
    assert faults(own("jig"), sound) == []


def melody(**changes: object) -> Callable[[TabBar], TabBar]:
    return on_first("melody", lambda note: replace(note, **changes))  # type: ignore[arg-type]


CHANGES: list[tuple[Callable[[TabBar], TabBar], str]] = [
    (on_first("melody", lambda n: replace(n, midi=n.midi + 1)), "another pitch"),
    (on_first("melody", lambda n: replace(n, midi=n.midi + 1, fret=n.fret + 1)), "the melody is"),
    (melody(start=Fraction(1, 16)), "the melody is"),
    (on_first("melody", lambda n: replace(n, finger=0 if n.finger else 2)), "finger"),
    (melody(pluck="p"), "one plucking finger"),
    (on_first("bass", lambda n: replace(n, pluck="m")), "finger m on string"),
    (on_first("bass", lambda n: replace(n, length=Fraction(2))), "over the bar line"),
    (on_first("bass", lambda n: replace(n, string=7)), "no such note"),
    (lambda bar: tuple(n for n in bar if n.start != Fraction(1, 8)), "the melody is"),
    (lambda bar: (*bar, replace(bar[0], part="inner")), "two notes at once"),
    (
        lambda bar: (
            bar + tuple(replace(bar[0], string=s, part="inner", pluck="i") for s in (1, 2, 3, 5))
        ),
        "notes at once",
    ),
]


@pytest.mark.parametrize(("change", "word"), CHANGES)
def test_each_fault_is_named(
    sound: Arrangement, change: Callable[[TabBar], TabBar], word: str
) -> None:
    found = [fault for fault in broken(sound, change) if fault.startswith("moving-bass")]
    assert any(word in fault for fault in found), found


def held(string: int, fret: int, finger: int) -> TabNote:
    return TabNote("melody", string, fret, 60, Fraction(0), Fraction(1), finger)


def test_hands_cannot_cross_fingers_or_reach_too_far() -> None:
    assert hand_faults([held(5, 3, 3), held(1, 1, 1)], 0) == []
    assert "beyond" in hand_faults([held(5, 1, 3), held(1, 3, 1)], 0)[0]
    assert "stretch" in hand_faults([held(5, 1, 1), held(1, 7, 4)], 0)[0]
    assert hand_faults([held(5, 7, 1), held(1, 12, 4)], 0) == []
    assert "finger 1 on" in hand_faults([held(5, 1, 1), held(1, 3, 1)], 0)[0]
    assert hand_faults([held(5, 2, 1), held(1, 2, 1)], 0) == [], "one finger laid over a fret"
    assert hand_faults([held(5, 2, 1), held(1, 2, 1), held(3, 0, 0)], 0), "nothing open under it"


def test_twelve_frets_are_half_the_string() -> None:
    assert distance_mm(0, 12, 0) == pytest.approx(324.0)
    assert distance_mm(0, 1, 0) == pytest.approx(648 * (1 - 2 ** (-1 / 12)))


def test_a_lost_bar_is_noticed(sound: Arrangement) -> None:
    short = Layer("melody", sound.layers[0].bars[:-1])
    assert "15 bars for 16" in " ".join(faults(own("jig"), replace(sound, layers=(short,))))
