"""Many machines, by Dask.

Task     let the workers of a Dask scheduler do the work, 100,000 files without drowning it
In       tasks; the scheduler's address; how many files go into one call
Out      rows, a batch at a time
Method   one call is one batch of files, and only so many calls are open as keep every worker busy,
         so that the scheduler never holds more than a few hundred. Batches are a share of what is
         left, so they shrink towards the end and the workers end together. A worker does its
         batch by a process of its own with the same limits as on one machine, which it keeps for
         the next batch (kept.py), writes the folders and the batch's rows into the shared folder
         (or at the address of --results), and answers with the name of the rows' file.
         Dask tries a call again whose worker died. The ledger is opened here alone; rows of
         batches that ended after a kill of this process are taken up by the next run.
References: https://distributed.dask.org, "Best practices: avoid very large numbers of tasks";
         guided self-scheduling: Polychronopoulos and Kuck, IEEE Trans. Computers 36 (12), 1987
"""

from __future__ import annotations

import hashlib
import json
import math
import time
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import suppress
from dataclasses import asdict
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from liltwright.errors import PipelineError, UsageError
from liltwright.gather.local import Limits
from liltwright.gather.results import drop, names, put, take
from liltwright.gather.work import Row, Task, failed_row

if TYPE_CHECKING:
    from liltwright.gather.order import Order

RETRIES = 4  # a call is given to another worker so often when its worker dies
OPEN_PER_THREAD = 3  # calls that wait for each thread, so that none is ever idle
SHARES_PER_THREAD = 2  # a batch is at most one of so many parts of what is left for a thread
WAIT_S = 30  # seconds that a scheduler has to answer
LOST_S = 10
"""So long may the scheduler be away."""
POLL_S = 0.1  # seconds between two looks at what has ended
SCHEDULER_ENDED = "the Dask scheduler ended: start it again and give the same command, it goes on."


def need_distributed() -> Any:
    """The engine. Raises UsageError when it is not installed."""
    try:
        import distributed
    except ImportError:
        raise UsageError(
            'the engine dask is not installed: install it with pip install "liltwright[gather]".'
        ) from None
    return distributed


def work_on_dask(tasks: Sequence[Task], order: Order) -> Generator[list[Row], None, None]:
    """Rows as batches end. Raises PipelineError when the scheduler cannot be reached or is lost."""
    root = (order.results or str(order.out.resolve())).rstrip("/")
    shelf = f"{root}/.gather/rows/{order.recipe.key}"
    if not order.results:
        Path(shelf).mkdir(parents=True, exist_ok=True)
    left = {task.content: task for task in tasks}
    for rows in _taken_up(shelf, left, retry=order.retry):
        for row in rows:
            left.pop(row["content"])
        yield rows
    if left:
        yield from _on_cluster(list(left.values()), order, shelf)


def do_batch(tasks: list[dict[str, Any]], shelf: str, limits: dict[str, Any]) -> str:
    """On a worker: work on a batch, put its rows on the shelf, answer with the file's name."""
    from liltwright.gather.kept import lent_child

    these = [Task(**task) for task in tasks]
    with lent_child(Limits(**limits)) as child:
        rows = [child.do(task) for task in these]
    data = json.dumps(sorted(rows, key=lambda row: str(row["content"])), sort_keys=True).encode()
    name = f"{_batch_name(these)}.json"
    put(shelf, name, data, _own_name())
    return name


def _on_cluster(
    tasks: Sequence[Task], order: Order, shelf: str
) -> Generator[list[Row], None, None]:
    client = _client(order)
    of: dict[Any, list[Task]] = {}
    threads = 1
    try:
        batches = _cut(tasks, order.batch, lambda: threads)
        while True:
            threads = _threads(client) or threads
            for batch in islice(batches, max(0, threads * OPEN_PER_THREAD - len(of))):
                of[_submit(client, batch, order, shelf)] = batch
            if not of:
                break
            for future in _ended(client, list(of)):
                yield _rows_of(future, of.pop(future), shelf)
    finally:
        with suppress(Exception):
            client.cancel(list(of))
        client.close()


