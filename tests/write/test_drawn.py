"""What is drawn of a sheet, and where its pages turn."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import pytest
from lxml import etree

from liltwright.arrange.layers import arrange_layers
from liltwright.guitar.setups import make_setup
from liltwright.read.abc import read_abc
from liltwright.write.engrave.corrections import FRET_PX
from liltwright.write.engrave.engraving import engrave, engrave_tune
from liltwright.write.engrave.pages import page_breaks
from liltwright.write.engrave.svg import standalone
from liltwright.write.formats.lead import with_chords
from liltwright.write.sheet.bars import Sheet
from liltwright.write.sheet.drawn import drawn
from liltwright.write.sheet.layout import sheet_of_layer, sheet_of_tune
from liltwright.write.sheet.voices import SheetNote, Voice, VoiceItem
from tests.write.arranged import arrangements

SVG = {"s": "http://www.w3.org/2000/svg"}


def fullest() -> list[Sheet]:
    return [
        sheet_of_layer(tune, made, "fuller")
        for tune, made in arrangements()
        if any(layer.name == "fuller" for layer in made.layers)
    ]


def heads(sheet: Sheet) -> list[tuple[int, Fraction, int, int]]:
    """Bar, start, string and fret of every note that is struck."""
    return sorted(
        (index, item.start, note.string, note.fret)
        for index, bar in enumerate(sheet.bars)
        for voice in bar.voices for item in voice.items if not item.tied_in
        for note in item.notes
    )  # fmt: skip


@pytest.mark.parametrize("sheet", fullest(), ids=lambda sheet: sheet.title)
def test_the_drawing_has_every_note_once_and_fewer_stems(sheet: Sheet):
    shown = drawn(sheet)
    assert heads(shown) == heads(sheet)
    for bar in shown.bars:
        items = [(v.name, i) for v in bar.voices for i in v.items if i.notes and not i.tied_in]
        struck = {i.start for name, i in items if name != "inner" and not i.tied_out}
        alone = {i.start for name, i in items if name == "inner" and not i.graces}
        assert not alone & struck


@pytest.mark.parametrize("sheet", fullest(), ids=lambda sheet: sheet.title)
def test_every_tie_that_is_left_has_both_ends(sheet: Sheet):
    for name in ("melody", "bass", "inner"):
        open_tie = False
        for bar in drawn(sheet).bars:
            items = next((v.items for v in bar.voices if v.name == name), ())
            for item in items:
                assert item.tied_in == open_tie
                open_tie = item.tied_out
        assert not open_tie


def test_flats_of_chord_names_are_signs_of_a_text_font():
    """verovio writes them in a music font that no page has."""
    text = 'X:1\nT:A\nM:4/4\nL:1/8\nK:Fm\n"Fm"F4"Bbm"B4|"Db"d4"E7/G#"e4|'
    body = "".join(line.body for line in engrave_tune(read_abc(text, name="a")).lines)
    names = re.findall(r'class="harm">(.*?)</g>', body)
    plain = [re.sub(r"<[^>]*>", "", name) for name in names]
    assert plain == ["Fm", "B♭m", "D♭", "E7/G♯"]
    assert "Leipzig" not in body
    assert not re.search(r"[\ue000-\uf8ff]", body), "no sign of a music font in the text"


def test_rests_dots_and_numbers_can_be_read_on_the_tab_staff():
    tune, made = arrangements()[2]  # the hornpipe: dotted pairs and a rest of a quarter
    sheet = sheet_of_layer(tune, made, "melody")
    bodies = [etree.fromstring(standalone(line, font="serif").encode())
              for line in engrave(sheet).lines]  # fmt: skip
    tabs = [bar.findall("s:g[@class='staff']", SVG) for root in bodies
            for bar in root.findall(".//s:g[@data-bar]", SVG)]  # fmt: skip
    rests = sum(len(staves[0].findall(".//s:g[@class='rest']", SVG)) for staves in tabs)
    copied = sum(len(staves[1].findall("s:use", SVG)) for staves in tabs)
    assert rests == copied > 0
    sizes = {span.get("font-size") for staves in tabs
             for span in staves[1].findall(".//s:text[@class='fret']/s:tspan", SVG)}  # fmt: skip
    assert sizes == {f"{FRET_PX}px"}
    dots = [dot for staves in tabs
            for dot in staves[1].findall(".//s:g[@class='tabDurSym']/s:ellipse", SVG)]  # fmt: skip
    assert dots
    assert all(int(dot.get("rx")) > 36 for dot in dots), "larger than a dot in the notation"


def test_a_repeat_sign_has_two_dots_on_each_staff():
    tune, made = arrangements()[2]
    for line in engrave(sheet_of_layer(tune, made, "melody")).lines:
        for sign in re.findall(r'class="barLine">(.*?)</g>', line.body):
            assert sign.count("<use") in (0, 4)


def test_the_lead_sheet_has_the_chords_of_the_arrangement_at_the_tunes_own_pitch():
    """The slip jig lies two semitones below where it is written: its first chord moves up."""
    tune, made = arrangements()[1]
    chorded = with_chords(tune, [made])
    plain = made.layer("plain-bass").chords
    assert len(chorded.chords_typed) == len(plain) > 0
    steps = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}

    def root(symbol: str) -> int:
        return (steps[symbol[0]] + symbol[1:2].count("#") - symbol[1:2].count("b")) % 12

    for typed, chord in zip(chorded.chords_typed, plain, strict=True):
        assert (root(typed.symbol) + made.setup.transpose - root(chord.symbol)) % 12 == 0
    assert any(bar.chords for bar in sheet_of_tune(chorded).bars)
    own, _ = arrangements()[2]
    assert with_chords(own, [made]) is own, "chords that the user wrote stay"


def test_pages_turn_between_parts_and_leave_no_line_alone():
    lines = [40.0] * 5
    parts = [True, False, True, False, False]
    room = {"first_mm": 200.0, "page_mm": 250.0, "last_less_mm": 15.0}
    assert page_breaks(lines, parts, **room) == (2,)
    assert page_breaks(lines[:4], parts[:4], **room) == ()
    assert page_breaks([40.0] * 5, [True] + [False] * 4, **room) != (4,)
    assert page_breaks([900.0, 40.0], [True, True], **room) == (1,), "a line too high stands alone"


def test_a_short_bass_note_alone_is_drawn_as_an_eighth():
    sixteenth, rest = Fraction(1, 16), Fraction(3, 16)
    note = SheetNote(40, Fraction(0), sixteenth, "bass", string=6)
    melody = VoiceItem(Fraction(0), Fraction(1, 4), (replace(note, voice="melody", string=1),))
    bass = (VoiceItem(Fraction(0), sixteenth, (note,)), VoiceItem(sixteenth, rest))
    voices = (Voice("melody", (melody,)), Voice("bass", bass))
    tune, made = arrangements()[1]
    sheet = sheet_of_layer(tune, made, "melody")
    bar = replace(sheet.bars[0], voices=voices, length=Fraction(1, 4))
    shown = drawn(replace(sheet, bars=(bar,))).bars[0].voices[1].items
    assert [(item.start, item.length, bool(item.notes)) for item in shown] == [
        (0, Fraction(1, 8), True), (Fraction(1, 8), Fraction(1, 8), False),
    ]  # fmt: skip


def test_the_closing_chord_of_a_performance_stands_without_a_rest_over_it():
    tune, made = arrangements()[1]
    sheet = sheet_of_layer(tune, made, "performance")
    closing, shown = sheet.bars[-1], drawn(sheet).bars[-1]
    assert closing.written == -1
    assert [voice.name for voice in shown.voices] == ["melody"]
    struck = sorted(n.midi for i in shown.voices[0].items if not i.tied_in for n in i.notes)
    assert struck == sorted(note.midi for note in closing.sounding)


def test_beams_of_sixteenths_are_two_on_the_tab_staff():
    """White between them at least as wide as half a beam."""
    tune = read_abc("X:1\nT:A\nR:reel\nM:4/4\nL:1/16\nK:D\nDFAd dAFD A4 d4|", name="a")
    made = arrange_layers(tune, make_setup(tune, tuning="DADGAD", capo=0, transpose=None))
    (line,) = engrave(sheet_of_layer(tune, made, "melody")).lines
    root = etree.fromstring(standalone(line, font="serif").encode())
    tab = root.find(".//s:g[@data-bar]", SVG).findall("s:g[@class='staff']", SVG)[1]
    edges = sorted({
        tuple(sorted({int(y) for y in re.findall(r",(-?\d+)", beam.get("points"))}))
        for beam in tab.iter("{http://www.w3.org/2000/svg}polygon")
    })  # fmt: skip
    assert len(edges) == 2
    (top, foot), (next_top, _) = edges
    assert next_top - foot >= (foot - top) / 2


def test_two_bars_of_twelve_eight_stand_on_a_line_where_the_page_has_room():
    bar = "A2B d2B A2G E2D|"
    text = "X:1\nT:A\nR:slide\nM:12/8\nL:1/8\nK:G\n|:" + 3 * bar + "[1" + bar[:-1] + ":|[2" + bar
    music = engrave_tune(read_abc(text + "|:" + 3 * bar + bar[:-1] + ":|", name="a"))
    numbers = [[music.sheet.bars[i].number for i in line.bars] for line in music.lines]
    assert numbers == [[1, 2], [3, 4, 4], [5, 6], [7, 8]]
    reel = "X:1\nT:A\nR:reel\nM:4/4\nL:1/8\nK:G\n" + 32 * "GABc dedB|"
    assert {len(line.bars) for line in engrave_tune(read_abc(reel, name="a")).lines} == {4}
