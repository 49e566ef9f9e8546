"""Child processes of a Dask worker, kept from one batch to the next.

Task     spare each batch the start of a process, which takes as long as several files
In       the limits of one file
Out      a child to give files to (local.py), for as long as a batch lasts
Method   a plugin of each Dask worker holds the children that no batch needs. A batch takes one with
         its limits, or starts one, since a worker may have several threads. A child is replaced
         after as many files as on one machine, and ends when the worker ends: by the plugin where
         there is time, else because its stdin ends. One that no batch took for a while ends too, so
         that nothing is left of a gathering but the plugin.
References: https://distributed.dask.org/en/stable/plugins.html, "Worker Plugins"
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from distributed import WorkerPlugin, get_worker

from liltwright.gather.local import Limits, StopSignal, Worker

NAME = "liltwright-gather"
IDLE_S = 60.0
"""So long a child waits for the next batch."""
LOOK_S = 5.0
"""How often that is looked at."""


class WorkerEndedError(Exception):
    """A batch was broken off because its Dask worker ends: another one takes it."""


class Children(WorkerPlugin):
    """The children of one Dask worker."""

    idempotent = True

    def setup(self, worker: Any) -> None:
        """The worker, or one batch alone (None), has no children yet."""
        self._stop = StopSignal()
        self._lock = threading.Lock()
        self._free: list[tuple[float, Limits, Worker]] = []
        self._looking: Any = None
        if worker is not None:
            from tornado.ioloop import PeriodicCallback

            self._looking = PeriodicCallback(self._end_idle, LOOK_S * 1000)
            self._looking.start()

    def teardown(self, worker: Any) -> None:
        """End all children at once, also those at work."""
        if self._looking is not None:
            self._looking.stop()
        self._stop.now()
        with self._lock:
            free, self._free = self._free, []
        for _, _, child in free:
            child.close()

    @contextmanager
    def child(self, limits: Limits) -> Iterator[Worker]:
        """A child with these limits. Raises WorkerEndedError when it was ended meanwhile."""
        child = self._take(limits) or Worker(limits, self._stop)
        try:
            yield child
        except BaseException:
            child.close()
            raise
        with self._lock:
            ended = self._stop.asked.is_set()
            if not ended:
                self._free.append((time.monotonic(), limits, child))
        if ended:
            child.close()
            raise WorkerEndedError

    def _take(self, limits: Limits) -> Worker | None:
        with self._lock:
            for at in reversed(range(len(self._free))):
                if self._free[at][1] == limits:
                    return self._free.pop(at)[2]
        return None

    def _end_idle(self) -> None:
        since = time.monotonic() - IDLE_S
        with self._lock:
            idle = [kept for kept in self._free if kept[0] < since]
            self._free = [kept for kept in self._free if kept[0] >= since]
        for _, _, child in idle:
            child.close()


@contextmanager
def lent_child(limits: Limits) -> Iterator[Worker]:
    """A child of the Dask worker that runs this; where that has no plugin, one for this batch."""
    try:
        kept = get_worker().plugins.get(NAME)
    except ValueError:  # no Dask worker runs this
        kept = None
    if kept is not None:
        with kept.child(limits) as child:
            yield child
        return
    alone = Children()
    alone.setup(None)
    try:
        with alone.child(limits) as child:
            yield child
    finally:
        alone.teardown(None)