def _client(order: Order) -> Any:
    """A client of the scheduler, whose workers keep their children from now on."""
    distributed = need_distributed()
    try:
        client = distributed.Client(order.scheduler, timeout=WAIT_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as fault:
        raise PipelineError(
            f"no Dask scheduler answers at {order.scheduler} within {WAIT_S} s: check that "
            "`dask scheduler` runs and name the address it prints."
        ) from fault
    from liltwright.gather.kept import NAME, Children

    try:
        client.register_plugin(Children(), name=NAME)
    except OSError:  # a worker died just now; the others have it, and new ones will
        pass
    except ImportError as fault:
        client.close()
        raise PipelineError(
            f"a Dask worker lacks this program ({fault}): install the same version of liltwright "
            "on each machine and start its workers again."
        ) from fault
    return client


def _submit(client: Any, batch: list[Task], order: Order, shelf: str) -> Any:
    return client.submit(
        do_batch,
        [task.words for task in batch],
        shelf,
        asdict(order.limits),
        pure=False,
        retries=RETRIES,
        key=f"gather-{_batch_name(batch)}",
    )


def _cut(tasks: Sequence[Task], most: int, threads: Callable[[], int]) -> Iterator[list[Task]]:
    """Batches, smaller towards the end, so that no worker is left with the last one for long."""
    at = 0
    while at < len(tasks):
        share = math.ceil((len(tasks) - at) / (threads() * SHARES_PER_THREAD))
        size = min(most, share)
        yield list(tasks[at : at + size])
        at += size


def _threads(client: Any) -> int:
    """How many calls the workers can do at once; 0 when nobody answers."""
    if client.status != "running":
        return 0
    with suppress(OSError):
        return sum(client.nthreads().values())
    return 0


def _ended(client: Any, calls: list[Any]) -> list[Any]:
    """The calls that have ended, when there are some. Raises PipelineError when Dask is lost."""
    lost = 0.0
    while not (ended := [call for call in calls if call.done()]):
        lost = 0.0 if client.status == "running" else lost + POLL_S
        if lost > LOST_S:
            raise PipelineError(SCHEDULER_ENDED)
        time.sleep(POLL_S)
    return ended


def _rows_of(future: Any, batch: list[Task], shelf: str) -> list[Row]:
    from distributed import KilledWorker
    from distributed.client import FutureCancelledError

    from liltwright.gather.kept import WorkerEndedError

    try:
        name = future.result(timeout=WAIT_S)
        rows = json.loads(take(shelf, name))
    except (KilledWorker, WorkerEndedError):
        return [
            failed_row(
                task.content, "the Dask workers that took this file's batch all ended.", again=True
            )
            for task in batch
        ]
    except (FutureCancelledError, TimeoutError) as fault:
        raise PipelineError(SCHEDULER_ENDED) from fault
    except OSError as fault:
        raise PipelineError(
            f"the rows of a batch are not in {shelf}: --out must be a folder that every worker "
            "sees under the same path, or --results an address that every worker reaches."
        ) from fault
    drop(shelf, name)
    return list(rows)


def _taken_up(shelf: str, wanted: dict[str, Task], *, retry: bool) -> Iterator[list[Row]]:
    """Rows of batches that ended while nobody listened."""
    for name in names(shelf):
        with suppress(ValueError, OSError):
            rows = [row for row in json.loads(take(shelf, name)) if row["content"] in wanted]
            rows = [row for row in rows if not ("again" in row or ("error" in row and retry))]
            if rows:
                yield rows
        drop(shelf, name)


def _batch_name(tasks: Sequence[Task]) -> str:
    return hashlib.sha256("\n".join(task.content for task in tasks).encode()).hexdigest()[:32]


def _own_name() -> str:
    import os
    import socket

    return f"{socket.gethostname()}-{os.getpid()}"
