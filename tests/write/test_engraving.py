"""Engraving and sheets, held against verovio's drawing and against poppler's reading of the PDF."""

import re
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from lxml import etree

from liltwright.tab import Arrangement, Setup
from liltwright.tune import Tune
from liltwright.write.engrave.engraving import (
    Engraved,
    engrave_layer,
    engrave_tune,
    narrowed,
    tuning_words,
)
from liltwright.write.engrave.sheets import (
    hardest_bars,
    heading_facts,
    layer_pages_svg,
    layer_pdf,
    lead_sheet_pdf,
    staged_pdf,
)
from liltwright.write.engrave.svg import marked, standalone
from liltwright.write.sheet.layout import sheet_of_layer
from liltwright.write.sheet.systems import lines_of
from tests.tools import need
from tests.write.hand_made import arrangement, jig

SVG = {"s": "http://www.w3.org/2000/svg"}


@pytest.fixture(scope="module")
def tune() -> Tune:
    return jig()


@pytest.fixture(scope="module")
def layers(tune: Tune) -> Arrangement:
    return arrangement(tune)


@pytest.fixture(scope="module")
def plain_bass(tune: Tune, layers: Arrangement) -> Engraved:
    return engrave_layer(tune, layers, "plain-bass")


def text_of(pdf: bytes, tmp_path: Path, *options: str) -> str:
    need("pdftotext")
    path = tmp_path / "sheet.pdf"
    path.write_bytes(pdf)
    run = ["pdftotext", *options, str(path), "-"]
    return subprocess.run(run, capture_output=True, check=True, text=True).stdout


def test_every_bar_is_drawn_once_in_order(plain_bass, tune):
    drawn = [index for line in plain_bass.lines for index in line.bars]
    assert drawn == list(range(len(plain_bass.sheet.bars)))
    found = [
        int(n) for line in plain_bass.lines for n in re.findall(r'data-bar="(\d+)"', line.body)
    ]
    assert found == drawn
    assert [bar.written for bar in plain_bass.sheet.bars] == list(range(len(tune.written_bars())))


def test_a_line_is_a_phrase_and_no_part_begins_inside_a_line(plain_bass):
    bars = plain_bass.sheet.bars
    numbers = [[bars[i].number for i in line.bars if bars[i].number] for line in plain_bass.lines]
    assert numbers == [[1, 2, 3, 4], [5, 6, 7, 8], [9, 10, 11, 12], [13, 14, 15, 16, 15, 16]]
    assert all(not bars[i].part for line in plain_bass.lines for i in line.bars[1:])


def test_a_line_too_full_for_its_notes_is_halved(plain_bass):
    bars = plain_bass.sheet.bars
    assert max(len(line) for line in lines_of(bars, capacity=20.0)) <= 3
    assert sorted(i for line in lines_of(bars, capacity=20.0) for i in line) == list(
        range(len(bars))
    )


def test_a_pickup_before_a_round_does_not_stand_alone(tune, layers):
    bars = sheet_of_layer(tune, layers, "performance").bars
    assert all(any(not bars[i].offset for i in line) for line in lines_of(bars))


def test_every_fret_of_the_layer_is_on_the_tab_staff(plain_bass, layers):
    """Fret numbers read out of the drawing against the arrangement, bar by bar."""
    drawn: dict[int, list[str]] = {}
    for line in plain_bass.lines:
        root = etree.fromstring(standalone(line, font="serif").encode())
        for bar in root.findall(".//s:g[@data-bar]", SVG):
            frets = bar.findall(".//s:text[@class='fret']", SVG)
            drawn[int(bar.get("data-bar"))] = sorted("".join(f.itertext()).strip() for f in frets)
    layer = layers.layer("plain-bass")
    assert drawn == {
        index: sorted(str(note.fret) for note in bar) for index, bar in enumerate(layer.bars)
    }


