"""ABC read line by line; the rules are those of the ABC notation standard 2.1."""

from __future__ import annotations

import pytest

from liltwright.errors import PipelineError
from liltwright.read.abc import read_abc, read_abc_book
from liltwright.tune import Bar, Part, Tune


def tune(
    music: str, *, key: str = "C", meter: str = "4/4", unit: str = "1/8", more: str = ""
) -> Tune:
    return read_abc(f"X:1\nT:A\nM:{meter}\nL:{unit}\n{more}K:{key}\n{music}\n", name="a.abc")


def first_bar(music: str, **fields: str) -> Bar:
    return tune(music, **fields).parts[0].bars[0]


def pitches(bar: Bar) -> list[int]:
    return [note.midi for note in bar]


def lengths(bar: Bar) -> list[str]:
    return [str(note.length) for note in bar]


def shape(part: Part) -> tuple[int, int, list[int]]:
    return part.repeats, len(part.bars), [len(ending.bars) for ending in part.endings]


def test_pitches_by_letter_and_octave_mark():
    # 4.1: "C" is middle C, "c" the C above, "," lowers and "'" raises by an octave.
    assert pitches(first_bar("C,2 C2 c2 c'2|")) == [48, 60, 72, 84]


def test_the_key_signature_and_accidentals_to_the_end_of_the_bar():
    # 4.2; accidentals of one octave hold in all (11.3, propagate-accidentals: pitch).
    bars = tune("F=F ^Ff fF GG|F8|", key="G").parts[0].bars
    assert pitches(bars[0]) == [66, 65, 66, 78, 78, 66, 67, 67]
    assert pitches(bars[1]) == [66]


@pytest.mark.parametrize(
    ("music", "expected"),
    [
        ("A2A3/2A/A/2A//A/4z4|", ["1/4", "3/16", "1/16", "1/16", "1/32", "1/32"]),
        ("A>B A<B A>>B A2>B2|", ["3/16", "1/16", "1/16", "3/16", "7/32", "1/32", "3/8", "1/8"]),
        ("(3ABc (3A2B2c2 A2|", ["1/12"] * 3 + ["1/6"] * 3 + ["1/4"]),
        ("(3:2:2A2B (5ABcde d|", ["1/6", "1/12", *["1/20"] * 5, "1/8"]),
    ],
)  # fmt: skip
def test_note_lengths(music: str, expected: list[str]):
    # 4.3 lengths, 4.4 broken rhythm, 4.13 tuplets
    assert lengths(first_bar(music)) == expected


def test_a_duplet_in_compound_time_fills_three():
    # 4.13: (2 is two notes in the time of three; (5 too where the metre is compound
    assert lengths(first_bar("(2AB (5ABcde|", meter="6/8")) == ["3/16"] * 2 + ["3/40"] * 5


def test_tied_notes_are_one_and_may_cross_the_bar_line():
    bars = tune("A2-A2 B4-|B2 A6|").parts[0].bars
    assert lengths(bars[0]) == ["1/2", "3/4"]
    assert [str(note.start) for note in bars[1]] == ["1/4"]


def test_a_slur_written_as_a_tie_joins_nothing():
    assert pitches(first_bar("A4-B4|")) == [69, 71]


def test_rests_count_but_are_no_notes():
    bar = first_bar("z2 A2 x2 B2|")
    assert [str(note.start) for note in bar] == ["1/4", "3/4"]
    assert len(tune("A8|Z2|B8|").parts[0].bars) == 4


def test_chords_give_their_top_note():
    assert pitches(first_bar("[DFA]4 [Ac]2[c'e]2|")) == [69, 72, 84]


def test_graces_and_signs_become_ornaments():
    bar = first_bar("~A2 {B}A2 {G}A2 {AB}A2|")
    assert [note.ornament for note in bar] == ["roll", "cut", "tap", "grace"]
    assert lengths(bar) == ["1/4"] * 4


def test_what_says_nothing_of_the_notes_is_passed_over():
    plain = first_bar("ABcd efga|")
    music = 'u(A."^slowly"vB!f!c`d) +trill+ef "<1"ga|% a remark\nw: la la\n%%staffwidth 10\n'
    assert pitches(first_bar(music)) == pitches(plain)


