"""An archive gathered by real processes: stopped, killed, given again, in parts, on Dask."""

import contextlib
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from functools import partial
from pathlib import Path

import psutil
import pyarrow.parquet
import pytest

from liltwright.errors import PipelineError, UsageError
from liltwright.gather import work
from liltwright.gather.inputs import Shard, named_files, parse_shard
from liltwright.gather.ledger import Ledger
from liltwright.gather.pace import Pace, duration
from liltwright.gather.table import COLUMNS
from liltwright.gather.work import folder_name
from tests.gather.watching import LONG_S, at_work, left_of, until

ROOT = Path(__file__).parents[2]
TUNE = (ROOT / "fixtures" / "demo" / "tune.abc").read_text()
KEYS = ("D", "G", "A", "C", "F", "E")


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    """Tunes in a folder below the archive, one of them twice, and a file that is none."""
    folder = tmp_path_factory.mktemp("archive")
    (folder / "jigs").mkdir()
    for number, key in enumerate(KEYS):
        text = TUNE.replace("K:Dmix", f"K:{key}mix")
        (folder / "jigs" / f"tune {number}.abc").write_text(text)
    shutil.copy(folder / "jigs" / "tune 0.abc", folder / "again.abc")
    (folder / "broken.abc").write_text("no tune at all")
    (folder / "notes.pdf").write_text("passed over")
    return folder


def start(*words, cwd=ROOT):
    return subprocess.Popen(
        [sys.executable, "-m", "liltwright.start", "gather", *map(str, words)],
        cwd=cwd,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )


def gather(*words):
    process = start(*words)
    out, err = process.communicate(timeout=2 * LONG_S)
    return process.returncode, out, err


@pytest.fixture(scope="module")
def whole(archive, tmp_path_factory):
    """A gathering that nothing disturbed."""
    out = tmp_path_factory.mktemp("whole")
    code, said, err = gather(archive, "--out", out, "--level", "tune", "--processes", 2)
    return out, code, said, err


def table(out):
    return (out / "tunes.parquet").read_bytes()


def rows(out):
    return pyarrow.parquet.read_table(out / "tunes.parquet").to_pylist()


def test_each_content_has_a_folder_and_a_row(archive, whole):
    out, code, said, err = whole
    assert code == 1, err
    assert "6 tunes of 7 files" in said
    assert "1 of 7 files failed; --retry tries them again." in err
    found = {row["file"]: row for row in rows(out)}
    assert len(found) == 7
    assert found["again.abc"]["copies"] == ["jigs/tune 0.abc"]
    good = [row for row in found.values() if not row["error"]]
    assert all((out / row["folder"] / "tune.json").is_file() for row in good)
    assert {row["tune_type"] for row in good} == {"jig"}
    assert all(len(row["melody"]) == row["bars"] == 16 for row in good)
    assert "holds no tune" in found["broken.abc"]["error"]
    assert (out / "failed.txt").read_text().startswith("broken.abc\tbroken.abc holds no tune")
    assert len(list((out / "tunes").iterdir())) == 6


def test_the_table_says_what_its_columns_mean(whole):
    schema = pyarrow.parquet.read_schema(whole[0] / "tunes.parquet")
    assert [field.name for field in schema] == [column.name for column in COLUMNS]
    assert all(field.metadata[b"means"] for field in schema)


def test_done_work_is_not_done_again_and_failures_are_on_request(archive, whole):
    out = whole[0]
    before = table(out)
    code, said, err = gather(archive, "--out", out, "--level", "tune")
    assert (code, "7 done before" in said, "0 to do" in err) == (1, True, True)
    err = gather(archive, "--out", out, "--level", "tune", "--retry")[2]
    assert "1 to do" in err
    gone = out / rows(out)[0]["folder"]
    shutil.rmtree(gone)
    err = gather(archive, "--out", out, "--level", "tune")[2]
    assert "1 to do" in err
    assert gone.is_dir()
    assert table(out) == before


def test_another_level_is_other_work(archive, tmp_path):
    one = archive / "jigs" / "tune 1.abc"
    assert gather(one, "--out", tmp_path / "out", "--level", "tune")[0] == 0
    code, _, err = gather(one, "--out", tmp_path / "out", "--level", "tunings")
    assert (code, "1 to do" in err) == (0, True)
    row = rows(tmp_path / "out")[0]
    assert len(row["setups"]) == 3
    assert (tmp_path / "out" / row["folder"] / "tunings.json").is_file()


def test_killed_at_any_moment_the_table_is_the_same(archive, whole, tmp_path):
    """Parent and workers die by kill -9, before, while and after the first file is worked on."""
    out = tmp_path / "out"
    words = (archive, "--out", out, "--level", "tune", "--processes", 2)
    moments = (
        lambda pid: out.exists(),
        at_work,
        lambda pid: list(out.glob("tunes/*")),
    )
    for moment in moments:
        process = start(*words)
        until(partial(moment, process.pid))
        workers = at_work(process.pid)
        process.kill()
        process.communicate()
        assert not left_of(workers)
    process = start(*words)
    for worker in until(partial(at_work, process.pid)):
        with contextlib.suppress(psutil.NoSuchProcess):
            worker.kill()
    assert process.communicate()[1]
    assert gather(*words)[0] == 1
    assert table(out) == table(whole[0])


def test_ctrl_c_says_how_to_go_on(archive, tmp_path):
    process = start(archive, "--out", tmp_path / "out", "--processes", 1)
    workers = until(partial(at_work, process.pid))
    os.killpg(process.pid, signal.SIGINT)
    err = process.communicate(timeout=LONG_S)[1]
    assert process.returncode == 130, err
    assert "the same command goes on from there" in err
    assert not left_of(workers, seconds=0)


