"""Worker processes on one machine.

Task     work on many files side by side, and outlive whatever a file does to its process
In       tasks; how many processes, and the limits of one file
Out      rows as they come, in any order; a row with `error` where a file was too much
Method   a fresh interpreter for each worker (nothing is inherited but the environment), one
         numeric thread each, fed by a thread of this process over pipes. A worker ends after a
         number of files, so that nothing piles up. One that takes too long is killed; one that
         died is replaced and its file tried again, since the file need not be the cause.
"""

from __future__ import annotations

import json
import os
import queue
import subprocess
import sys
import threading
from collections.abc import Generator, Sequence
from contextlib import suppress
from dataclasses import dataclass

from liltwright.gather.work import Row, Task, failed_row
from liltwright.limits import clean
from liltwright.threads import VARIABLE

THREADS = (
    VARIABLE, "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS", "NUMEXPR_NUM_THREADS", "RAYON_NUM_THREADS",
)  # fmt: skip
UNSET = "MALLOC_TRIM_THRESHOLD_"
"""Dask sets this for its workers: each large array then comes new from the system and goes back to
it, which took a third more processor time (16 recordings, level tunings: 46 s in place of 36)."""
TRIES = 3
"""How often a file is tried whose worker dies."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What one file may take, and when a worker is replaced."""

    seconds: float = 900.0
    memory_bytes: int = 6 * 2**30
    files_per_worker: int = 100


class StopSignal:
    """Says to all feeders that the work is to end, and kills their workers."""

    def __init__(self) -> None:
        self.asked = threading.Event()
        self._lock = threading.Lock()
        self._running: set[subprocess.Popen[str]] = set()

    def started(self, process: subprocess.Popen[str]) -> None:
        """A worker came."""
        with self._lock:
            self._running.add(process)
        if self.asked.is_set():
            process.kill()

    def ended(self, process: subprocess.Popen[str]) -> None:
        """A worker went."""
        with self._lock:
            self._running.discard(process)

    def now(self) -> None:
        """End everything."""
        self.asked.set()
        with self._lock:
            for process in self._running:
                with suppress(OSError):
                    process.kill()


class Worker:
    """One worker process at a time, replaced when it must be."""

    def __init__(self, limits: Limits, stop: StopSignal) -> None:
        self._limits = limits
        self._stop = stop
        self._process: subprocess.Popen[str] | None = None
        self._done = 0

    def do(self, task: Task) -> Row:
        """The row of one file, whatever becomes of the process."""
        died = 0
        for _ in range(TRIES):
            if self._stop.asked.is_set():
                break
            answer, too_long = self._ask(json.dumps(task.words))
            if answer:
                return dict(json.loads(answer))
            code = self._end()
            if too_long:
                return failed_row(
                    task.content,
                    f"{clean(task.name)} took more than the {self._limits.seconds:g} s a file may "
                    "take: allow more with --seconds.",
                )
            died = code
        return failed_row(
            task.content,
            f"the program ended {TRIES} times while working on {clean(task.name)} (code {died}), "
            "perhaps for want of memory: allow more with --memory, or take it alone.",
            again=True,
        )

    def close(self) -> None:
        """Let the process go."""
        self._end()

    def _ask(self, line: str) -> tuple[str, bool]:
        """The answer ("" from a process that died), and whether the time was over."""
        process, over = self._ready(), threading.Event()
        assert process.stdin is not None
        assert process.stdout is not None

        def kill() -> None:
            over.set()
            with suppress(OSError):
                process.kill()

        timer = threading.Timer(self._limits.seconds, kill)
        timer.daemon = True
        timer.start()
        try:
            process.stdin.write(line + "\n")
            process.stdin.flush()
            answer = process.stdout.readline()
        except (OSError, ValueError):
            answer = ""
        finally:
            timer.cancel()
        self._done += 1
        return (answer if answer.endswith("\n") else ""), over.is_set()

    def _ready(self) -> subprocess.Popen[str]:
        """The process, or another one where it has done its files or died while it waited."""
        process = self._process
        if process and process.poll() is None and self._done < self._limits.files_per_worker:
            return process
        self._end()
        self._process = process = _start(self._limits)
        self._stop.started(process)
        self._done = 0
        return process

    def _end(self) -> int:
        process, self._process = self._process, None
        if process is None:
            return 0
        with suppress(OSError):
            if process.stdin is not None:
                process.stdin.close()
        try:
            code = process.wait(5)
        except subprocess.TimeoutExpired:
            process.kill()
            code = process.wait()
        if process.stdout is not None:
            process.stdout.close()
        self._stop.ended(process)
        return code


def work_locally(
    tasks: Sequence[Task], processes: int, limits: Limits
) -> Generator[Row, None, None]:
    """Rows as they come. Closing the iterator, or an exception at its reader, ends all workers."""
    waiting: queue.SimpleQueue[Task] = queue.SimpleQueue()
    for task in tasks:
        waiting.put(task)
    rows: queue.SimpleQueue[Row | BaseException] = queue.SimpleQueue()
    stop = StopSignal()
    feeders = [
        threading.Thread(target=_feed, args=(waiting, rows, limits, stop), daemon=True)
        for _ in range(min(processes, len(tasks)))
    ]
    for feeder in feeders:
        feeder.start()
    try:
        for _ in tasks:
            row = rows.get()
            if isinstance(row, BaseException):
                raise row
            yield row
    finally:
        stop.now()
        for feeder in feeders:
            feeder.join(10)


def _feed(
    waiting: queue.SimpleQueue[Task],
    rows: queue.SimpleQueue[Row | BaseException],
    limits: Limits,
    stop: StopSignal,
) -> None:
    worker = Worker(limits, stop)
    try:
        while not stop.asked.is_set():
            row = worker.do(waiting.get_nowait())
            if not stop.asked.is_set():
                rows.put(row)
    except queue.Empty:
        pass
    except BaseException as fault:
        rows.put(fault)
    finally:
        worker.close()


def _start(limits: Limits) -> subprocess.Popen[str]:
    env = {name: value for name, value in os.environ.items() if name != UNSET}
    return subprocess.Popen(
        [sys.executable, "-m", "liltwright.gather.child", str(limits.memory_bytes)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=env | dict.fromkeys(THREADS, "1"),
        text=True,
        encoding="utf-8",
    )
