"""Recordings, runs of the real command and Dask clusters, for tests.benchmark.gather.

In: how many recordings or written tunes. Out: a folder of them; processes.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from tests.gather.watching import until

ROOT = Path(__file__).parents[2]
Figures = dict[str, Any]


def render(folder: Path, count: int) -> Path:
    """`count` recordings of the development split, made once."""
    import soundfile

    from tests.benchmark.performer import perform
    from tests.benchmark.plan import plan
    from tests.benchmark.work import LONGEST_S, recording

    target = folder / f"in-{count}"
    target.mkdir(parents=True, exist_ok=True)
    for job in plan("dev", count):
        path = target / f"{job.number:04d}.flac"
        if path.exists():
            continue
        performance = perform(job.tune, job.sound.family, seed=job.number,
                              late_start=job.late_start, longest_s=LONGEST_S)  # fmt: skip
        audio = recording(job, performance)[0]
        part = path.with_suffix(".part")
        soundfile.write(part, audio.samples, audio.sample_rate, format="FLAC")
        part.rename(path)
    return target


def written(folder: Path, count: int) -> Path:
    """`count` written tunes, where sound would only cost time."""
    target = folder / f"written-{count}"
    target.mkdir(parents=True, exist_ok=True)
    text = (ROOT / "fixtures" / "demo" / "tune.abc").read_text(encoding="utf-8")
    for number in range(count):
        (target / f"t{number}.abc").write_text(text.replace("X:1", f"X:{number + 1}"))
    return target


def start(inputs: Path, out: Path, *words: str) -> subprocess.Popen[bytes]:
    """The real command."""
    command = [sys.executable, "-m", "liltwright.start", "gather", str(inputs), "--out", str(out)]
    return subprocess.Popen([*command, *words], cwd=ROOT, stdout=subprocess.DEVNULL,
                            stderr=subprocess.DEVNULL)  # fmt: skip


def timed(inputs: Path, out: Path, *words: str) -> float:
    """Seconds of one run from nothing."""
    shutil.rmtree(out, ignore_errors=True)
    began = time.perf_counter()
    start(inputs, out, *words).wait()
    return time.perf_counter() - began


def table(out: Path) -> bytes:
    """The bytes of the table, b"" while there is none."""
    path = out / "tunes.parquet"
    return path.read_bytes() if path.exists() else b""


@contextmanager
def cluster(folder: Path, workers: int = 2) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """A scheduler and workers of one thread each, all there; the address and the processes."""
    from distributed import Client

    file = Path(tempfile.mkdtemp(dir=folder)) / "scheduler.json"
    env = os.environ | {"PYTHONPATH": str(ROOT)}

    def dask(*words: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.dask_{words[0]}", *words[1:]]
        return subprocess.Popen(command, env=env, cwd=ROOT, stdout=subprocess.DEVNULL,
                                stderr=subprocess.DEVNULL)  # fmt: skip

    processes = [dask("scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard",
                      "--scheduler-file", str(file))]  # fmt: skip
    until(lambda: file.exists() and file.read_text().strip())
    address = json.loads(file.read_text())["address"]
    processes += [dask("worker", address, "--nthreads", "1", "--no-dashboard",
                       "--local-directory", str(file.parent / f"worker{number}"))
                  for number in range(workers)]  # fmt: skip
    try:
        with Client(address, timeout=60, set_as_default=False) as client:
            client.wait_for_workers(workers, timeout=120)
        yield address, processes
    finally:
        for process in reversed(processes):
            process.terminate()
        for process in processes:
            with suppress(subprocess.TimeoutExpired):
                process.wait(10)
            process.kill()
