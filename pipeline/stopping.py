"""Task: say truly what a run had written when Ctrl-C stopped it.

In: what the writers put in place. Out: one sentence for the end.
Method: while files are being put in place Ctrl-C waits (it takes no longer than the disk does), so
that each set of files is there whole and noted, or not there at all.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_written: dict[str, None] = {}


@contextmanager
def undisturbed() -> Iterator[None]:
    """Ctrl-C waits until the block is done. Only where Python itself would raise it."""
    here = threading.current_thread() is threading.main_thread()
    if not here or signal.getsignal(signal.SIGINT) is not signal.default_int_handler:
        yield
        return
    came: list[int] = []
    usual = signal.signal(signal.SIGINT, lambda number, _: came.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, usual)
    if came:
        raise KeyboardInterrupt


def note_written(place: Path) -> None:
    """Remember that this run put a file, or a set of files into a folder."""
    from liltwright.limits import shown_path

    _written[shown_path(place)] = None


def stopped_words() -> str:
    """The sentence of a run that Ctrl-C ended."""
    if not _written:
        return "liltwright: stopped; nothing was written."
    return f"liltwright: stopped; what this run wrote is whole: {', '.join(_written)}."