def test_chord_symbols_are_kept_with_their_place():
    found = tune('A|"G"B4 "Em7/B"A4|"D.C."c8|"fine"B8|').chords_typed
    assert [(chord.bar, str(chord.start), chord.symbol) for chord in found] == [
        (1, "0", "G"),
        (1, "1/2", "Em7/B"),
    ]


def test_inline_fields_change_key_metre_and_unit():
    part = tune("F8|[K:D]F8|[M:3/4]F6|[L:1/4]F3|").parts[0]
    assert [pitches(bar) for bar in part.bars] == [[65], [66], [66], [66]]
    assert [str(length) for length in part.bar_lengths] == ["1", "1", "3/4", "1"]


def test_the_first_voice_is_the_tune():
    both = "V:1\nABcd efga|\nV:2\nC8|\nV:1\nagfe dcBA|\n"
    assert len(tune(both).parts[0].bars) == 2
    assert pitches(first_bar("ABcd efga & C8|")) == pitches(first_bar("ABcd efga|"))


@pytest.mark.parametrize(
    ("music", "form", "shapes"),
    [
        ("|:A8|B8:|:c8|d8:|", "AABB", [(2, 2, []), (2, 2, [])]),
        ("A8|B8::c8|d8:|", "AABB", [(2, 2, []), (2, 2, [])]),
        ("A8|B8||c8|d8|]", "AB", [(1, 2, []), (1, 2, [])]),
        ("A8|B8:|c8|d8||", "AAB", [(2, 2, []), (1, 2, [])]),
        ("|:A8|1B8:|2c8||d8|e8|]", "AAB", [(2, 1, [1, 1]), (1, 2, [])]),
        ("|:A8|[1B8|c8:|[2d8|e8|]", "AA", [(2, 1, [2, 2])]),
        ("|:A8|[1,3B8:|[2c8:|]", "AAA", [(3, 1, [1, 1])]),
        ("|::A8|B8::|", "AAA", [(3, 2, [])]),
        ("A8|B8|c8||A8|B8|c8||", "AA", [(2, 3, [])]),
    ],
)
def test_repeats_and_endings(music: str, form: str, shapes: list[tuple[int, int, list[int]]]):
    # 4.8 repeat and bar symbols, 4.9 first and second repeats, 4.10 variant endings
    found = tune(music)
    assert found.form == form
    assert [shape(part) for part in found.parts] == shapes


def test_pickups_stand_at_the_end_of_their_bar():
    found = tune("AB|c8|d6:|e2|f8|g6:|")
    assert [str(part.pickup[0].start) for part in found.parts] == ["3/4", "3/4"]
    assert found.parts[0].bar_lengths == ()  # the last bar is short by the pick-up


def test_a_pickup_before_the_repeat_sign_is_played_each_time_the_last_bar_leads_to_it():
    found = tune("G2|:A8|B6 G2:|:c8|d8:|").parts
    assert [note.midi for note in found[0].pickup] == [67]
    assert [pitches(ending.bars[0]) for ending in found[0].endings] == [[71], [71, 67]]


def test_a_bar_cut_by_a_repeat_sign_is_whole_again():
    found = tune("|:A8|B4[1c4:|[2d4|]").parts[0]
    assert [pitches(ending.bars[0]) for ending in found.endings] == [[71, 72], [71, 74]]


def test_irregular_bars_are_listed():
    part = tune("A8|B6|c8|d8|").parts[0]
    assert [str(length) for length in part.bar_lengths] == ["1", "3/4", "1", "1"]


def test_the_order_of_labelled_parts():
    # 3.1.9: P:ABA in the header
    assert tune("P:A\nA8|B8||\nP:B\nc8|d8|]", more="P:ABA\n").form == "ABA"
    assert tune("P:A\nA8|B8||\nP:B\nc8|d8|]", more="P:(AB)2\n").form == "ABAB"


