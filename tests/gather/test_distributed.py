"""The engine for many machines: two Dask workers of this one, killed while they work."""

import contextlib
import os
from functools import partial
from pathlib import Path

import psutil
import pytest

from liltwright.gather.distributed import SCHEDULER_ENDED
from tests.benchmark.gather_runs import cluster as started
from tests.gather.test_gather import TUNE, gather, start, table
from tests.gather.watching import LONG_S, at_work, left_of, until

KEYS = ("D", "G", "A", "C", "F", "E", "B", "Bb")


@pytest.fixture
def cluster(tmp_path):
    """A scheduler and two workers; the address and their processes."""
    with started(tmp_path) as (address, processes):
        yield address, processes


def quiet(address):
    """Waits until no worker of the cluster has anything to do."""
    from distributed import Client

    with Client(address, timeout=LONG_S, set_as_default=False) as client:
        until(lambda: not any(client.processing().values()))


def hold(processes):
    """The children of these Dask workers, as soon as each has one; they stand still until told."""
    held = [until(partial(at_work, one.pid)) for one in processes]
    for child in (found := [child for those in held for child in those]):
        child.suspend()
    return found


def go_on(children):
    for child in children:
        with contextlib.suppress(psutil.NoSuchProcess):
            child.resume()


@pytest.fixture
def archive(tmp_path):
    folder = tmp_path / "archive"
    folder.mkdir()
    for number, key in enumerate(KEYS):
        (folder / f"tune {number}.abc").write_text(TUNE.replace("K:Dmix", f"K:{key}mix"))
    (folder / "broken.abc").write_text("no tune at all")
    return folder


def test_dask_makes_the_same_table_though_a_worker_and_the_parent_die(cluster, archive, tmp_path):
    address, processes = cluster
    here = tmp_path / "here"
    assert gather(archive, "--out", here, "--level", "tune")[0] == 1
    there = tmp_path / "there"
    words = (archive, "--out", there, "--level", "tune", "--engine", "dask")
    words += ("--scheduler", address, "--batch", "2")
    first = start(*words)
    one, other = (hold([process]) for process in processes[1:])
    assert first.poll() is None
    processes[1].kill()  # Dask's nanny of the worker, and with it the worker
    go_on(one)
    assert not left_of(one)
    first.kill()
    first.communicate()
    go_on(other)
    code, said, err = gather(*words)
    assert code == 1, err
    assert "8 tunes of 9 files" in said, err
    assert table(there) == table(here)
    quiet(address)  # a worker may end a batch of the killed run late: taken up by the next run
    assert gather(*words)[0] == 1
    assert table(there) == table(here)
    assert not list((there / ".gather" / "rows").rglob("*.json"))


def test_a_worker_that_dies_is_replaced_and_leaves_no_child(cluster, archive, tmp_path):
    address, processes = cluster
    words = ("--level", "tune", "--engine", "dask", "--scheduler", address, "--batch", "3")
    run = start(archive, "--out", tmp_path / "out", *words)
    held = hold(processes[1:2])
    worker = held[0].parent()
    assert worker.ppid() == processes[1].pid
    worker.kill()  # not its nanny, which starts another
    go_on(held)
    assert not left_of(held)
    out, err = run.communicate(timeout=LONG_S)
    assert "8 tunes of 9 files" in out, err
    kept = at_work(processes[1].pid) + at_work(processes[2].pid)
    assert kept
    for process in processes[1:]:
        process.terminate()
    assert not left_of(kept)


def test_a_scheduler_that_dies_is_one_sentence(cluster, archive, tmp_path):
    address, processes = cluster
    words = ("--level", "tune", "--engine", "dask", "--scheduler", address, "--batch", "1")
    run = start(archive, "--out", tmp_path / "out", *words)
    held = hold(processes[1:])
    processes[0].kill()
    err = run.communicate(timeout=LONG_S)[1]
    go_on(held)
    assert run.returncode == 1
    assert err.splitlines()[-1] == f"liltwright: {SCHEDULER_ENDED}"
    assert gather(archive, "--out", tmp_path / "out", "--level", "tune")[0] == 1
    assert len(list((tmp_path / "out" / "tunes").iterdir())) == 8


def test_no_scheduler_is_one_sentence(archive, tmp_path, monkeypatch):
    from liltwright.errors import PipelineError
    from liltwright.gather import distributed

    monkeypatch.setattr(distributed, "WAIT_S", 1)
    from liltwright.gather.gather import gather
    from liltwright.gather.order import Order
    from liltwright.gather.pace import Pace
    from liltwright.gather.work import Recipe, program_version
    from liltwright.guitar.player import Player

    order = Order(
        inputs=(str(archive),),
        out=tmp_path / "out",
        recipe=Recipe("tune", "own", Player(), program_version()),
        engine="dask",
        scheduler="tcp://127.0.0.1:9",
    )
    with pytest.raises(PipelineError, match=r"no Dask scheduler answers at tcp://127\.0\.0\.1:9"):
        gather(order, Pace(open(Path(os.devnull), "w")))  # noqa: SIM115
