"""Task: list what a recording could be before listening to its rhythm.

In: what the user fixed (type, metre, tempo). Out: Hypothesis records over types, metres, swing
ratios and starting tempi, each with its prior log probability.
Method: tempi lie on a logarithmic grid over the widest range of the type (models/dances); their
prior is log-normal about the usual range. Shares of the types and habits of swing are common
practice (models/rhythm/habits.json).
"""

from __future__ import annotations

import numpy as np

import models
from pipeline.dances import Dance, dances
from pipeline.errors import UsageError
from pipeline.notate.bestpath import Hypothesis
from pipeline.notate.rows import TICKS, Row, rows
from pipeline.tune import TuneType

TEMPO_STEP = 0.085
FIXED_SHARE = 1e-3


def hypotheses(
    *,
    tune_type: TuneType | None = None,
    meter: str | None = None,
    beats_per_minute: float | None = None,
) -> list[Hypothesis]:
    """Every hypothesis that agrees with what is fixed.

    Raises UsageError when no row has the fixed type and metre.
    """
    chosen = [
        row
        for row in rows()
        if tune_type in (None, row.tune_type) and (meter is None or _same_meter(meter, row.meter))
    ]
    if not chosen:
        raise UsageError(
            f"No {tune_type or 'tune'} is written in {meter}; "
            f"known metres are {', '.join(sorted({row.meter for row in rows()}))}."
        )
    return [
        Hypothesis(row, ratio, tick_s, prior)
        for row in chosen
        for tick_s, tempo_prior in _tempi(row, beats_per_minute)
        for ratio, prior in _swings(row, tempo_prior)
    ]


def _same_meter(meter: str, other: str) -> bool:
    return meter == other or {meter, other} == {"2/2", "4/4"}


def _swings(row: Row, tempo_prior: float) -> list[tuple[float, float]]:
    habits = models.read_json("rhythm/habits.json")
    share = np.log(habits["share"].get(f"{row.tune_type}|{row.meter}", FIXED_SHARE))
    table = habits["swing"][row.tune_type]
    return [(float(r), float(share + tempo_prior + np.log(p))) for r, p in table.items()]


def _tempi(row: Row, fixed_bpm: float | None) -> list[tuple[float, float]]:
    """(seconds per tick, log prior) of the starting tempi."""
    dance = dances()[row.tune_type]
    if fixed_bpm is not None:
        bpm = fixed_bpm * np.exp(np.array([-0.06, 0.0, 0.06]))
        return [(tick_seconds(row, value), 0.0) for value in bpm]
    low, high = np.log(dance.slowest_bpm) - 0.05, np.log(dance.fastest_bpm) + 0.05
    grid = np.exp(np.arange(low, high + TEMPO_STEP, TEMPO_STEP))
    return [(tick_seconds(row, value), log_tempo_prior(dance, float(value))) for value in grid]


def tick_seconds(row: Row, beats_per_minute: float) -> float:
    """Seconds of a tick at a tempo given in beats of the row."""
    return 60.0 / beats_per_minute / row.beat_ticks


def log_tempo_prior(dance: Dance, bpm: float) -> float:
    """Log density of a log tempo: normal, the usual range reaching one deviation each way."""
    low, high = np.log(dance.usual_bpm)
    centre, spread = (low + high) / 2, max((high - low) / 2, 0.12)
    return float(-0.5 * ((np.log(bpm) - centre) / spread) ** 2 - np.log(spread))


__all__ = ["TICKS", "hypotheses", "log_tempo_prior", "tick_seconds"]
