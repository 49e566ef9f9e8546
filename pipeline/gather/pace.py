"""How far the work is: done, failed, rate and time left, on stderr.

In: how many files there are and rows as they come. Out: one line that renews itself on a screen,
    elsewhere a line now and then.
Method: the rate is that of this run, so that what was done before does not count.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from typing import TextIO

from liltwright.counting import count
from liltwright.gather.work import Row

QUIET_S = 15.0
"""Seconds between lines where there is no screen."""


class Pace:
    """Progress of one gathering."""

    def __init__(
        self, out: TextIO | None = None, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._out = out or sys.stderr
        self._clock = clock
        self._screen = self._out.isatty()
        self._all = self._todo = self._failed = self.now = 0
        self._began = self._said = 0.0

    def say(self, words: str) -> None:
        """Name what is going on."""
        print(f"{words[:1].upper()}{words[1:]} ...", file=self._out, flush=True)

    def start(self, everything: int, todo: int, failed: int) -> None:
        """The work begins."""
        self._all, self._todo, self._failed = everything, todo, failed
        self._began = self._said = self._clock()
        before = everything - todo
        said = f", {before:,} done before" if before else ""
        self.say(f"{count(everything, 'file')}{said}, {todo:,} to do")

    def done(self, rows: Sequence[Row]) -> None:
        """Rows came."""
        self.now += len(rows)
        self._failed += sum("error" in row for row in rows)
        over = self.now == self._todo
        if self._screen:
            print(f"\r\x1b[K{self.line()}", end="\n" if over else "", file=self._out, flush=True)
        elif over or self._clock() - self._said >= QUIET_S:
            self._said = self._clock()
            print(self.line(), file=self._out, flush=True)

    def line(self) -> str:
        """ "120 of 300 files, 410 an hour, 26 min left, 2 failed"."""
        took = max(self._clock() - self._began, 1e-6)
        rate = self.now / took
        left = (self._todo - self.now) / rate if rate else 0.0
        done = self._all - self._todo + self.now
        words = [f"{done:,} of {count(self._all, 'file')}", f"{rate * 3600:,.0f} an hour"]
        if self.now < self._todo:
            words.append(f"{duration(left)} left")
        if self._failed:
            words.append(f"{self._failed:,} failed")
        return ", ".join(words)


def duration(seconds: float) -> str:
    """ "40 s", "26 min", "3 h 20 min", "2 days 4 h"."""
    minutes = round(seconds / 60)
    if seconds < 90:
        return f"{round(seconds)} s"
    if minutes < 120:
        return f"{minutes} min"
    hours, rest = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {rest} min"
    return f"{hours // 24} days {hours % 24} h"
