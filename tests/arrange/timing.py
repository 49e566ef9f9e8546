"""How long arranging takes: cold and warm, and whether it grows as the tune does.

Run `python -m tests.arrange.timing`. Cold is the command `liltwright tab` on a tune file of 32 bars
in a fresh process with tuning and capo named: start, reading, arranging, printing. Warm is the
library call in a process that has arranged before. Processor seconds of one thread, as a busy
machine's clock says little; the least of three turns. The tune is our own; no two bars are alike.
"""

from __future__ import annotations

import os
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import liltwright
from liltwright.guitar.setups import make_setup
from liltwright.tune import Tune

TURNS = 3
SCALE = "DEFGABcdef"


def long_jig(bars: int) -> str:
    """A jig of so many written bars, no two of them alike, in ABC."""
    draw = random.Random(5)
    rows, place = [], 0
    for _ in range(bars):
        notes = []
        for _ in range(6):
            place = min(max(place + draw.choice((-2, -1, -1, 1, 1, 2)), 0), len(SCALE) - 1)
            notes.append(SCALE[place])
        rows.append("".join(notes[:3]) + " " + "".join(notes[3:]))
    body = "".join("|" + "|".join(rows[i : i + 8]) + "||\n" for i in range(0, bars, 8))
    return f"X:1\nT:Long jig\nR:jig\nM:6/8\nL:1/8\nK:D\n{body}"


def warm_s(tune: Tune) -> float:
    """Least processor seconds of arranging the tune again."""
    setup = make_setup(tune, tuning="DADGAD", capo=0)
    liltwright.arrange(tune, setup)
    taken = []
    for _ in range(TURNS):
        begun = time.process_time()
        liltwright.arrange(tune, setup)
        taken.append(time.process_time() - begun)
    return min(taken)


def cold_s(text: str) -> float:
    """Least processor seconds of the command on a tune file."""
    taken = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tune.abc"
        path.write_text(text)
        command = [sys.executable, "-m", "liltwright.start", "tab", str(path)]
        command += ["--tuning", "DADGAD", "--capo", "0", "--layer", "moving-bass"]
        environment = {**os.environ, "OMP_NUM_THREADS": "1"}
        for _ in range(TURNS):
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            subprocess.run(command, check=True, capture_output=True, env=environment)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            taken.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(taken)


def main() -> None:
    """Measure and print."""
    warm = {
        bars: warm_s(liltwright.read(long_jig(bars).encode(), name="long.abc"))
        for bars in (16, 32, 64, 128)
    }
    print(f"{cold_s(long_jig(32)):8.2f}  s cold, 32 bars (limit 4)")
    for bars, seconds in warm.items():
        limit = " (limit 2)" if bars == 32 else ""
        print(f"{seconds:8.2f}  s warm, {bars} bars{limit}")
    print(f"{warm[128] / warm[32]:8.2f}  times as long for four times the bars")


if __name__ == "__main__":
    main()