def test_shards_make_the_same_table(archive, whole, tmp_path):
    out = tmp_path / "out"
    said = [
        gather(archive, "--out", out, "--level", "tune", "--shard", f"{part}/2")[1]
        for part in (1, 2)
    ]
    assert "1 shard to come" in said[0]
    assert table(out) == table(whole[0])
    parts = [out / "tunes-1-of-2.parquet", out / "tunes-2-of-2.parquet"]
    assert gather(*parts, "--out", tmp_path / "merged")[0] == 0
    assert table(tmp_path / "merged") == table(whole[0])


def test_a_file_that_takes_too_long_is_a_row(archive, tmp_path):
    code, said, _ = gather(archive / "jigs" / "tune 1.abc", "--out", tmp_path, "--seconds", 0.1)
    assert code == 1
    assert "took more than the 0.1 s a file may take: allow more with --seconds." in said


def test_a_file_that_needs_too_much_memory_is_a_row(tmp_path):
    recording = ROOT / "fixtures" / "demo" / "hum.ogg"
    code, said, _ = gather(recording, "--out", tmp_path, "--level", "tune", "--memory", 0.5)
    assert code == 1
    assert "--memory" in said


@pytest.mark.parametrize(
    "fault",
    [
        MemoryError(),
        OSError(12, "Cannot allocate memory"),
        RuntimeError("std::bad_alloc"),
        ImportError("x.so: failed to map segment from shared object"),
    ],
)
def test_want_of_memory_is_known_by_whoever_says_it(monkeypatch, fault):
    def without_memory(task):
        raise fault

    monkeypatch.setattr(work, "_made", without_memory)
    task = work.Task("0", "a.abc", "a.abc", "folder", "tune", "own", {})
    assert "allow more with --memory" in work.work_on(task)["error"]
    monkeypatch.setattr(work, "_made", lambda task: 1 / 0)
    assert "--memory" not in work.work_on(task)["error"]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--shard", "3/2"], '--shard "3/2" is no part of a whole: write it like 2/8'),
        (["--engine", "ray"], '--engine "ray" is not known: use local or dask.'),
        (["--engine", "dask"], "--engine dask and --scheduler ADDRESS go together"),
        (["--level", "all"], '--level "all" is not known: use tune, tunings or everything.'),
    ],
)
def test_wrong_words_are_one_sentence(archive, tmp_path, words, sentence):
    code, _, err = gather(archive, "--out", tmp_path, *words)
    assert code == 2
    assert sentence in err
    assert len(err.splitlines()) == 1


def test_inputs_may_be_a_list_or_a_glob(archive, tmp_path):
    (tmp_path / "list.txt").write_text(f"# mine\n{archive}/again.abc\n")
    assert [name for name, _ in named_files([str(tmp_path / "list.txt")], tmp_path)] == [
        f"{archive}/again.abc"
    ]
    assert len(named_files([f"{archive}/**/*.abc"], tmp_path)) == 8
    (tmp_path / "jigs").mkdir()
    shutil.copy(archive / "broken.abc", tmp_path / "jigs" / "tune 0.abc")
    both = named_files([f"{archive}/jigs", f"{tmp_path}/jigs"], tmp_path)
    assert len({path for _, path in both}) == 7
    with pytest.raises(UsageError, match="does not exist"):
        named_files([f"{archive}/nothing"], tmp_path)
    with pytest.raises(UsageError, match="no recording and no tune"):
        named_files([str(archive / "jigs" / "*.ogg")], tmp_path)


def test_every_content_is_in_one_shard():
    contents = [f"{number:064x}" for number in range(7, 10**17, 10**14)]
    parts = [parse_shard(f"{number}/7") for number in range(1, 8)]
    assert all(sum(part.holds(content) for part in parts) == 1 for content in contents)
    assert parse_shard(None) == Shard(1, 1)


def test_a_ledger_is_used_by_one_and_may_be_damaged(tmp_path):
    path = tmp_path / "ledger.sqlite3"
    ledger = Ledger(path)
    ledger.keep("recipe", [{"content": "a"}, {"content": "b", "error": "no."}])
    assert set(ledger.rows("recipe", ["a", "b", "c"])) == {"a", "b"}
    assert ledger.rows("other", ["a"]) == {}
    with pytest.raises(PipelineError, match="another gathering is at work"):
        Ledger(path)
    ledger.close()
    assert sqlite3.connect(path).execute("select count(*) from work").fetchone() == (2,)
    path.write_bytes(b"not a database at all, but long enough to be looked at as one" * 20)
    with pytest.raises(PipelineError, match="move it away"):
        Ledger(path)


def test_rate_and_time_left():
    seconds = iter((0.0, 36.0))
    pace = Pace(open(os.devnull, "w"), lambda: next(seconds))  # noqa: SIM115
    pace.start(20, 10, 1)
    pace.now = 4
    assert pace.line() == "14 of 20 files, 400 an hour, 54 s left, 1 failed"
    assert [duration(s) for s in (40, 1560, 12_000, 190_000)] == [
        "40 s", "26 min", "3 h 20 min", "2 days 4 h",
    ]  # fmt: skip


def test_folders_have_plain_names():
    assert folder_name("a/Copper Sieve (2).ogg", "ab" * 32) == "copper-sieve-2-abababababab"
    assert folder_name("ç.ogg", "ab" * 32) == "tune-abababababab"