@pytest.mark.parametrize(
    ("fields", "beat", "tempo"),
    [
        ("R:jig\nQ:3/8=112\n", "3/8", 112.0),
        ("R:reel\nQ:1/4=200\n", "1/2", 100.0),
        ("R:reel\nQ:100\n", "1/2", 25.0),  # the old kind: unit lengths a minute
        ('R:slow air\nQ:"slowly" 1/4=60\n', "1/4", 60.0),
        ("R:double jig\n", "3/8", 112.0),  # common practice, models/dances
    ],
)
def test_type_beat_and_tempo(fields: str, beat: str, tempo: float):
    meter = "6/8" if "jig" in fields else "4/4"
    found = tune("A4|", meter=meter, more=fields)
    assert (str(found.beat), found.beats_per_minute) == (beat, tempo)


def test_the_type_is_guessed_aloud_where_the_file_is_silent():
    found = tune("ABc|", meter="6/8")
    assert (found.tune_type, found.candidates.tune_type) == ("jig", ())
    assert "6/8 suggests jig" in found.remarks[0]


def test_the_unit_length_without_l():
    # 3.1.7: 1/16 where the metre is less than 3/4, else 1/8
    for meter, expected in (("2/4", "1/16"), ("3/4", "1/8"), ("6/8", "1/8"), ("4/4", "1/8")):
        found = read_abc(f"X:1\nT:A\nM:{meter}\nK:C\nA\n", name="a")
        assert str(found.parts[0].bars[0][0].length) == expected


def test_a_tune_out_of_a_book_by_number():
    book = "X:3\nT:One\nK:D\nA8|\n\nX:7\nT:Two\nK:G\nB8|\n"
    assert read_abc(book, name="b.abc", tune_number=7).title == "Two"
    with pytest.raises(PipelineError, match="holds no tune X:4; it holds 3, 7"):
        read_abc(book, name="b.abc", tune_number=4)


def test_a_broken_tune_of_a_book_is_skipped_and_named():
    book = read_abc_book("X:1\nT:Whole\nK:D\nA8|\n\nX:2\nT:Empty\nK:D\n\nX:3\nT:Other\nK:D\nB8|\n")
    assert [found.title for found in book] == ["Whole", "Other"]
    assert book.faults == ('the book, tune "Empty" has no notes.',)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "holds no ABC tune"),
        ("X:1\nT:A\nABc|\n", "has no K: line"),
        ("X:1\nT:A\nK:D\n", "has no notes"),
        ("X:1\nT:A\nK:D\nc''''''''8|\n", "outside the range of MIDI"),
    ],
)
def test_faults_are_one_clear_sentence(text: str, fault: str):
    with pytest.raises(PipelineError, match=fault):
        read_abc(text, name="a.abc")


def test_music_after_an_empty_line_is_not_lost():
    # By 2.2.2 an empty line ends the tune; people who edit by hand put one between the parts.
    found = tune("ABcd efga|B8:|\n\nagfe dcBA|c8:|")
    assert found.form == "AABB"
    assert "empty line" in found.warnings[0]


def test_titles_keep_their_accents():
    for written in ("Sl\\'an", "Sl&aacute;n", "Slán"):
        assert read_abc(f"X:1\nT:{written}\nK:D\nA8|", name="a").title == "Slán"


def test_a_pickup_before_the_repeat_sign_is_led_back_to_by_the_first_ending():
    """The way tune books write it: the note before the sign stands in the first ending again."""
    text = (
        "X:1\nT:A\nM:6/8\nL:1/8\nK:D\nA|:d2e f2g|afd efg|[1 fed cde|d3 d2A:|[2 fed cBA|d3 d2f||"
        "\n|:g2f e2d|cde A2f|g2f e2d|cAc d2f:|"
    )
    tune = read_abc(text, name="a.abc")
    first = tune.parts[0]
    assert tune.form == "AABB"
    assert (first.repeats, len(first.bars)) == (2, 2)
    assert [ending.times for ending in first.endings] == [(1,), (2,)]
    written = tune.written_bars()
    part_a = tune.performed_order()[:10]  # twice: pick-up, two bars, two of the ending
    played = [note.midi for index in part_a for note in written[index].notes]
    body = [69, 74, 76, 78, 79, 81, 78, 74, 76, 78, 79]
    ends = [78, 76, 74, 73, 74, 76, 74, 74], [78, 76, 74, 73, 71, 69, 74, 74, 78]
    assert played == [*body, *ends[0], *body, *ends[1]]