def test_melody_stems_point_up_and_bass_stems_down(plain_bass):
    """In bar 1 of the notation staff: a stem ends above its note head, or below it."""
    root = etree.fromstring(standalone(plain_bass.lines[0], font="serif").encode())
    bar = root.find(".//s:g[@data-bar='1']", SVG)
    voices = bar.findall("s:g[@class='staff']", SVG)[0].findall("s:g[@class='layer']", SVG)
    assert len(voices) == 2
    up, down = (_stem_directions(voice) for voice in voices)
    assert set(up) == {"up"}
    assert set(down) == {"down"}


def _stem_directions(voice: etree._Element) -> list[str]:
    found = []
    for note in voice.findall(".//s:g[@class='note']", SVG):
        head = note.find("s:g[@class='notehead']/s:use", SVG).get("transform")
        head_y = int(re.search(r"translate\(-?\d+, (-?\d+)\)", head)[1])
        stem = note.find("s:g[@class='stem']/s:path", SVG).get("d")
        ends = [int(y) for y in re.findall(r" (-?\d+)(?= |$|L)", stem)]
        found.append("up" if head_y - min(ends) > max(ends) - head_y else "down")
    return found


def test_nothing_that_verovio_hides_is_left_in_the_drawing(plain_bass):
    text = "".join(line.body for line in plain_bass.lines)
    assert not re.search(r"(Milestone|placeholder)[^>]*><ellipse", text)
    assert " id=" not in text
    staves = re.findall(r'class="meterSig"', plain_bass.lines[0].body)
    assert len(staves) == 1, "the metre stands on the notation staff only"


def test_every_line_is_numbered_by_its_first_full_bar(plain_bass):
    """Also where it begins with a pick-up or with a part's letter."""
    found = [re.findall(r'class="mNum"[^>]*>(\d+)<', line.body) for line in plain_bass.lines]
    assert found == [["1"], ["5"], ["9"], ["13"]]


def test_doubtful_bars_are_marked(plain_bass):
    line = marked(plain_bass.lines[0], {2, 99})
    assert line.body.count('class="query"') == 1
    assert 'class="measure doubt" data-bar="2"' in line.body
    etree.fromstring(standalone(line, font="serif").encode())


def test_two_bars_on_a_line_for_a_small_screen(plain_bass):
    narrow = narrowed(plain_bass)
    assert max(len(line.bars) for line in narrow.lines) == 3, "two and a pick-up"
    assert [i for line in narrow.lines for i in line.bars] == [
        i for line in plain_bass.lines for i in line.bars
    ]


def test_the_same_music_gives_the_same_bytes(tune, layers, plain_bass):
    again = engrave_layer(tune, layers, "plain-bass")
    assert again.lines == plain_bass.lines
    assert layer_pdf(tune, layers, "melody") == layer_pdf(tune, layers, "melody")


# ---------------------------------------------------------------- paper


def test_a_sheet_states_what_a_player_needs(tune, layers, plain_bass, tmp_path):
    text = text_of(layer_pdf(tune, layers, "plain-bass", engraved=plain_bass), tmp_path, "-layout")
    for words in (
        "The Lamp at the Ferry", "Jig, 6/8", "Plain bass", "Tuning D A D G A D, capo 2",
        "sounds in E mixolydian, fingered in D mixolydian", "dotted quarter note = 112",
        "E5", "Stop when a hand", "somebody’s" if "somebody’s" in text else "somebody's",
    ):  # fmt: skip
        assert words in text
    assert " 13 " in text or "13" in text.split()


def test_text_is_text_and_every_font_is_embedded(tune, layers, plain_bass, tmp_path):
    need("pdffonts")
    path = tmp_path / "sheet.pdf"
    path.write_bytes(layer_pdf(tune, layers, "plain-bass", engraved=plain_bass))
    run = subprocess.run(["pdffonts", str(path)], capture_output=True, check=True, text=True)
    fonts = run.stdout.splitlines()[2:]
    assert fonts
    assert all(line.split()[-5] == "yes" for line in fonts), run.stdout


