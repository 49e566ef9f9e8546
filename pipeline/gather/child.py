"""A worker process: one task a line in, one row a line out.

Task     work on files, one after another, in a process of its own that may be killed
In       lines of JSON on stdin, each a Task; the memory limit in bytes as the only argument
Out      lines of JSON on what was stdout, each a row; whatever libraries print goes nowhere
Method   Ctrl-C is left to the parent. When the parent is gone stdin ends, and so does this process
         at once: whatever it was writing is whole or not there.
"""

from __future__ import annotations

import json
import os
import queue
import signal
import sys
import threading


def main() -> None:
    """Work until stdin ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    _limit_memory(int(sys.argv[1]))
    lines: queue.Queue[str] = queue.Queue()
    threading.Thread(target=_listen, args=(lines,), daemon=True).start()
    from liltwright.gather.work import Task, work_on

    while True:
        row = work_on(Task(**json.loads(lines.get())))
        answers.write(json.dumps(row, sort_keys=True) + "\n")
        answers.flush()


def _listen(lines: queue.Queue[str]) -> None:
    for line in sys.stdin:
        lines.put(line)
    os._exit(0)


def _limit_memory(most: int) -> None:
    try:
        import resource
    except ImportError:  # a system without such limits
        return
    if most:
        resource.setrlimit(resource.RLIMIT_AS, (most, most))


if __name__ == "__main__":
    main()
