"""The engine for many machines: two Dask workers of this one, killed while they work."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.gather.test_gather import ROOT, TUNE, gather, start, table

KEYS = ("D", "G", "A", "C", "F", "E", "B", "Bb")


def dask(*words):
    env = os.environ | {"PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "distributed.cli.dask_" + words[0], *words[1:]]
    return subprocess.Popen(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=env, cwd=ROOT
    )


@pytest.fixture
def cluster(tmp_path):
    """A scheduler and two workers; the address."""
    file = tmp_path / "scheduler.json"
    processes = [
        dask("scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard",
             "--scheduler-file", str(file)),
    ]  # fmt: skip
    for _ in range(200):
        if file.exists() and file.read_text().strip():
            break
        time.sleep(0.1)
    import json

    address = json.loads(file.read_text())["address"]
    processes += [
        dask("worker", address, "--nthreads", "1", "--no-dashboard", "--local-directory",
             str(tmp_path / f"worker{number}"))
        for number in range(2)
    ]  # fmt: skip
    yield address, processes
    for process in reversed(processes):
        process.terminate()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()


def quiet(address):
    """Waits until no worker of the cluster has anything to do."""
    from distributed import Client

    with Client(address, timeout=30, set_as_default=False) as client:
        for _ in range(600):
            if not any(client.processing().values()):
                return
            time.sleep(0.1)
    raise AssertionError("the workers never came to rest")


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
    time.sleep(3)
    processes[1].send_signal(signal.SIGKILL)
    time.sleep(1)
    first.kill()
    first.communicate()
    code, said, err = gather(*words)
    assert code == 1, err
    assert "8 tunes of 9 files" in said, err
    assert table(there) == table(here)
    quiet(address)  # a worker may end a batch of the killed run late: taken up by the next run
    assert gather(*words)[0] == 1
    assert table(there) == table(here)
    assert not list((there / ".gather" / "rows").rglob("*.json"))


def test_a_scheduler_that_dies_is_one_sentence(cluster, archive, tmp_path):
    address, processes = cluster
    words = ("--level", "tune", "--engine", "dask", "--scheduler", address, "--batch", "1")
    run = start(archive, "--out", tmp_path / "out", *words)
    shelf = tmp_path / "out" / ".gather" / "rows"
    while run.poll() is None and not list(shelf.rglob("*.part")) + list(shelf.rglob("*.json")):
        time.sleep(0.02)
    processes[0].kill()
    err = run.communicate(timeout=60)[1]
    if run.returncode == 1 and "8 tunes" not in err:
        assert err.splitlines()[-1].startswith("liltwright: ")
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
