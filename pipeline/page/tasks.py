"""Work that takes long: hearing a recording, writing every file, taking a tab apart.

Task: do one thing at a time in the background, say how far it is, stop when it is told to.
In: a function that takes a progress callback. Out: PageTask, a record of how it stands.
Method: one thread works through the tasks in their order. A task that is stopped ends at its next
word of progress; nothing of it is kept, since results are saved at the end only.
"""

from __future__ import annotations

import secrets
import threading
import traceback
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

from liltwright.errors import PipelineError

MOST_KEPT = 50  # tasks done that can still be asked for
MOST_WAITING = 20  # tasks; more are refused


class TaskStoppedError(Exception):
    """The task was told to stop."""


@dataclass
class PageTask:
    """One piece of work. Not frozen: it goes on."""

    id: str
    words: str
    stage: str = "waiting"
    fraction: float = 0.0
    done: bool = False
    error: str = ""
    stopping: bool = False
    tune: str = ""
    """Identifier of the tune that came out."""
    step: str = "tune"
    """Which view of it is shown first."""
    picture: bytes = b""
    """The first picture of a recording, as PNG."""
    picture_s: float = 0.0

    def progress(self, what: str, fraction: float) -> None:
        """Note how far it is. Raises TaskStoppedError when the task was told to stop."""
        if self.stopping:
            raise TaskStoppedError
        self.stage, self.fraction = what, float(fraction)

    def plain(self) -> dict[str, Any]:
        """What the page is told."""
        return {
            "id": self.id, "words": self.words, "stage": self.stage, "fraction": self.fraction,
            "done": self.done, "error": self.error, "stopping": self.stopping, "tune": self.tune,
            "step": self.step,
            "picture": bool(self.picture), "picture_s": self.picture_s,
        }  # fmt: skip


class Tasks:
    """The tasks of one run."""

    def __init__(self) -> None:
        """No task yet."""
        self._worker = ThreadPoolExecutor(1, thread_name_prefix="task")
        self._tasks: OrderedDict[str, PageTask] = OrderedDict()
        self._lock = threading.Lock()

    def start(self, words: str, work: Callable[[PageTask], str]) -> PageTask:
        """Begin a task; `work` gives the identifier of the tune that came out.

        Raises PipelineError when too many are waiting.
        """
        task = PageTask(secrets.token_urlsafe(9), words)
        with self._lock:
            open_ones = sum(not one.done for one in self._tasks.values())
            if open_ones >= MOST_WAITING:
                raise PipelineError(
                    f"{open_ones} things are waiting to be done already: let them end first."
                )
            self._tasks[task.id] = task
            for old in [one for one in self._tasks.values() if one.done][:-MOST_KEPT]:
                del self._tasks[old.id]
        self._worker.submit(self._run, task, work)
        return task

    def _run(self, task: PageTask, work: Callable[[PageTask], str]) -> None:
        try:
            task.progress("beginning", 0.0)
            task.tune = work(task)
            task.stage, task.fraction = "done", 1.0
        except TaskStoppedError:
            task.error = "Stopped; nothing was kept."
        except PipelineError as fault:
            task.error = str(fault)
        except Exception:  # a bug: its traceback goes to the terminal, a sentence to the page
            traceback.print_exc()
            task.error = "Something went wrong in the program; the terminal says what."
        finally:
            task.done = True

    def get(self, wanted: str) -> PageTask:
        """A task. Raises PipelineError when there is none."""
        task = self._tasks.get(wanted)
        if task is None:
            raise PipelineError("This piece of work is not known any more.")
        return task

    def stop(self, wanted: str) -> None:
        """Tell a task to stop."""
        self.get(wanted).stopping = True

    def close(self) -> None:
        """Stop everything."""
        for task in list(self._tasks.values()):
            task.stopping = True
        self._worker.shutdown(wait=False, cancel_futures=True)
