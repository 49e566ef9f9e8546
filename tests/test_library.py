"""The program as a library: one import name, records that go in and come out."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import liltwright
from liltwright import GuitarOptions, PipelineError, Tune, UsageError
from tests import library_page

ROOT = Path(__file__).parents[1]
TUNE = ROOT / "fixtures" / "demo" / "tune.abc"


@pytest.fixture(scope="module")
def tune() -> Tune:
    return liltwright.read(TUNE)


def test_every_promised_name_is_there():
    assert all(getattr(liltwright, name) is not None for name in liltwright.__all__)
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = liltwright.nothing


def test_a_room_does_not_take_the_name_of_a_function():
    code = (
        "import liltwright, liltwright.arrange.layers, liltwright.read.files, "
        "liltwright.write.files; "
        "assert all(callable(f) for f in (liltwright.arrange, liltwright.read, liltwright.write))"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_importing_loads_no_heavy_library():
    code = "import sys, liltwright; print(*sorted({m.split('.')[0] for m in sys.modules}))"
    said = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    heavy = {"numpy", "scipy", "librosa", "music21", "onnxruntime", "av", "typer", "rich"}
    assert not heavy & set(said.stdout.split())


def test_from_a_tune_to_an_arrangement(tune):
    ranking = liltwright.rank(tune, options=GuitarOptions(tuning="DADGAD", capo=0))
    arrangement = liltwright.arrange(tune, ranking.setups[0].setup)
    assert [layer.name for layer in arrangement.layers][:2] == ["melody", "drone"]
    assert liltwright.arrange(TUNE.read_bytes(), arrangement.setup) == arrangement


def test_bytes_and_path_give_the_same_tune(tune):
    again = liltwright.read(TUNE.read_bytes(), name=TUNE.name)
    assert again.parts == tune.parts


def test_a_recording_from_bytes():
    data = (ROOT / "fixtures" / "demo" / "plucked.ogg").read_bytes()
    heard = liltwright.listen(data, name="plucked.ogg")
    assert heard.meter == "6/8"


def test_files_of_a_tune_are_values_until_a_folder_is_named(tune, tmp_path):
    files = liltwright.write(tune)
    assert {"tune.abc", "tune.json", "tune.mid", "tune.musicxml"} <= set(files)
    liltwright.write(tune, folder=tmp_path / "out")
    assert (tmp_path / "out" / "tune.abc").read_bytes() == files["tune.abc"]


def test_what_cannot_be_used_is_said_in_one_sentence():
    with pytest.raises(PipelineError, match=r"holds no tune"):
        liltwright.read(b"nothing of the kind", name="letter.txt")
    with pytest.raises(UsageError, match="is a written tune"):
        liltwright.listen(TUNE)


def test_a_progress_callback_that_raises_ends_the_work(tune):
    def stop(what: str, fraction: float) -> None:
        raise InterruptedError(what)

    with pytest.raises(InterruptedError):
        liltwright.rank(tune, progress=stop)


def test_every_room_is_in_the_wheel_and_no_other_name():
    table = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]
    rooms = {
        ".".join(("liltwright", *path.parent.relative_to(ROOT / "pipeline").parts))
        for path in (ROOT / "pipeline").rglob("__init__.py")
    }
    assert set(table["packages"]) == rooms | {"liltwright.models"}
    assert table["package-dir"] == {"liltwright": "pipeline", "liltwright.models": "models"}


def test_the_page_about_the_library_says_what_the_code_says():
    assert library_page.PAGE.read_text(encoding="utf-8") == library_page.page()
