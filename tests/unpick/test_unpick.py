"""A page taken apart and built up again: records, stages, files, the command."""

import json
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from typer.testing import CliRunner

from liltwright.cli import app
from liltwright.errors import PipelineError, UsageError
from liltwright.guitar.fretboard import open_midi
from liltwright.read.finished import finished_from_bytes
from liltwright.records import from_json
from liltwright.tab import LAYER_NAMES, Arrangement
from liltwright.tunefile import read_tune
from liltwright.unpick.unpicked import UnpickSettings, unpick
from liltwright.write.formats.abc import layer_to_abc
from liltwright.write.formats.midi import layer_to_midi
from liltwright.write.formats.musicxml import layer_to_musicxml
from liltwright.write.formats.tablature import layer_to_text
from tests.unpick.pages import page_of

WRITERS = {
    "musicxml": layer_to_musicxml,
    "txt": lambda *page: layer_to_text(*page).encode(),
    "abc": lambda *page: layer_to_abc(*page).encode(),
    "mid": layer_to_midi,
}


@pytest.fixture(scope="module")
def jig():
    return page_of("jig")


@pytest.fixture(scope="module")
def taken(jig):
    data = layer_to_musicxml(*jig, "fuller")
    return unpick(finished_from_bytes(data, name="jig.musicxml"))


@pytest.mark.parametrize("kind", list(WRITERS))
@pytest.mark.parametrize("layer", LAYER_NAMES)
def test_whatever_we_write_is_taken_apart_into_the_same_notes(jig, kind, layer):
    tune, arrangement = jig
    data = WRITERS[kind](tune, arrangement, layer)
    found = unpick(finished_from_bytes(data, name=f"page.{kind}"))
    written = [one for one in found.page.layers[0].bars if one]
    own = [one for one in arrangement.layer(layer).bars if one]
    assert [sorted((n.midi, n.part, n.start) for n in bar) for bar in written] == [
        sorted((n.midi, n.part, n.start) for n in bar) for bar in own
    ]
    pitches = [[n.midi for n in bar.notes] for bar in found.tune.written_bars()]
    shift = -12 - arrangement.setup.transpose
    assert pitches == [[n.midi - shift for n in bar.notes] for bar in tune.written_bars()]


def test_the_tune_keeps_form_type_and_sounding_key(jig, taken):
    tune, arrangement = jig
    assert taken.tune.form == tune.form
    assert taken.tune.tune_type == "jig"
    assert (taken.tune.tonic, taken.tune.mode) == (
        arrangement.setup.sounds_in.tonic,
        arrangement.setup.sounds_in.mode,
    )


def test_every_stage_has_the_tune_as_the_page_fingers_it(taken):
    page = taken.page.layers[0]
    for layer in taken.stages.layers:
        for mine, whole in zip(layer.bars, page.bars, strict=True):
            assert [(n.string, n.fret, n.start) for n in mine if n.part == "melody"] == [
                (n.string, n.fret, n.start) for n in whole if n.part == "melody"
            ]
    assert [layer.name for layer in taken.stages.layers] == [
        "melody",
        "drone",
        "plain-bass",
        "finished-bass",
        "finished",
    ]
    assert all(layer.remarks for layer in taken.stages.layers)


def test_notes_sound_what_string_and_fret_say_and_no_string_sounds_twice(taken):
    setup = taken.page.setup
    for layer in (*taken.stages.layers, taken.page.layers[0]):
        for bar in layer.bars:
            for note in bar:
                assert (
                    open_midi(setup.strings_midi, note.string) + setup.capo + note.fret == note.midi
                )
            for string in range(1, 7):
                mine = sorted(
                    (n.start, n.length) for n in bar if n.string == string and not n.grace
                )
                for (start, length), (after, _) in pairwise(mine):
                    assert start + length <= after


def test_the_plain_bass_stands_on_the_beats_with_roots_and_fifths(taken):
    plain = taken.stages.layer("plain-bass")
    bass = [note for bar in plain.bars for note in bar if note.part == "bass"]
    assert bass
    assert {note.start for note in bass} <= {Fraction(0), Fraction(3, 8)}