@pytest.mark.parametrize(("paper", "size"), [("a4", "595"), ("letter", "612")])
def test_paper_sizes(tune, paper, size, tmp_path):
    need("pdfinfo")
    path = tmp_path / "sheet.pdf"
    path.write_bytes(lead_sheet_pdf(tune, paper=paper))
    run = subprocess.run(["pdfinfo", str(path)], capture_output=True, check=True, text=True)
    assert f"Page size:       {size}" in run.stdout


def test_the_staged_sheet_has_one_page_a_layer_with_what_to_do(tune, layers, tmp_path):
    pages = text_of(staged_pdf(tune, layers), tmp_path).split("\f")[:-1]
    assert len(pages) == len(layers.layers)
    for number, (page, layer) in enumerate(zip(pages, layers.layers, strict=True), start=1):
        assert f"{number}. {layer.name.replace('-', ' ').capitalize()}" in page
        assert layer.remarks[0] in page.replace("\n", " ")
        assert "Practise first: bar" in page


def test_the_hardest_bars_are_those_with_most_to_do(tune, layers):
    """Bar 6 of the jig moves over three frets in eighths; bars on open strings are not named."""
    hard = hardest_bars(tune, layers.setup, layers.layer("melody"))
    assert hard
    assert all(1 <= number <= 16 for number in hard)
    easy = replace(layers.layer("melody"), bars=tuple(() for _ in layers.layer("melody").bars))
    assert hardest_bars(tune, layers.setup, easy) == ()


def test_a_title_may_hold_any_signs(layers, tmp_path):
    odd = replace(jig(), title='#panic("x") $y$ *<b>& "quoted" ]')
    text = text_of(lead_sheet_pdf(odd), tmp_path)
    assert '#panic("x") $y$ *<b>& "quoted" ]' in text.replace("”", '"').replace("“", '"')


def test_pages_can_be_pictures_too(tune, layers):
    pages = layer_pages_svg(tune, layers, "melody")
    assert len(pages) == 1
    etree.fromstring(pages[0].encode())


def test_headings_in_words():
    setup = Setup("drop D", (38, 45, 50, 55, 59, 64), 0, -12, arrangement().setup.sounds_in,
                  arrangement().setup.sounds_in)  # fmt: skip
    assert tuning_words(setup) == "drop D (D A D G B E)"
    flat = replace(setup, tuning="open G minor", strings_midi=(38, 43, 50, 55, 58, 62))
    assert tuning_words(flat) == "open G minor (D G D G B♭ D)"
    assert heading_facts(engrave_tune(jig()).sheet) == ["D mixolydian, dotted quarter note = 112"]


def test_ornaments_stand_beside_their_notes_on_the_tab_staff(tune, layers):
    """A cut is a small number left of its note with p over an arc; the columns stay in line."""
    bars = list(layers.layer("melody").bars)
    main = replace(bars[1][0], technique="pull-off")
    grace = replace(bars[1][0], fret=2, midi=main.midi + 2, grace=True, length=main.length / 4)
    bars[1] = (grace, main, *bars[1][1:])
    decorated = replace(layers, layers=(replace(layers.layer("melody"), bars=tuple(bars)),))
    line = engrave_layer(tune, decorated, "melody").lines[0]
    root = etree.fromstring(standalone(line, font="serif").encode())
    bar = root.find(".//s:g[@data-bar='1']", SVG)
    frets = bar.findall(".//s:text[@class='fret']", SVG)
    assert sorted("".join(f.itertext()) for f in frets) == sorted(
        ["2", *(str(n.fret) for n in bars[1][1:])]
    )
    small = next(f for f in frets if f.get("font-size") == "340px")
    tab = bar.findall("s:g[@class='staff']", SVG)[1]
    first = tab.find(".//s:g[@class='tabGrp']//s:text", SVG)
    assert int(small.get("x")) < int(first.get("x"))
    assert [t.text for t in bar.findall(".//s:text[@class='how']", SVG)] == ["p"]
    stems = tab.findall(".//s:g[@class='stem']/s:path", SVG)
    assert len(stems) == len(bars[1]) - 1, "the grace note has no stem on the tab staff"
