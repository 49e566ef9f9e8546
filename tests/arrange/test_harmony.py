"""Chords of dance tunes: the language of each mode, cadences, what the user typed."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from music21 import key as m21key
from music21 import roman

from liltwright import keys, models
from liltwright.arrange.harmony import QUALITY, RULES, harmonise
from liltwright.errors import UsageError
from liltwright.read.abc import read_abc
from liltwright.tune import TypedChord
from tests.arrange.samples import own

MODE_NAMES = {"minor": "aeolian"}


def symbols(tune_name: str) -> list[str]:
    return [chord.symbol for chord in harmonise(own(tune_name)).chords()]


def test_mixolydian_rests_on_one_and_flat_seven() -> None:
    """P. Varlet, e-mail to the Irish traditional music mailing list, 11 June 1996: a D mixolydian
    tune is built around two major chords a step apart, C and D."""
    found = symbols("reel")
    assert (found.count("D") + found.count("C")) / len(found) > 0.6
    assert found.count("C") > 0
    assert "A" not in found


def test_dorian_rests_on_one_and_flat_seven() -> None:
    """The same source: an E dorian tune goes very well with just Em and D."""
    found = symbols("slip jig")
    assert (found.count("Em") + found.count("D")) / len(found) > 0.6
    assert found.count("D") > 0


def test_major_is_one_four_five() -> None:
    """The same source: major has "the old I-IV-V"."""
    found = symbols("jig")
    assert sum(found.count(chord) for chord in ("D", "G", "A")) / len(found) > 0.7


@pytest.mark.parametrize(
    ("tonic", "mode", "listed"),
    [
        ("G", "major", "G C D"), ("D", "major", "D G A"), ("A", "major", "A D E"),
        ("D", "mixolydian", "D C Am"), ("A", "mixolydian", "A G Em"),
    ],
)  # fmt: skip
def test_every_published_chord_of_a_key_is_known(tonic: str, mode: str, listed: str) -> None:
    """Lists from "Notes on Accompaniment" of the Fighting Pint session (fightingpint.com)."""
    table = models.read_json(RULES)["modes"][mode]["chords"]
    signature = keys.signature_of(tonic, mode)
    ours = {
        keys.note_name(60 + keys.pitch_class(tonic) + root, signature) + QUALITY[quality]
        for root, quality, _ in table.values()
    }
    assert set(listed.split()) <= ours


@pytest.mark.parametrize("mode", ["major", "mixolydian", "dorian", "minor", "lydian", "phrygian"])
def test_numerals_spell_the_chords_that_music21_reads_from_them(mode: str) -> None:
    """music21's Roman numerals in a major key, where flats are written out as in our tables."""
    for numeral, (root, quality, _) in models.read_json(RULES)["modes"][mode]["chords"].items():
        theirs = roman.RomanNumeral(numeral, m21key.Key("D"))
        assert (theirs.root().pitchClass - 2) % 12 == root
        assert theirs.quality == quality


def test_a_part_ends_at_home_after_another_chord() -> None:
    harmony = harmonise(own("jig"))
    last = [span for span in harmony.spans if span.bar in (7, 15)]
    assert {span.chord.symbol for span in last if span.start > 0} == {"D"}
    before = [span.chord.symbol for span in harmony.spans if span.bar == 3]
    assert set(before) & {"A", "G", "Em"}, "bar 4 pauses away from home"


def test_candidates_are_ranked_and_add_up_to_one() -> None:
    for span in harmonise(own("reel")).spans:
        shares = [choice.probability for choice in span.choices]
        assert shares == sorted(shares, reverse=True)
        assert sum(shares) == pytest.approx(1.0)


def test_chords_change_at_most_once_inside_a_bar_of_two_beats() -> None:
    harmony = harmonise(own("jig"))
    for bar in range(16):
        assert len([chord for chord in harmony.chords() if chord.bar == bar]) <= 2


def test_a_tune_without_thirds_gets_open_chords() -> None:
    tune = read_abc(
        "X:1\nT:t\nR:reel\nM:4/4\nL:1/8\nK:D\n|:D2A2 d2A2|E2B2 e2B2|D2A2 d2A2|A4 D4:|\n",
        name="open.abc",
    )
    found = {chord.symbol for chord in harmonise(tune).chords()}
    assert "D5" in found
    assert "D" not in found


