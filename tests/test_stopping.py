"""Ctrl-C: one true sentence, exit code 130, and every set of files whole or not there."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from liltwright import stopping
from liltwright.write.folder.save import check_folder, save, save_one
from tests.hardness.examples import abc, wav

ROOT = Path(__file__).parents[1]
QUICK = ("--no-sound", "--no-sheets", "--no-report")


@pytest.fixture(autouse=True)
def _nothing_written(monkeypatch):
    monkeypatch.setattr(stopping, "_written", {})


@pytest.fixture
def while_renaming(monkeypatch):
    """Ctrl-C comes at each rename."""
    usual = os.replace

    def replaced(old, new):
        os.kill(os.getpid(), signal.SIGINT)
        usual(old, new)

    monkeypatch.setattr(os, "replace", replaced)


@pytest.mark.usefixtures("while_renaming")
def test_a_stop_while_files_are_put_in_place_waits_for_them(tmp_path):
    check_folder(tmp_path)
    with pytest.raises(KeyboardInterrupt):
        save({"a.txt": b"a", "b.txt": b"b"}, tmp_path)
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == [".written.json", "a.txt", "b.txt"]
    assert stopping.stopped_words() == (
        f"liltwright: stopped; what this run wrote is whole: {tmp_path}."
    )


@pytest.mark.usefixtures("while_renaming")
def test_a_stop_while_one_file_is_put_in_place_waits_for_it(tmp_path):
    with pytest.raises(KeyboardInterrupt):
        save_one(tmp_path / "a.txt", b"a")
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]
    assert str(tmp_path / "a.txt") in stopping.stopped_words()


def test_without_a_write_nothing_was_written():
    assert stopping.stopped_words() == "liltwright: stopped; nothing was written."


def test_ctrl_c_is_as_before_afterwards():
    with stopping.undisturbed():
        assert signal.getsignal(signal.SIGINT) is not signal.default_int_handler
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGINT to send")
@pytest.mark.parametrize("seconds", [0.05, 0.3, 1.0])
def test_a_real_ctrl_c_is_one_true_sentence(tmp_path: Path, seconds: float):
    source, out = tmp_path / "long.wav", tmp_path / "out"
    source.write_bytes(wav(22050, 22050 * 200)())
    first = seconds
    while True:
        child = subprocess.Popen(
            [sys.executable, "-m", "liltwright.start", "arrange", source, "--out", out, *QUICK],
            cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            # a shell ignores Ctrl-C for what it starts in the background, and that is inherited
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )  # fmt: skip
        time.sleep(seconds)
        child.send_signal(signal.SIGINT)
        _, said = child.communicate(timeout=60)
        if not said.startswith("Fatal Python error: init"):
            break
        seconds += 0.05  # Python itself was just starting and speaks for itself
    assert "Traceback" not in said
    if child.returncode == -signal.SIGINT:  # Python itself was not up yet
        assert first < 0.1
        assert said == ""
    else:
        assert child.returncode == 130, said
        assert said.strip().splitlines()[-1] == "liltwright: stopped; nothing was written."
    assert not out.exists()


def test_parts_that_killed_runs_left_are_cleared(tmp_path):
    tune = tmp_path / "a.abc"
    tune.write_bytes(abc("A2Bc d2ef|g4 a4|")())
    (tmp_path / ".liltwright-other.pdf.part").write_bytes(b"half")
    command = [sys.executable, "-m", "liltwright.start", "tab", tune, "--out", tmp_path / "a.txt"]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.abc", "a.txt"]


def test_parts_of_an_earlier_version_go_only_where_nothing_is_lost(tmp_path):
    check_folder(tmp_path)
    save({"tune.abc": b"whole text", "tune.mid": b"midi"}, tmp_path)
    (tmp_path / ".tune.abc.4711.part").write_bytes(b"whole")
    (tmp_path / ".tune.mid.4711.part").write_bytes(b"of an earlier tune")
    (tmp_path / ".mine.4711.part").write_bytes(b"")
    (tmp_path / ".notes.part").write_bytes(b"mine")
    shutil.copytree(tmp_path, tmp_path / ".liltwright-x.part")
    check_folder(tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        ".liltwright-x.part", ".mine.4711.part", ".notes.part", ".tune.mid.4711.part",
        ".written.json", "tune.abc", "tune.mid",
    ]  # fmt: skip
