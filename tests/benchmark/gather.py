"""How fast a whole archive goes, whether it is the same after kills, and which relatives it finds.

    python -m tests.benchmark.gather --folder FOLDER --recordings 200 --speed --dask --flat 1000
    python -m tests.benchmark.gather --folder FOLDER --written 150 --kills 20
    python -m tests.benchmark.gather --folder FOLDER --written 40 --dask-kills 3
    python -m tests.benchmark.gather --relatives

Task     figures for `liltwright gather`
In       recordings rendered from the collections (plan.py), kept in FOLDER/in
Out      figures on stdout and in figures/gather.json; exit code 1 when a table differs after kills
Method   each run is the real command in a process of its own; parent, workers or scheduler get
         SIGKILL at moments drawn with a seed; the last run goes to its end and its table must equal
         byte for byte that of an undisturbed run. Memory is that of the largest process, by psutil.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from tests.benchmark.gather_kin import kin

ROOT = Path(__file__).parents[2]
FIGURES = Path(__file__).with_name("figures") / "gather.json"
Figures = dict[str, Any]


# ---------------------------------------------------------------- recordings and runs


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


def processor_s() -> float:
    """Processor time of all processes that were started here and have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def table(out: Path) -> bytes:
    """The bytes of the table, b"" while there is none."""
    path = out / "tunes.parquet"
    return path.read_bytes() if path.exists() else b""


