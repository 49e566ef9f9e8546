"""What tests wait for, instead of a time that is too short here and too long there."""

import time
from contextlib import suppress

import psutil

LONG_S = 300.0
"""No test needs so long on any machine: what has not come by then never comes."""


def until(true, seconds=LONG_S):
    """What `true` returns, as soon as that is something. Raises AssertionError when it never is."""
    end = time.monotonic() + seconds
    while not (found := true()):
        assert time.monotonic() < end, "what was waited for never came"
        time.sleep(0.02)
    return found


def at_work(pid):
    """The processes below one that work on files, as psutil's."""
    found = []
    with suppress(psutil.Error):
        for child in psutil.Process(pid).children(recursive=True):
            with suppress(psutil.Error):
                if "liltwright.gather.child" in child.cmdline():  # of the dead that is empty
                    found.append(child)
    return found


def left_of(processes, seconds=LONG_S):
    """Those of the processes that do not end by themselves."""
    return psutil.wait_procs(processes, timeout=seconds)[1]
