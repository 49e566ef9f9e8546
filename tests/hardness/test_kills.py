"""A slice of the kills that `python -m tests.hardness.kills --count 200` runs."""

import os
import signal
import sys

import pytest

from liltwright.write.folder.save import check_folder, save
from tests.hardness.kills import killed, one_trial, program_trial

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")


@pytest.mark.parametrize("number", range(20))
def test_kills_lose_nothing_and_leave_nothing(tmp_path, number):
    assert one_trial(number, tmp_path).faults == []


@pytest.mark.slow
def test_the_killed_program_loses_nothing(tmp_path):
    assert program_trial(9, tmp_path).faults == []


@pytest.mark.parametrize("edited", ["never", "before the kill", "after the kill"])
def test_every_single_moment_of_a_run_can_be_the_last(tmp_path, edited):
    """A kill before each change in turn, until a run comes through; the next run is whole."""
    for step in range(1, 200):
        folder = tmp_path / str(step)
        check_folder(folder)
        save({"tune.abc": b"one", "old.mid": b"o"}, folder)
        if edited == "before the kill":
            (folder / "tune.abc").write_bytes(b"mine")
        files = {"tune.abc": b"two", "tune.mid": b"m"}

        def act(folder=folder, files=files):
            check_folder(folder)
            save(files, folder)

        status = killed(act, step, None, folder)
        if edited == "after the kill":
            (folder / "tune.abc").unlink()
            (folder / "tune.abc").write_bytes(b"mine")
        check_folder(folder)
        save(files, folder)
        beside = {"tune.new.abc": b"two"} if edited != "never" else {}
        whole = {"tune.abc": b"two" if edited == "never" else b"mine", "tune.mid": b"m", **beside}
        seen = {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file()}
        assert {n: d for n, d in seen.items() if n != ".written.json"} == whole, step
        assert not [p.name for p in folder.iterdir() if p.name.endswith(("part", "writing"))]
        if not os.WIFSIGNALED(status):
            return
        assert os.WTERMSIG(status) == signal.SIGKILL
    pytest.fail("no run came through")
