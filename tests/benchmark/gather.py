"""How fast a whole archive goes, whether it is the same after kills, and which relatives it finds.

    python -m tests.benchmark.gather --folder FOLDER --recordings 200 --speed 1 2 dask
    python -m tests.benchmark.gather --folder FOLDER --recordings 200 --flat 1000
    python -m tests.benchmark.gather --folder FOLDER --written 150 --kills 20
    python -m tests.benchmark.gather --folder FOLDER --written 150 --dask-kills 8
    python -m tests.benchmark.gather --relatives

Task     figures for `liltwright gather`
In       recordings rendered from the collections (plan.py), kept in FOLDER
Out      figures on stdout and in figures/gather.json; exit code 1 when a table differs, a process
         is left behind after a kill or a figure is below its floor
Method   each run is the real command in a process of its own; parent, workers or scheduler get
         SIGKILL at moments drawn with a seed; the last run goes to its end and its table must equal
         byte for byte that of an undisturbed run. Memory is that of the largest process, by psutil.
         Processor seconds are told beside the clock's, and those that others took of the machine
         meanwhile: only where these are few does the clock say anything.
         The runs of --speed may be taken one by one (`--speed 1`, then `--speed 2 dask`): figures
         of the same files and level are put side by side.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import resource
import shutil
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

from tests.benchmark.gather_kills import dask_kills, kills
from tests.benchmark.gather_kin import kin
from tests.benchmark.gather_runs import Figures, cluster, render, start, table, timed, written

FIGURES = Path(__file__).with_name("figures") / "gather.json"
FLOORS = {"speedup_2": 1.8, "dask_of_local": 0.9}
"""Two processes against one; two Dask workers against two processes (of the issue)."""
GROWS = 1.1
"""Memory of the last quarter of a long run against that of the second: the first has the start."""
GROWING = ("worker_grows", "parent_grows")
PIECE_S, STEP_S = 10.0, 2.0
"""How long the pieces are that --flat takes of each recording, and how far apart."""
DASK = "dask"


def processor_s() -> float:
    """Processor time of all processes that were started here and have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def speed(inputs: Path, folder: Path, level: str, ways: list[str], before: Figures) -> Figures:
    """Seconds and files an hour of each way, beside those of `before` with the same files."""
    count = len(list(inputs.iterdir()))
    same = before.get("files") == count and before.get("level") == level
    runs: Figures = dict(before.get("runs", {})) if same else {}
    for way in ways:
        runs[way] = _run(inputs, folder / f"speed-{way}", level, way)
    seconds = {way: run["seconds"] for way, run in runs.items()}
    found: Figures = {
        "files": count,
        "level": level,
        "runs": runs,
        "files_an_hour": {way: round(count * 3600 / took) for way, took in seconds.items()},
        "same_table": len({run["table"] for run in runs.values()}) == 1,
    }
    if {"1", "2"} <= runs.keys():
        found["speedup_2"] = round(seconds["1"] / seconds["2"], 2)
    if {"2", DASK} <= runs.keys():
        found["dask_of_local"] = round(seconds["2"] / seconds[DASK], 2)
        work = {way: runs[way]["processor_s"] for way in ("2", DASK)}
        found["dask_of_local_processor"] = round(work["2"] / work[DASK], 2)
    return found


def _run(inputs: Path, out: Path, level: str, way: str) -> Figures:
    import psutil

    words = ("--level", level)
    if way == DASK:
        with cluster(out.parent) as (address, processes):
            trees = [psutil.Process(process.pid) for process in processes]
            used, busy = sum(map(_used_by, trees)) + processor_s(), _machine_s()
            took = timed(inputs, out, *words, "--engine", DASK, "--scheduler", address)
            own = sum(map(_used_by, trees)) + processor_s() - used  # the start does not count
            busy = _machine_s() - busy
    else:
        used, busy = processor_s(), _machine_s()
        took = timed(inputs, out, *words, "--processes", way)
        own, busy = processor_s() - used, _machine_s() - busy
    return {
        "seconds": round(took, 1),
        "processor_s": round(own, 1),
        "others_processor_s": round(max(0.0, busy - own), 1),
        "table": hashlib.sha256(table(out)).hexdigest()[:16],
    }


def _used_by(process: Any) -> float:
    """Processor time of a process, of all below it and of those that ended there."""
    import psutil

    found = 0.0
    for one in (process, *process.children(recursive=True)):
        with suppress(psutil.Error):
            times = one.cpu_times()
            found += float(sum(times[:4]))  # its own, and of children that it waited for
    return found


