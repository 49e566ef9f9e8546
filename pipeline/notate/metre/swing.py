"""Task: let the clock have its say about the length of notes.

In: Emissions, PlainNotes and, for the second look, a first reading. Out: Emissions with steps
    weighed by the time they took; the reading with swing written plainly.
Method: before anything is read, steps are held against the tempo about them and pay only where
    they are off by more than swing explains. After a first reading its swing and tempo are known
    (tempo), and every step is weighed by Student's t against the time it should take.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liltwright.dances import dances
from liltwright.models import read_lines
from liltwright.notate.metre.kind import Kind, bend
from liltwright.notate.metre.network import Emissions
from liltwright.notate.metre.places import places
from liltwright.notate.metre.tempo import find_tempo, running_median
from liltwright.notate.metre.viterbi import COSTS, MetrePath
from liltwright.notate.plain import PlainNotes

MANY, LEAST_SNAPS = 12, 0.05
"""Dotted pairs of a reading, and the share of snaps, below which it is no strathspey."""


def in_time(evidence: Emissions, notes: PlainNotes) -> Emissions:
    """The evidence with steps and jumps counted down that the clock contradicts.

    A step may last half or twice as long as the tempo about it says (swing, rubato) at no cost;
    beyond that it pays, less when time is left over, because players breathe. A page that jumps
    while the beat goes on is rare: who starts again stops first.
    """
    costs = read_lines(COSTS)
    gap = np.append(np.diff(notes.onset_s), np.nan)
    likely = places().steps[evidence.step.argmax(axis=1)]
    tick_s = running_median(gap / likely)
    off = np.log(np.nan_to_num(gap, nan=1.0)[:, None] / (tick_s[:, None] * places().steps[None]))
    cost = 0.5 * (np.maximum(np.abs(off) - costs["free"], 0) / costs["strict"]) ** 2
    cost = np.minimum(cost, np.where(off > 0, costs["most_late"], costs["most_early"]))
    cost[-1] = 0.0
    sudden = np.append(True, gap[:-1] < costs["pause"] * (likely * tick_s)[:-1])
    jump = evidence.jump - costs["sudden"] * np.stack([sudden, np.zeros(len(gap))], axis=1)
    return replace(evidence, step=evidence.step - cost, jump=jump)


def written_even(path: MetrePath, kind: Kind) -> MetrePath:
    """Dotted pairs of reels, hornpipes and barn dances as the even quavers they are written in."""
    if not dances()[kind.tune_type].written_even:
        return path
    kept = np.flatnonzero(path.ticks >= 0)
    ticks = path.ticks[kept].copy()
    step = np.diff(ticks)
    pairs = (ticks[:-2] % 24 == 0) & (step[:-1] == 18) & (step[1:] == 6)
    ticks[1:-1][pairs] -= 6
    whole = path.ticks.copy()
    whole[kept] = ticks
    return replace(path, ticks=whole)


def lacks_snaps(path: MetrePath, tune_type: str) -> bool:
    """Whether a reading as a strathspey is one of dotted pairs alone: a hornpipe swung hard.

    Two of 51 strathspeys of the training split have that few snaps.
    """
    ticks = path.ticks[path.ticks >= 0]
    step, on = np.diff(ticks), ticks[:-1] % 24 == 0
    dotted, snaps = int((on & (step == 18)).sum()), int((on & (step == 6)).sum())
    return tune_type == "strathspey" and dotted >= MANY and snaps < LEAST_SNAPS * dotted


def in_swing(evidence: Emissions, notes: PlainNotes, path: MetrePath, kind: Kind) -> Emissions:
    """The evidence with every step weighed by the swing and tempo found in a first reading.

    A lilted jig has pairs of notes half way between even and dotted; what is meant depends on how
    the rest of the tune is played.
    """
    kept = np.flatnonzero(path.ticks >= 0)
    ticks = path.ticks[kept]
    pulse = find_tempo(ticks, notes.onset_s[kept], path.jumps[kept], kind)
    gap = np.append(np.diff(notes.onset_s[kept]), np.nan)
    ends = ticks[:, None] + places().steps[None]
    bent = bend(kind, ends.astype(float), pulse.ratio)
    bent -= bend(kind, ticks.astype(float), pulse.ratio)[:, None]
    expected = bent * pulse.tick_s[:, None]
    costs = read_lines(COSTS)
    spread = costs["jitter_s"] + costs["jitter_share"] * expected
    off = (np.nan_to_num(gap, nan=1.0)[:, None] - expected) / spread
    logs = np.maximum(-2.5 * np.log1p(off**2 / 4), -costs["timing_most"])
    logs[-1] = 0.0
    step = evidence.step.copy()
    step[kept] += costs["timing"] * (logs - logs.max(axis=1, keepdims=True))
    return replace(evidence, step=step)
