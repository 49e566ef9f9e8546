"""`kill -9` of every process of a gathering, for tests.benchmark.gather --kills and --dask-kills.

In: an archive. Out: how often which process was killed, whether the final table is that of an
undisturbed run, and how many processes were left behind.
"""

from __future__ import annotations

import random
import shutil
import signal
import subprocess
import time
from collections import Counter
from contextlib import suppress
from pathlib import Path
from typing import Any

from tests.benchmark.gather_runs import Figures, cluster, start, table, timed
from tests.gather.watching import at_work, left_of, until

ENDS_IN_S = 20.0
"""So long may a process whose parent was killed take to end by itself."""
VICTIMS = ("worker", "nanny", "scheduler", "parent")
"""A nanny is Dask's process that starts its worker anew."""


def kills(inputs: Path, folder: Path, count: int) -> Figures:
    """Parent or worker, at many moments of one gathering."""
    import psutil

    whole = folder / "whole"
    words = ("--level", "tune", "--processes", "2")
    took = timed(inputs, whole, *words)
    out = folder / "killed"
    shutil.rmtree(out, ignore_errors=True)
    rng = random.Random(21)
    hit = {"parent": 0, "worker": 0}
    orphans = 0
    while sum(hit.values()) < count:
        process = start(inputs, out, *words)
        if rng.random() < 0.8:  # else while it starts
            while process.poll() is None and not at_work(process.pid):
                time.sleep(0.02)
        time.sleep(rng.uniform(0.0, max(2.0, 2 * took / count)))
        while rng.random() < 0.5 and process.poll() is None:
            with suppress(psutil.Error, IndexError):
                rng.choice(at_work(process.pid)).kill()
                hit["worker"] += 1
            time.sleep(rng.uniform(0.1, 1.0))
        if process.poll() is None:
            below = at_work(process.pid)
            process.kill()
            hit["parent"] += 1
            orphans += len(left_of(below, ENDS_IN_S))
        elif table(out):
            break
        process.wait()
    start(inputs, out, *words).wait()
    return {
        "files": len(list(inputs.iterdir())),
        "kills": hit,
        "left_behind": orphans,
        "same_table": table(out) == table(whole),
    }


def dask_kills(inputs: Path, folder: Path, count: int) -> Figures:
    """A Dask worker, its nanny, the scheduler or the parent, while files are worked on.

    Each kill is of a gathering of its own, which is then given again on another cluster.
    """
    whole, out = folder / "whole", folder / "dask-killed"
    timed(inputs, whole, "--level", "tune", "--processes", "2")
    rng = random.Random(22)
    hit: Counter[str] = Counter()
    found: Counter[str] = Counter(left_behind=0)
    same = True
    for turn in range(count):
        shutil.rmtree(out, ignore_errors=True)
        who = VICTIMS[turn % len(VICTIMS)]
        for victim in (who, None):
            with cluster(folder) as (address, processes):
                process = _start_on(address, inputs, out)
                below = _kill(victim, process, processes, rng) if victim else []
                found["left_behind"] += len(left_of(below, ENDS_IN_S))
                try:
                    process.wait(120)
                except subprocess.TimeoutExpired:
                    process.kill()
                    found["parent_hung"] += 1
                below = [child for one in processes[1:] for child in at_work(one.pid)]
            found["left_behind"] += len(left_of(below, ENDS_IN_S))  # the cluster has ended
        hit[who] += 1
        same = same and table(out) == table(whole)
    return {"files": len(list(inputs.iterdir())), "kills": dict(hit), "same_table": same, **found}


def _start_on(address: str, inputs: Path, out: Path) -> subprocess.Popen[bytes]:
    words = ("--level", "tune", "--engine", "dask", "--scheduler", address, "--batch", "4")
    return start(inputs, out, *words)


def _kill(who: str, process: Any, processes: list[Any], rng: random.Random) -> list[Any]:
    """Kill one while files are worked on; the processes that must end with it."""
    until(lambda: at_work(processes[1].pid))
    time.sleep(rng.uniform(0, 1))
    assert process.poll() is None, "the gathering ended before the kill: take more files"
    below = at_work(processes[1].pid) if who in ("worker", "nanny") else []
    end(who, process, processes)
    return below


def end(who: str, process: Any, processes: list[Any]) -> None:
    """`kill -9` of one process by its part."""
    import psutil

    if who == "worker":  # the process between the nanny and the child
        for child in at_work(processes[1].pid):
            with suppress(psutil.Error):
                child.parent().kill()
        return
    victim = {"nanny": processes[1], "scheduler": processes[0], "parent": process}[who]
    victim.send_signal(signal.SIGKILL)
