"""Which reader takes a file goes by what it holds; what cannot be read is refused in a sentence."""

from __future__ import annotations

from pathlib import Path

import pytest

from liltwright.errors import PipelineError
from liltwright.records import to_json
from liltwright.tunefile import read_tune, tune_from_bytes
from liltwright.write.formats.abc import tune_to_abc
from liltwright.write.formats.midi import tune_to_midi
from liltwright.write.formats.musicxml import tune_to_musicxml
from liltwright.write.formats.tablature import layer_to_text
from tests.write.hand_made import arrangement, jig


def test_the_name_does_not_matter(tmp_path: Path):
    tune = jig()
    for data in (
        tune_to_abc(tune).encode(),
        tune_to_midi(tune),
        tune_to_musicxml(tune),
        to_json(tune).encode(),
        layer_to_text(tune, arrangement(), "drone").encode(),
    ):
        path = tmp_path / "tune.txt"
        path.write_bytes(data)
        assert read_tune(path).parts == tune.parts


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_abc_in_any_usual_encoding(encoding: str):
    data = "X:1\nT:Slán\nM:4/4\nL:1/8\nK:D\nA8|\n".encode(encoding)
    assert tune_from_bytes(data, name="a.abc").title == "Slán"


def test_line_ends_of_any_system():
    for end in ("\n", "\r\n", "\r"):
        data = end.join(["X:1", "T:A", "M:4/4", "L:1/8", "K:D", "A8|B8|", ""]).encode()
        assert len(tune_from_bytes(data, name="a.abc").parts[0].bars) == 2


@pytest.mark.parametrize(
    ("data", "fault"),
    [
        (b"", "is empty"),
        (b" \n\x00", "is empty"),
        (b"Dear all, see you at the session.", "holds no tune"),
        (b"RIFF\x00\x00\x00\x00WAVE", "is not a text file"),
        (b"{", "is not a tune written by liltwright"),
        (b'{"format": "liltwright-tunings"}', "is not a tune written by liltwright"),
    ],
)
def test_what_is_no_tune_is_refused(data: bytes, fault: str):
    with pytest.raises(PipelineError, match=fault):
        tune_from_bytes(data, name="a.abc")


def test_a_tune_json_edited_into_nonsense_is_refused():
    text = to_json(jig())
    with pytest.raises(PipelineError, match="has the metre"):
        tune_from_bytes(text.replace('"6/8"', '"six"', 1).encode(), name="tune.json")
    with pytest.raises(PipelineError, match="outside the range of MIDI"):
        tune_from_bytes(text.replace('"midi": 62', '"midi": 262').encode(), name="tune.json")


def test_missing_files_and_folders(tmp_path: Path):
    with pytest.raises(PipelineError, match="does not exist"):
        read_tune(tmp_path / "none.abc")
    with pytest.raises(PipelineError, match="is a folder"):
        read_tune(tmp_path)