@contextmanager
def cluster(folder: Path, workers: int = 2) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """A scheduler and workers of one thread each; the address and the processes."""
    file = Path(tempfile.mkdtemp(dir=folder)) / "scheduler.json"
    env = os.environ | {"PYTHONPATH": str(ROOT)}

    def dask(*words: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.dask_{words[0]}", *words[1:]]
        return subprocess.Popen(command, env=env, cwd=ROOT, stdout=subprocess.DEVNULL,
                                stderr=subprocess.DEVNULL)  # fmt: skip

    processes = [dask("scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard",
                      "--scheduler-file", str(file))]  # fmt: skip
    while not (file.exists() and file.read_text().strip()):
        time.sleep(0.1)
    address = json.loads(file.read_text())["address"]
    processes += [dask("worker", address, "--nthreads", "1", "--no-dashboard",
                       "--local-directory", str(file.parent / f"worker{number}"))
                  for number in range(workers)]  # fmt: skip
    time.sleep(3)
    try:
        yield address, processes
    finally:
        for process in reversed(processes):
            process.terminate()
        for process in processes:
            with suppress(subprocess.TimeoutExpired):
                process.wait(10)
            process.kill()


# ---------------------------------------------------------------- speed and memory


def speed(inputs: Path, folder: Path, level: str, with_dask: bool) -> Figures:
    """Files an hour at one and two processes, and on Dask with two workers."""
    count = len(list(inputs.iterdir()))
    runs, worked, load = {}, {}, os.getloadavg()[0]
    for processes in (1, 2):
        before = processor_s()
        name = f"{processes} processes"
        runs[name] = timed(
            inputs, folder / "speed", "--level", level, "--processes", str(processes)
        )
        worked[name] = round(processor_s() - before, 1)
    whole = table(folder / "speed")
    same = True
    if with_dask:
        with cluster(folder) as (address, _):
            runs["dask, 2 workers"] = timed(
                inputs, folder / "dask", "--level", level, "--engine", "dask",
                "--scheduler", address, "--batch", str(max(1, count // 8)),
            )  # fmt: skip
        same = table(folder / "dask") == whole
    hourly = {name: round(count * 3600 / seconds) for name, seconds in runs.items()}
    return {
        "files": count,
        "level": level,
        "seconds": {name: round(seconds, 1) for name, seconds in runs.items()},
        "files_an_hour": hourly,
        "processor_s": worked,
        "files_per_processor_hour": {
            name: round(count * 3600 / seconds) for name, seconds in worked.items()
        },
        "load_before": round(load, 1),
        "speedup_2": round(runs["1 processes"] / runs["2 processes"], 2),
        "same_table": same,
    }


def flat(inputs: Path, folder: Path, count: int) -> Figures:
    """Memory of the largest worker and of the parent over many files, in four stretches."""
    import psutil

    many = folder / f"many-{count}"
    many.mkdir(exist_ok=True)
    sources = sorted(inputs.iterdir())
    for number in range(count):
        path = many / f"{number:05d}.flac"
        if not path.exists():  # other bytes, the same sound: a tag's worth of padding at the end
            path.write_bytes(
                sources[number % len(sources)].read_bytes() + number.to_bytes(8, "big")
            )
    shutil.rmtree(folder / "flat", ignore_errors=True)
    process = start(many, folder / "flat", "--level", "tune", "--processes", "2")
    seen: list[tuple[float, float]] = []
    while process.poll() is None:
        with suppress(psutil.Error):
            parent = psutil.Process(process.pid)
            sizes = [child.memory_info().rss / 1e6 for child in parent.children()]
            seen.append((max(sizes, default=0.0), parent.memory_info().rss / 1e6))
        time.sleep(0.5)
    quarter = max(1, len(seen) // 4)
    parts = [seen[at : at + quarter] for at in range(0, quarter * 4, quarter)]
    return {
        "files": count,
        "worker_mb_by_quarter": [round(max(worker for worker, _ in part)) for part in parts],
        "parent_mb_by_quarter": [round(max(parent for _, parent in part)) for part in parts],
    }


# ---------------------------------------------------------------- kills


def kills(inputs: Path, folder: Path, count: int) -> Figures:
    """`kill -9` of parent or worker at many moments of one gathering."""
    import psutil

    whole = folder / "whole"
    words = ("--level", "tune", "--processes", "2")
    took = timed(inputs, whole, *words)
    out = folder / "killed"
    shutil.rmtree(out, ignore_errors=True)
    rng = random.Random(21)
    hit = {"parent": 0, "worker": 0}
    while sum(hit.values()) < count:
        process = start(inputs, out, *words)
        if rng.random() < 0.8:  # else while it starts
            while process.poll() is None and not workers(process):
                time.sleep(0.02)
        time.sleep(rng.uniform(0.0, max(2.0, 2 * took / count)))
        while rng.random() < 0.5 and process.poll() is None:
            with suppress(psutil.Error, IndexError):
                rng.choice(workers(process)).kill()
                hit["worker"] += 1
            time.sleep(rng.uniform(0.1, 1.0))
        if process.poll() is None:
            process.kill()
            hit["parent"] += 1
        elif table(out):
            break
        process.wait()
    start(inputs, out, *words).wait()
    return {
        "files": len(list(inputs.iterdir())),
        "kills": hit,
        "same_table": table(out) == table(whole),
    }


def workers(process: subprocess.Popen[bytes]) -> list[Any]:
    """The worker processes of a run."""
    import psutil

    try:
        return list(psutil.Process(process.pid).children())
    except psutil.Error:
        return []


def dask_kills(inputs: Path, folder: Path, count: int) -> Figures:
    """`kill -9` of a Dask worker, the scheduler or the parent."""
    whole, out = folder / "whole", folder / "dask-killed"
    if not table(whole):
        timed(inputs, whole, "--level", "tune", "--processes", "2")
    shutil.rmtree(out, ignore_errors=True)
    rng = random.Random(22)
    hit: dict[str, int] = defaultdict(int)
    for turn in range(count + 1):
        with cluster(folder) as (address, processes):
            words = ("--level", "tune", "--engine", "dask", "--scheduler", address, "--batch", "2")
            process = start(inputs, out, *words)
            if turn < count:
                time.sleep(rng.uniform(2, 8))
                who = ("worker", "scheduler", "parent")[turn % 3]
                victim = {"worker": processes[1], "scheduler": processes[0], "parent": process}[who]
                if process.poll() is None:
                    victim.send_signal(signal.SIGKILL)
                    hit[who] += 1
            try:
                process.wait(120)
            except subprocess.TimeoutExpired:
                process.kill()
                hit["parent that hung"] += 1
    return {
        "files": len(list(inputs.iterdir())),
        "kills": dict(hit),
        "same_table": table(out) == table(whole),
    }


def main() -> int:
    """Run what is asked for and keep the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "gathered")
    parser.add_argument("--recordings", type=int, default=200)
    parser.add_argument("--written", type=int, default=0, help="written tunes instead")
    parser.add_argument("--level", default="tunings")
    parser.add_argument("--speed", action="store_true")
    parser.add_argument("--dask", action="store_true")
    parser.add_argument("--flat", type=int, default=0)
    parser.add_argument("--kills", type=int, default=0)
    parser.add_argument("--dask-kills", type=int, default=0)
    parser.add_argument("--relatives", action="store_true")
    parser.add_argument("--keep", action="store_true", help="leave figures/gather.json alone")
    asked = parser.parse_args()
    found: Figures = {}
    if asked.relatives:
        found["relatives"] = kin()
    if asked.speed or asked.flat or asked.kills or asked.dask_kills:
        few = asked.written
        inputs = written(asked.folder, few) if few else render(asked.folder, asked.recordings)
    if asked.speed:
        found[f"speed_{asked.level}"] = speed(inputs, asked.folder, asked.level, asked.dask)
    if asked.flat:
        found["flat"] = flat(inputs, asked.folder, asked.flat)
    if asked.kills:
        found["kills"] = kills(inputs, asked.folder, asked.kills)
    if asked.dask_kills:
        found["dask_kills"] = dask_kills(inputs, asked.folder, asked.dask_kills)
    print(json.dumps(found, indent=1))
    if not asked.keep:
        before = json.loads(FIGURES.read_text()) if FIGURES.exists() else {}
        FIGURES.write_text(json.dumps(before | found, indent=1, sort_keys=True) + "\n")
    return int(any(part.get("same_table") is False for part in found.values()))


if __name__ == "__main__":
    sys.exit(main())
