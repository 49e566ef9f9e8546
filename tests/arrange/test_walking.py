"""The bass as a player would want it; figures as in musical.py, on our own and on Ryan's tunes."""

from collections import Counter
from dataclasses import replace
from fractions import Fraction

import pytest

from liltwright.arrange.chords import parse_symbol
from liltwright.arrange.layers import arrange_layers
from liltwright.arrange.weighed import Weigher
from liltwright.guitar.arranged import Promised
from liltwright.guitar.player import Player
from liltwright.guitar.rank import rank_setups
from liltwright.guitar.setups import make_setup
from liltwright.read.abc import read_abc
from liltwright.tab import Arrangement, Setup
from liltwright.tune import Tune, TypedChord
from tests.arrange import musical
from tests.arrange.checker import faults
from tests.arrange.samples import OWN, RYAN, own, ryan, somewhere

G_JIG = """X:1
T:The Weir Gate
R:jig
M:6/8
L:1/8
K:G
|:GBd gdB|ded BAG|ABc BAG|AGE EDE|GBd gdB|ded BAG|ABc BAF|1 AGF G2D:|2 AGF G3|]
|:gfg edB|dBd gdB|gfg edB|def afd|gfg edB|dBG ABc|BAG AGF|1 AGF G3:|2 AGF G2D|]
"""


@pytest.fixture(scope="module")
def made() -> list[tuple[Tune, Arrangement]]:
    tunes = [own(name) for name in OWN] + [ryan(name) for name in RYAN[:4]]
    return [(tune, arrange_layers(tune, somewhere(tune))) for tune in tunes]


@pytest.fixture(scope="module")
def counted(made: list[tuple[Tune, Arrangement]]) -> Counter[str]:
    counts: Counter[str] = Counter()
    for tune, arrangement in made:
        musical.count_register(arrangement, counts)
        musical.count_ring(tune, arrangement, counts)
        musical.count_line(tune, arrangement, counts)
        musical.count_same(tune, arrangement, counts)
        for layer in arrangement.layers[1:]:
            musical.count_named(tune, layer, counts)
    return counts


def test_the_bass_lives_on_the_thumbs_strings(counted: Counter[str]) -> None:
    """Strings 6, 5 and 4 (common practice)."""
    assert counted["bass notes low"] == counted["bass notes"] > 500


def test_the_plain_bass_rings_its_beat(counted: Counter[str]) -> None:
    """On setups that fit badly too (samples.somewhere); measures.py has the best ones."""
    assert counted["beats rung"] / counted["beats struck"] > 0.8


def test_the_bass_does_not_rock_between_two_notes(counted: Counter[str]) -> None:
    assert counted["rocking"] / counted["moving beats"] <= 0.05


def test_goals_are_reached_by_step_or_fifth(counted: Counter[str]) -> None:
    assert counted["goals reached"] / counted["goals"] >= 0.8


@pytest.mark.parametrize("name", ["drone", "plain-bass", "moving-bass", "fuller"])
def test_the_chord_that_is_named_sounds(counted: Counter[str], name: str) -> None:
    assert counted[f"{name} named"] == counted[f"{name} chords"] > 40
    if name != "drone":
        assert counted[f"{name} slashes"] == 0


def test_one_harmony_stands_under_all_layers_and_returns_with_the_melody(
    counted: Counter[str],
) -> None:
    assert counted["bars same in all"] == counted["bars with chords"]
    assert counted["bars again same"] == counted["bars again"] > 10


def test_the_bass_returns_where_the_melody_does(made: list[tuple[Tune, Arrangement]]) -> None:
    again = same = 0
    for tune, arrangement in made:
        seen: dict[tuple, tuple] = {}
        bars = arrangement.layer("moving-bass").bars
        chords = arrangement.layer("moving-bass")
        for index, bar in enumerate(bars):
            melody = tuple((n.start, n.string, n.fret) for n in bar if n.part == "melody")
            key = (melody, musical.plain_chords(chords, index), tune.written_bars()[index].kind)
            line = tuple((n.start, n.midi) for n in bar if n.part == "bass")
            if key in seen:
                again += 1
                same += seen[key] == line
            seen.setdefault(key, line)
    assert again > 20
    assert same / again > 0.6


def test_the_promised_open_sixth_carries_a_jig_in_g_with_the_capo_at_five() -> None:
    tune = read_abc(G_JIG, name="jig.abc")
    setup = make_setup(tune, tuning="DADGAD", capo=5, transpose=-12)
    arrangement = arrange_layers(tune, setup)
    assert faults(tune, arrangement) == []
    plain = arrangement.layer("plain-bass")
    roots = [n for bar in plain.bars for n in bar if n.part == "bass" and n.midi % 12 == 7]
    assert sum(n.string == 6 and n.fret == 0 for n in roots) / len(roots) > 0.8


@pytest.mark.parametrize("name", ["jig", "reel"])
def test_what_the_ranking_praises_is_heard(name: str) -> None:
    tune = own(name)
    best, *others = rank_setups(tune, weigh=Weigher(tune, Player())).setups
    arrangement = arrange_layers(tune, best.setup)
    for count in (musical.broken_promises, lambda *one: musical.broken_arranged(tune, *one)):
        promises, broken = count(best, arrangement)
        assert promises > 0
        assert broken == []
    reasons = [reason for other in others for reason in other.reasons]
    assert any("In a quick try" in reason for reason in reasons)
    assert not [reason for reason in reasons if "rings on" in reason or "everything" in reason]


@pytest.mark.parametrize("name", RYAN[:4])
def test_what_the_ranking_praises_is_heard_in_old_tunes(name: str) -> None:
    tune = ryan(name)
    best = rank_setups(tune, weigh=Weigher(tune, Player())).setups[0]
    arrangement = arrange_layers(tune, best.setup)
    assert musical.broken_promises(best, arrangement)[1] == []
    assert musical.broken_arranged(tune, best, arrangement)[1] == []


def test_what_the_arrangement_does_not_let_hear_is_not_praised() -> None:
    class Deaf(Weigher):
        def promised(self, setup: Setup, /) -> Promised:
            return Promised("Nothing rings.", frozenset({1}), under=False)

    tune = own("jig")
    best = rank_setups(tune, weigh=Deaf(tune, Player())).setups[0]
    assert "Nothing rings." in best.reasons
    said = " ".join(best.reasons)
    assert "everything" not in said
    assert "sixth" not in said


@pytest.mark.parametrize("symbol", ["C", "Em7", "Gsus4", "D/F#"])
def test_a_typed_chord_is_law_for_the_bass(symbol: str) -> None:
    """Its root is the bass where it begins, or the note after the slash."""
    tune = replace(own("jig"), chords_typed=(TypedChord(1, Fraction(0), symbol),))
    arrangement = arrange_layers(tune, make_setup(tune, tuning="DADGAD", capo=0, transpose=-12))
    chord = parse_symbol(symbol)
    law = chord.root if chord.bass is None else chord.bass
    for name in ("plain-bass", "moving-bass"):
        first = musical.bass_on(arrangement.layer(name), 1, Fraction(0))
        assert first is not None
        assert first.midi % 12 == law
        assert musical.chord_over(arrangement.layer(name), 1, Fraction(0)).symbol == symbol
    drone = arrangement.layer("drone")
    low = musical.bass_on(drone, 1, Fraction(0))
    named = musical.chord_over(drone, 1, Fraction(0))
    assert low is None or low.midi % 12 in (law, named.bass)
