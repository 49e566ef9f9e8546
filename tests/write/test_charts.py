"""Fretboard charts: well-formed, true to the fingering, mirrored for the left hand."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from liltwright.guitar.player import Player
from liltwright.guitar.setups import make_setup
from liltwright.write.report.charts import fretboard_chart, use_of_places
from tests.guitar.small_tunes import REEL_IN_D, REEL_IN_G

SVG = "{http://www.w3.org/2000/svg}"
SETUP = make_setup(REEL_IN_G, tuning="DADGAD", capo=5)


def numbers_drawn(svg: str) -> list[int]:
    root = ElementTree.fromstring(svg)
    bold = [t for t in root.iter(f"{SVG}text") if t.get("font-weight") == "bold"]
    return sorted(int(t.text) for t in bold if t.text and t.text.isdigit())


def test_every_place_of_one_round_is_drawn_with_its_count() -> None:
    used = use_of_places(REEL_IN_G, SETUP)
    assert sum(used.values()) == 2 * 64  # eight bars of eight notes, played twice
    assert numbers_drawn(fretboard_chart(REEL_IN_G, SETUP)) == sorted(used.values())


def test_the_tonic_stands_on_its_point() -> None:
    used = use_of_places(REEL_IN_G, SETUP)
    strings = dict(zip(range(6, 0, -1), SETUP.strings_midi, strict=True))
    tonics = [p for p in used if (strings[p.string] + 5 + p.fret) % 12 == 7]
    assert fretboard_chart(REEL_IN_G, SETUP).count("<path") == len(tonics)


def test_the_chart_needs_no_colour() -> None:
    colours = set(re.findall(r"#[0-9a-f]{6}", fretboard_chart(REEL_IN_G, SETUP)))
    assert all(c[1:3] == c[3:5] == c[5:7] for c in colours), "greys only"


def test_open_strings_are_named_as_they_sound_with_the_capo() -> None:
    svg = fretboard_chart(REEL_IN_G, SETUP)
    names = re.findall(r'font-weight="bold">([A-G][b#]?)</text>', svg)
    assert names == ["G", "D", "C", "G", "D", "G"]
    assert "capo 5" in svg
    assert "D shapes" in svg


def test_a_left_handed_chart_is_the_mirror_image() -> None:
    setup = make_setup(REEL_IN_D, tuning="standard")
    right = fretboard_chart(REEL_IN_D, setup)
    left = fretboard_chart(REEL_IN_D, setup, player=Player(left_handed=True))

    def discs(svg: str) -> list[float]:
        return [float(c.get("cx", 0)) for c in ElementTree.fromstring(svg).iter(f"{SVG}circle")]

    assert discs(left) == pytest.approx([760 - x for x in discs(right)], abs=0.11)


def test_the_description_tells_the_same_in_words() -> None:
    root = ElementTree.fromstring(fretboard_chart(REEL_IN_G, SETUP))
    told = root.find(f"{SVG}desc")
    assert told is not None
    assert told.text is not None
    counts = [int(n) for n in re.findall(r"(\d+) times", told.text)]
    assert sorted(counts) == sorted(use_of_places(REEL_IN_G, SETUP).values())
