"""The journal: nothing that was answered is lost, whoever works on the folder, however it ends."""

import os
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

import liltwright
from liltwright.errors import PipelineError, UsageError
from liltwright.page.bench import Bench
from liltwright.page.changes import Journal
from liltwright.page.desk import StaleError
from liltwright.write.folder.ledger import EDITS
from tests.page.conftest import DEMO
from tests.page.server import Page


@pytest.fixture
def folder(tmp_path):
    liltwright.write(liltwright.read(DEMO / "tune.abc"), folder=tmp_path / "lamp")
    return tmp_path / "lamp"


def step(journal: Journal, note: int = 0, by: int = 1) -> None:
    journal.do({"op": "pitch", "bar": 1, "note": note, "steps": by}, journal.version)


def test_undo_and_redo_without_end(folder):
    journal = Journal(folder)
    first = journal.state
    for turn in range(200):
        step(journal, turn % 5, 1 if turn % 3 else -1)
    last = journal.state
    while journal.undoes:
        journal.undo(journal.version)
    assert journal.state == first
    while journal.redoes:
        journal.redo(journal.version)
    assert journal.state == last
    assert Journal(folder).state == last
    with pytest.raises(UsageError, match="nothing to redo"):
        journal.redo(journal.version)


def test_a_change_after_undo_ends_what_could_be_redone(folder):
    journal = Journal(folder)
    step(journal)
    journal.undo(journal.version)
    journal.do({"op": "title", "to": "Other"}, journal.version)
    assert journal.redoes == ""
    assert journal.undoes == "title"


def test_a_change_on_an_old_version_is_refused_and_nothing_is_lost(folder):
    one, other = Journal(folder), Journal(folder)
    version = other.version
    step(one)
    with pytest.raises(StaleError):
        other.do({"op": "title", "to": "Late"}, version)
    assert other.state == one.state
    other.do({"op": "title", "to": "In time"}, other.version)
    one.refresh()
    assert one.state.tune.title == "In time"


def test_many_threads_of_two_programs_lose_no_change(folder):
    """Each of 4 workers adds 10 changes, trying again when it was too late: all 40 are there."""
    journals = [Journal(folder), Journal(folder)]
    lock = threading.Lock()
    made = []

    def work(worker: int) -> None:
        journal = journals[worker % 2]
        for turn in range(10):
            while True:
                try:
                    journal.do({"op": "title", "to": f"{worker}-{turn}"}, journal.version)
                    break
                except StaleError:
                    continue
            with lock:
                made.append(f"{worker}-{turn}")

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(work, range(4)))
    found = Journal(folder)
    titles = []
    while found.undoes:
        titles.append(found.state.tune.title)
        found.undo(found.version)
    assert sorted(titles) == sorted(made)


@pytest.mark.parametrize("cut", [1, 7, 30])
def test_a_torn_last_line_is_dropped_and_the_rest_kept(folder, cut):
    journal = Journal(folder)
    step(journal)
    kept = journal.state
    step(journal, 1)
    path = folder / EDITS
    data = path.read_bytes()
    path.write_bytes(data[:-cut])
    again = Journal(folder)
    assert again.state == kept
    step(again, 2)
    assert Journal(folder).state == again.state


def test_a_damaged_journal_is_one_sentence(folder):
    Journal(folder)
    (folder / EDITS).write_bytes(b"rubbish\n")
    with pytest.raises(PipelineError, match=r"tune itself is in tune\.json"):
        Journal(folder)


def test_a_journal_that_is_a_link_is_not_followed(folder, tmp_path):
    (tmp_path / "victim").write_text("mine")
    (folder / EDITS).symlink_to(tmp_path / "victim")
    with pytest.raises(OSError):  # noqa: PT011
        Journal(folder)
    assert (tmp_path / "victim").read_text() == "mine"


def test_a_full_disk_refuses_the_change_and_keeps_what_was(folder, monkeypatch):
    journal = Journal(folder)
    step(journal)
    kept = journal.state

    def full(_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", full)
        with pytest.raises(PipelineError, match="not made"):
            step(journal, 1)
    assert journal.state == kept
    assert Journal(folder).state == kept


def test_the_files_of_the_contract_follow_and_an_edited_abc_is_taken_in(folder):
    from liltwright.guitar.player import Player

    bench = Bench(folder, Player)
    bench.journal.do({"op": "title", "to": "Written out"}, bench.journal.version)
    bench.write()
    assert liltwright.read(folder / "tune.json").title == "Written out"
    assert "T:Written out" in (folder / "tune.abc").read_text()
    text = (folder / "tune.abc").read_text().replace("T:Written out", "T:By hand")
    (folder / "tune.abc").write_text(text)
    again = Journal(folder)
    assert again.state.tune.title == "By hand"
    assert again.undoes == "change from outside"
    again.undo(again.version)
    assert again.state.tune.title == "Written out"
    Bench(folder, Player).write()
    assert "T:By hand" in (folder / "tune.abc").read_text()  # the user's file is the user's


def test_a_run_of_the_command_line_is_a_change_like_any_other(folder):
    journal = Journal(folder)
    journal.do({"op": "title", "to": "Mine"}, journal.version)
    from dataclasses import replace

    other = replace(liltwright.read(DEMO / "tune.abc"), title="From a run")
    liltwright.write(other, folder=folder)
    journal.refresh()
    assert journal.state.tune.title == "From a run"
    journal.undo(journal.version)
    assert journal.state.tune.title == "Mine"


def test_what_was_changed_survives_kill_9_and_a_rerun(shelf, tmp_path):
    with Page(shelf, tmp_path / "settings") as page:
        tune = page.tune("lamp")
        edit = {"version": 1, "edit": {"op": "pitch", "bar": 1, "note": 0, "steps": 1}}
        after = page.post(f"/api/tune/{tune}/edit", edit).json()
        page.kill()
    with Page(shelf, tmp_path / "settings") as page:
        found = page.get(f"/api/tune/{tune}").json()
        assert found["version"] == after["version"]
        assert found["bars"] == after["bars"]
        assert found["undo"] == "pitch"


def test_kills_at_any_moment_lose_no_answered_change(folder):
    """A program that changes the title again and again is killed 12 times, each time at random."""
    script = (
        "import sys, pathlib\n"
        "from liltwright.page.changes import Journal\n"
        "journal = Journal(pathlib.Path(sys.argv[1]))\n"
        "for turn in range(100000):\n"
        "    journal.do({'op': 'title', 'to': f'{sys.argv[2]}-{turn}'}, journal.version)\n"
        "    print(f'{sys.argv[2]}-{turn}', flush=True)\n"
    )
    for attempt in range(12):
        process = subprocess.Popen(
            [sys.executable, "-c", script, str(folder), str(attempt)],
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        for _ in range(1 + 5 * attempt):
            last = process.stdout.readline().strip()
        process.kill()
        rest = process.stdout.read().split("\n")
        answered = next((line for line in reversed(rest) if line.count("-") == 1), last)
        process.wait()
        said = Journal(folder).state.tune.title
        mine, turn = said.split("-")
        assert mine == str(attempt)
        assert int(turn) >= int(answered.split("-")[1] or 0)