def test_the_kind_of_bass_is_named(jig):
    kinds = {}
    for layer in ("melody", "drone", "moving-bass"):
        data = layer_to_musicxml(*jig, layer)
        kinds[layer] = unpick(finished_from_bytes(data, name="p")).page.made_of.bass
    assert kinds == {"melody": "none", "drone": "drone", "moving-bass": "moving"}


def test_a_note_can_be_moved_to_another_voice(jig):
    read = finished_from_bytes(layer_to_musicxml(*jig, "fuller"), name="p")
    plain = unpick(read)
    bar = next(bar for bar in plain.page.layers[0].bars if any(n.part == "bass" for n in bar))
    number = plain.tune.written_bars()[plain.page.layers[0].bars.index(bar)].number
    note = next(n for n in bar if n.part == "bass")
    said = f"{number}:{note.start}:{note.string}=inner"
    told = unpick(read, settings=UnpickSettings(said=(said,)))
    there = told.page.layers[0].bars[plain.page.layers[0].bars.index(bar)]
    assert replace(note, part="inner", confidence=1.0) in [
        replace(one, pluck=note.pluck, length=note.length) for one in there
    ]


@pytest.mark.parametrize("said", ["3", "3:1/4:9=melody", "99:0:1=melody", "3:1/4:5=top"])
def test_a_note_that_is_not_there_is_refused(jig, said):
    read = finished_from_bytes(layer_to_musicxml(*jig, "fuller"), name="p")
    with pytest.raises(UsageError):
        unpick(read, settings=UnpickSettings(said=(said,)))


def test_what_no_guitar_can_play_is_refused_in_a_sentence():
    abc = "X:1\nT:T\nM:4/4\nL:1/4\nK:C\nC,,,,C,,,,C,,,,C,,,,|]\n"
    with pytest.raises(PipelineError, match="cannot be played"):
        unpick(finished_from_bytes(abc.encode(), name="low.abc"))


def test_the_command_writes_the_contract_and_leaves_own_files_alone(jig, tmp_path):
    page = tmp_path / "page.txt"
    page.write_text(layer_to_text(*jig, "fuller"), encoding="utf-8")
    out = tmp_path / "out"
    args = ["unpick", str(page), "--out", str(out), "--no-sheets", "--no-sound", "--no-report"]
    done = CliRunner().invoke(app, [*args, "--no-anew"])
    assert done.exit_code == 0, done.output
    assert "Stages to learn it by: melody, drone" in done.output
    plain = json.loads((out / "unpicked.json").read_text())
    assert [layer["name"] for layer in plain["layers"]] == ["finished"]
    assert all({"part", "confidence"} <= set(n) for b in plain["layers"][0]["bars"] for n in b)
    from_json((out / "unpicked.json").read_bytes(), Arrangement)
    assert read_tune(out / "tune.abc").form == jig[0].form
    names = {path.name for path in out.iterdir()}
    assert {"tune.json", "arrangement-1-melody.txt", "arrangement-1-finished.musicxml"} <= names
    (out / "tune.abc").write_text("mine", encoding="utf-8")
    CliRunner().invoke(app, [*args, "--no-anew"])
    assert (out / "tune.abc").read_text() == "mine"
    assert (out / "tune.new.abc").exists()


def test_bad_options_end_with_their_codes(jig, tmp_path):
    page = tmp_path / "page.txt"
    page.write_text(layer_to_text(*jig, "fuller"), encoding="utf-8")
    runner = CliRunner()
    told = runner.invoke(app, ["unpick", str(page), "--metre", "9/8"])
    assert isinstance(told.exception, UsageError)
    assert runner.invoke(app, ["unpick", str(page), "--tempo", "nan"]).exit_code == 2
    told = runner.invoke(app, ["unpick", str(tmp_path / "none.txt")])
    assert isinstance(told.exception, PipelineError)
    assert not (tmp_path / "none").exists()