def test_symbols_are_named_as_they_sound() -> None:
    there = {chord.symbol for chord in harmonise(own("jig"), transpose=-9).chords()}
    assert "F" in there
    assert not any("#" in symbol for symbol in there)


def test_typed_chords_are_kept_to_the_end_of_their_bar() -> None:
    typed = (TypedChord(2, Fraction(0), "Em7"), TypedChord(2, Fraction(3, 8), "A7/C#"))
    harmony = harmonise(replace(own("jig"), chords_typed=typed), transpose=-12)
    in_bar = [chord.symbol for chord in harmony.chords() if chord.bar == 2]
    assert in_bar == ["Em7", "A7/C#"]
    assert all(not span.choices[0].typed for span in harmony.spans if span.bar == 3)


def test_a_lead_sheet_holds_each_chord_until_the_next() -> None:
    typed = tuple(TypedChord(bar, Fraction(0), "Dsus4") for bar in range(0, 16) if bar % 3 != 1)
    harmony = harmonise(replace(own("jig"), chords_typed=typed))
    assert {chord.symbol for chord in harmony.chords() if chord.bar == 1} == {"Dsus4"}


def test_a_typed_chord_that_is_none_is_named() -> None:
    typed = (TypedChord(0, Fraction(0), "Hm"),)
    with pytest.raises(UsageError, match="Hm"):
        harmonise(replace(own("jig"), chords_typed=typed))


def test_a_minor_seventh_on_the_beat_does_not_move_the_chord() -> None:
    """d-E-B-E over Em is Em with its seventh (common practice), not a swing to D and back."""
    tune = read_abc(
        "X:1\nT:t\nR:reel\nM:4/4\nL:1/8\nK:Edor\n"
        "|:E2BE dEBE|E2BE AFDF|E2BE dEBE|BABc dAFD|E2BE dEBE|E2BE AFDF|GABG FGAF|GEFD E4:|\n",
        name="dorian.abc",
    )
    assert {c.symbol for c in harmonise(tune).chords() if c.bar in (0, 2, 4)} == {"Em"}


def test_no_chord_stands_over_the_wrong_third() -> None:
    tune = read_abc(
        "X:1\nT:t\nR:reel\nM:4/4\nL:1/8\nK:D\n|:D2FA d2fd|=c2GE C2EG|D2=FA d2=fd|A2FD D4:|\n",
        name="thirds.abc",
    )
    for span in harmonise(tune).spans:
        thirds = {(span.chord.root + 3) % 12, (span.chord.root + 4) % 12}
        assert not span.melody & (thirds - span.chord.tones)


def test_both_endings_close_at_home() -> None:
    tune = read_abc(
        "X:1\nT:t\nR:jig\nM:6/8\nL:1/8\nK:G\n"
        "|:GBd gdB|ded BAG|ABc BAG|AGE EDE|GBd gdB|ded BAG|ABc BAF|1 AGF G2D:|2 AGF G3|]\n",
        name="ends.abc",
    )
    harmony = harmonise(tune)
    ends = [i for i, bar in enumerate(tune.written_bars()) if bar.kind == "ending"]
    for index in ends:
        assert [span.chord.symbol for span in harmony.spans if span.bar == index][-1] == "G"


def test_a_tune_of_five_tones_changes_chord_more_seldom() -> None:
    """Slow harmony under a pentatonic tune: at most one chord in any bar of two beats."""
    tune = read_abc(
        "X:1\nT:t\nR:reel\nM:4/4\nL:1/8\nK:D\n"
        "|:D2AF BFAF|D2AF E2FE|D2AF BFAB|d2BA BAFE|D2AF BFAF|D2AF E2FE|D2AF BFAB|AFEF D4:|\n",
        name="five.abc",
    )
    chords = harmonise(tune).chords()
    changes = sum(a.symbol != b.symbol for a, b in pairwise(chords))
    assert changes <= 8
