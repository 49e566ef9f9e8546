"""A Dask worker keeps its child processes between batches, and leaves none behind."""

import json
import os

import psutil
import pytest

from liltwright.gather import kept
from liltwright.gather.distributed import do_batch
from liltwright.gather.local import UNSET, Limits
from liltwright.gather.work import Task
from tests.gather.test_gather import TUNE
from tests.gather.watching import at_work, until

LIMITS = {"seconds": 300.0, "memory_bytes": 6 * 2**30, "files_per_worker": 3}


def batch(folder, *names):
    """Tasks of written tunes."""
    tasks = []
    for name in names:
        path = folder / f"{name}.abc"
        path.write_text(TUNE.replace("X:1", f"X:{len(name)}"))
        made = folder / "out" / "tunes" / name
        made.parent.mkdir(parents=True, exist_ok=True)
        tasks.append(Task(name, str(path), path.name, str(made), "tune", "own", {}).words)
    return tasks


def children():
    """The child processes of this one that work on files."""
    return {process.pid for process in at_work(os.getpid())}


@pytest.fixture
def client(tmp_path, monkeypatch):
    """A client of one Dask worker in this process, whose plugin is there and looks often."""
    from distributed import Client, LocalCluster

    monkeypatch.setattr(kept, "LOOK_S", 0.1)
    with (
        LocalCluster(
            n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None,
            local_directory=str(tmp_path / "dask"),
        ) as cluster,
        Client(cluster, set_as_default=False) as client,
    ):  # fmt: skip
        client.register_plugin(kept.Children(), name=kept.NAME)
        yield client
    until(lambda: not children())


def done(client, tmp_path, *names, **limits):
    """The rows of a batch."""
    shelf = tmp_path / "shelf"
    shelf.mkdir(exist_ok=True)
    name = client.submit(
        do_batch, batch(tmp_path, *names), str(shelf), LIMITS | limits, pure=False
    ).result()
    return json.loads((shelf / name).read_text())


def test_batches_share_a_child_until_it_has_done_its_files(client, tmp_path):
    assert [row["content"] for row in done(client, tmp_path, "b", "a")] == ["a", "b"]
    first = children()
    assert len(first) == 1
    assert "error" not in done(client, tmp_path, "c")[0]
    assert children() == first
    assert "error" not in done(client, tmp_path, "d")[0]  # the fourth of three
    assert len(children()) == 1
    assert children() != first


def test_a_child_has_no_setting_of_memory_that_dask_made(tmp_path, monkeypatch):
    monkeypatch.setenv(UNSET, "65536")
    own = kept.Children()
    own.setup(None)
    with own.child(Limits(**LIMITS)) as child:
        child.do(Task(**batch(tmp_path, "a")[0]))
        (process,) = at_work(os.getpid())
        assert UNSET not in process.environ()
        assert process.environ()["OMP_NUM_THREADS"] == "1"
    own.teardown(None)


def test_another_limit_is_another_child(client, tmp_path):
    done(client, tmp_path, "a")
    first = children()
    row = done(client, tmp_path, "b", seconds=0.01)[0]
    assert "took more than the 0.01 s" in row["error"]
    assert children() == first
    done(client, tmp_path, "c")
    assert children() == first


def test_a_child_that_was_killed_while_it_waited_is_replaced(client, tmp_path):
    done(client, tmp_path, "a")
    (first,) = children()
    psutil.Process(first).kill()
    until(lambda: not children())
    assert "error" not in done(client, tmp_path, "b")[0]
    assert children() != {first}


def test_a_child_that_nobody_needs_ends(client, tmp_path, monkeypatch):
    done(client, tmp_path, "a")
    assert children()
    monkeypatch.setattr(kept, "IDLE_S", 0.0)
    until(lambda: not children())
    assert "error" not in done(client, tmp_path, "b")[0]


def test_the_end_of_a_worker_breaks_its_batch_off(tmp_path):
    own = kept.Children()
    own.setup(None)
    lent = own.child(Limits(**LIMITS))
    child = lent.__enter__()
    first, second = (Task(**words) for words in batch(tmp_path, "a", "b"))
    assert "error" not in child.do(first)
    own.teardown(None)
    assert child.do(second)["again"]
    until(lambda: not children())
    with pytest.raises(kept.WorkerEndedError):
        lent.__exit__(None, None, None)


def test_without_the_plugin_a_child_lasts_for_one_batch(tmp_path):
    name = do_batch(batch(tmp_path, "a"), str(tmp_path), LIMITS)
    assert "error" not in json.loads((tmp_path / name).read_text())[0]
    assert not children()
