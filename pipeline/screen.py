"""Progress on the terminal: a bar where there is a screen, plain lines where there is none."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from liltwright.progress import Progress


@contextmanager
def progress_on_stderr() -> Iterator[Progress]:
    """A progress callback that shows every stage on stderr, until the block ends."""
    if sys.stderr.isatty():
        with _bars() as progress:
            yield progress
    else:
        yield _lines()


@contextmanager
def _bars() -> Iterator[Progress]:
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bars

    columns = (TextColumn("{task.description:<32}"), BarColumn(), TimeElapsedColumn())
    with Bars(*columns, console=Console(stderr=True)) as bars:
        tasks: dict[str, object] = {}

        def progress(what: str, fraction: float) -> None:
            what = what[:1].upper() + what[1:]
            if what not in tasks:
                for task in tasks.values():
                    bars.update(task, completed=1.0)  # type: ignore[arg-type]
                tasks[what] = bars.add_task(what, total=1.0)
            bars.update(tasks[what], completed=fraction)  # type: ignore[arg-type]

        yield progress
        for task in tasks.values():
            bars.update(task, completed=1.0)  # type: ignore[arg-type]


def _lines() -> Progress:
    said: set[str] = set()

    def progress(what: str, fraction: float) -> None:
        if what not in said:
            said.add(what)
            print(f"{what[:1].upper()}{what[1:]} ...", file=sys.stderr, flush=True)

    return progress
