"""Task: how fast is the hear stage, and basic-pitch on the same recording in the same process?

In: a job that was rendered before. Out: seconds of audio per second by the clock and per second of
    processor time, warm, the best of a few turns that alternate between the two.
Meant for a fresh process; both may use every core. On a busy machine read the processor's figures.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from tests.benchmark.performer import perform
from tests.benchmark.plan import Job
from tests.benchmark.work import LONGEST_S, recording, warm

TURNS = 4


def speeds(job: Job) -> dict[str, dict[str, float]]:
    """Figures of both by name."""
    from liltwright.hear.ears import basic
    from liltwright.hear.listen import hear

    performance = perform(job.tune, job.sound.family, seed=job.number,
                          late_start=job.late_start, longest_s=LONGEST_S)  # fmt: skip
    audio = recording(job, performance)[0]
    warm()
    ears: dict[str, Callable[[], Any]] = {
        "own, whole stage": lambda: hear(audio),
        "basic-pitch, notes alone": lambda: basic.recommended(basic.beliefs(audio.samples)),
    }
    taken: dict[str, list[tuple[float, float]]] = {name: [] for name in ears}
    for _ in range(TURNS):
        for name, listen in ears.items():
            clock, processor = time.perf_counter(), time.process_time()
            listen()
            taken[name].append((time.perf_counter() - clock, time.process_time() - processor))
    return {
        name: {
            "times_real_time": round(audio.duration_s / min(clock for clock, _ in took), 1),
            "per_processor_second": round(audio.duration_s / min(cpu for _, cpu in took), 1),
        }
        for name, took in taken.items()
    }