def _machine_s() -> float:
    """Processor time of the whole machine so far."""
    import psutil

    times = psutil.cpu_times()
    idle = times.idle + getattr(times, "iowait", 0.0)
    return float(sum(times) - idle - getattr(times, "guest", 0.0))


def flat(inputs: Path, folder: Path, count: int) -> Figures:
    """Memory of the largest worker and of the parent over many files, in four stretches."""
    import psutil

    many = _many(inputs, folder / f"many-{count}", count)
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
    worker = [round(max(worker for worker, _ in part)) for part in parts]
    parent_mb = [round(max(parent for _, parent in part)) for part in parts]
    return {
        "files": count,
        "rows": _rows(folder / "flat"),
        "worker_mb_by_quarter": worker,
        "parent_mb_by_quarter": parent_mb,
        "worker_grows": round(worker[3] / worker[1], 3),
        "parent_grows": round(parent_mb[3] / parent_mb[1], 3),
    }


def _many(inputs: Path, many: Path, count: int) -> Path:
    """Pieces of the recordings, as many as are asked for, each of its own sound."""
    import soundfile

    many.mkdir(exist_ok=True)
    sources = sorted(inputs.iterdir())
    for number in range(count):
        turn, source = divmod(number, len(sources))
        rate = soundfile.info(sources[source]).samplerate
        first = round(turn * STEP_S * rate)
        sound, _ = soundfile.read(sources[source], round(PIECE_S * rate), first)
        soundfile.write(many / f"{number:05d}.flac", sound, rate, format="FLAC")
    return many


def _rows(out: Path) -> dict[str, int]:
    """How many files gave a tune and how many failed."""
    import pyarrow.parquet

    errors = pyarrow.parquet.read_table(out / "tunes.parquet")["error"].to_pylist()
    return {"tunes": sum(not one for one in errors), "failed": sum(bool(one) for one in errors)}


def misses(found: Figures) -> list[str]:
    """What is not as it must be, in words."""
    said = []
    for name, part in found.items():
        if part.get("same_table") is False:
            said.append(f"{name}: the tables differ")
        said += [f"{name}: {key} {part[key]}"
                 for key in ("left_behind", "parent_hung") if part.get(key)]  # fmt: skip
        said += [f"{name}: {key} {part[key]} is below {floor}"
                 for key, floor in FLOORS.items() if part.get(key, floor) < floor]  # fmt: skip
        said += [f"{name}: {key} {part[key]} is above {GROWS}"
                 for key in GROWING if part.get(key, 0) > GROWS]  # fmt: skip
    return said


def main() -> int:
    """Run what is asked for and keep the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "gathered")
    parser.add_argument("--recordings", type=int, default=200)
    parser.add_argument("--written", type=int, default=0, help="written tunes instead")
    parser.add_argument("--level", default="tunings")
    parser.add_argument("--speed", nargs="+", choices=["1", "2", DASK], default=[])
    parser.add_argument("--flat", type=int, default=0)
    parser.add_argument("--kills", type=int, default=0)
    parser.add_argument("--dask-kills", type=int, default=0)
    parser.add_argument("--relatives", action="store_true")
    parser.add_argument("--keep", action="store_true", help="leave figures/gather.json alone")
    asked = parser.parse_args()
    before: Figures = json.loads(FIGURES.read_text()) if FIGURES.exists() else {}
    found: Figures = {}
    if asked.relatives:
        found["relatives"] = kin()
    if asked.speed or asked.flat or asked.kills or asked.dask_kills:
        few = asked.written
        inputs = written(asked.folder, few) if few else render(asked.folder, asked.recordings)
    if asked.speed:
        name = f"speed_{asked.level}"
        earlier = before.get(name, {})
        found[name] = speed(inputs, asked.folder, asked.level, asked.speed, earlier)
    if asked.flat:
        found["flat"] = flat(inputs, asked.folder, asked.flat)
    if asked.kills:
        found["kills"] = kills(inputs, asked.folder, asked.kills)
    if asked.dask_kills:
        found["dask_kills"] = dask_kills(inputs, asked.folder, asked.dask_kills)
    print(json.dumps(found, indent=1))
    if not asked.keep:
        FIGURES.write_text(json.dumps(before | found, indent=1, sort_keys=True) + "\n")
    said = misses(found)
    print("\n".join(said), file=sys.stderr)
    return int(bool(said))


if __name__ == "__main__":
    sys.exit(main())
