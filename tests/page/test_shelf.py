"""The shelf and what is shipped: a light reading says what the whole one says; assets are ours."""

import re
import tomllib
from importlib.resources import files
from pathlib import Path

import pytest

import liltwright
from liltwright.page.desk import parse_setup, setup_name
from liltwright.page.drawing import layer_music, tune_music
from liltwright.page.shelf import Shelf, entry_of, entry_of_json, identifier
from liltwright.page.taking import safe_name
from liltwright.write.folder.ledger import is_plain_name
from tests.page.conftest import DEMO
from tests.write.hand_made import arrangement, heard_jig

ASSETS = sorted(
    (one.name, one.read_text(encoding="utf-8"))
    for one in files("liltwright.page").joinpath("assets").iterdir()
)


@pytest.mark.parametrize("tune", [heard_jig(), liltwright.read(DEMO / "tune.abc")], ids=str)
def test_the_light_reading_of_a_tune_says_what_the_whole_one_says(tmp_path, tune):
    liltwright.write(tune, folder=tmp_path / "one")
    light = entry_of_json("id", tmp_path / "one", 1.0)
    assert light == entry_of("id", "one", tune, 1.0)


def test_a_broken_tune_is_left_out_of_the_list(tmp_path):
    for name, text in (("a", "{"), ("b", "[]"), ("c", '{"parts": 3}')):
        (tmp_path / name).mkdir()
        (tmp_path / name / "tune.json").write_text(text)
    assert Shelf(tmp_path).entries() == []


def test_a_folder_of_a_tune_is_a_shelf_of_one(tmp_path):
    liltwright.write(liltwright.read(DEMO / "tune.abc"), folder=tmp_path)
    assert list(Shelf(tmp_path).folders()) == [identifier(".")]


def test_new_folders_never_take_a_name_that_is_there(tmp_path):
    shelf = Shelf(tmp_path)
    names = [shelf.new_folder("The Lamp / at \u00c9dge").name for _ in range(3)]
    assert len(set(names)) == 3
    assert all(is_plain_name(name) for name in names)


@pytest.mark.parametrize(
    "name",
    ["../x.wav", "a\\b.wav", "", ".", "..", "x" * 500, "a\x00b.wav", "Ünï.ogg", "\ud800.wav"],
)
def test_a_name_of_an_upload_is_a_plain_name(name):
    assert is_plain_name(safe_name(name))


def test_a_setup_is_named_and_found_again():
    setup = arrangement(heard_jig()).setup
    assert parse_setup(setup_name(setup)) == (setup.strings_midi, setup.capo, setup.transpose)


def test_every_note_of_the_tune_can_be_chosen_in_the_music():
    """A note that is drawn as several tied heads has its number on each of them."""
    tune = heard_jig()
    for music in (
        tune_music(tune, narrow=False),
        tune_music(tune, narrow=True),
        layer_music(tune, arrangement(tune), "drone", narrow=False),
    ):
        found = set()
        for measure in re.split(r"(?=data-written=)", music)[1:]:
            place = re.match(r'data-written="(-?\d+)"', measure)[1]
            found |= {(int(place), int(n)) for n in re.findall(r'data-note="(-?\d+)"', measure)}
        wanted = {
            (i, n) for i, bar in enumerate(tune.written_bars()) for n in range(len(bar.notes))
        }
        assert {one for one in found if one[1] >= 0} == wanted


def test_the_assets_are_in_the_wheel_and_name_only_each_other():
    settings = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())
    assert settings["tool"]["setuptools"]["package-data"]["liltwright.page"] == ["assets/*"]
    assert "liltwright.page" in settings["tool"]["setuptools"]["packages"]
    names = {name for name, _ in ASSETS}
    for name, text in ASSETS:
        for target in re.findall(r'from "\./([^"]+)"|/assets/([\w.-]+)', text):
            assert set(target) - {""} <= names, (name, target)
        for address in re.findall(r"https?://[^\s\"'`]+", text):
            assert address.startswith("http://www.w3.org/"), (name, address)


def test_no_asset_needs_what_the_policy_forbids():
    for name, text in ASSETS:
        if name.endswith(".html"):
            assert not re.search(r"\sstyle=|\son\w+=|<style|<script(?! type=\"module\" src)", text)
        if name.endswith(".js"):
            assert not re.search(r"\beval\(|new Function|setAttribute\(\"style", text)
