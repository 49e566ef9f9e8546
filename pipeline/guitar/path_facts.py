"""What a melody's path shows when it is counted: facts for the reasons.

Task: count shifts, open strings, free bass beats and hard bars along one path.
In: the tune's line, the stops of its optimal path with their ticks. Out: PathFacts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from liltwright.guitar.hand import costs, shift_seconds
from liltwright.guitar.melody import MelodyLine
from liltwright.guitar.states import TICKS, Stop


@dataclass(frozen=True, slots=True)
class PathFacts:
    """One path, counted; bars by their printed numbers.

    top_fret : highest fret, from the capo; open_share : share of notes on open strings
    shift_bars : with a shift that no open string frees
    rushed_bars : with a shift that takes longer than there is time at the tune's tempo
    free_share : share of bass beats that leave strings 4 to 6 free
    ring_share : share of notes that change string
    hardest : at most two bars that cost far more than the usual bar
    open_strings : strings that the melody plays open
    """

    top_fret: int
    open_share: float
    shift_bars: tuple[int, ...]
    rushed_bars: tuple[int, ...]
    free_share: float
    ring_share: float
    hardest: tuple[int, ...]
    open_strings: frozenset[int] = frozenset()


def path_facts(line: MelodyLine, stops: Sequence[Stop], ticks: Sequence[int]) -> PathFacts:
    """Count one path; ticks are the cost of each note with the way into it."""
    pairs = list(pairwise(stops))
    shifts = {
        line.bar_number[k + 1]
        for k, (a, b) in enumerate(pairs)
        if a.finger and b.finger and a.position != b.position
    }
    rushed = {line.bar_number[k + 1] for k, (a, b) in enumerate(pairs) if _rushed(line, k, a, b)}
    beats = [stop for stop, on_beat in zip(stops, line.on_beat, strict=True) if on_beat]
    return PathFacts(
        max(stop.fret for stop in stops),
        sum(stop.fret == 0 for stop in stops) / len(stops),
        tuple(sorted(shifts)),
        tuple(sorted(rushed)),
        sum(stop.string <= 3 for stop in beats) / max(len(beats), 1),
        sum(a.string != b.string for a, b in pairs) / max(len(pairs), 1),
        _hardest(line, ticks),
        frozenset(stop.string for stop in stops if not stop.fret),
    )


def _rushed(line: MelodyLine, k: int, a: Stop, b: Stop) -> bool:
    """Whether the hand needs longer than it has between two notes."""
    if a.position == b.position:
        return False
    sounding = line.seconds[k] - line.gap_s[k]
    share = costs()["shift_share"] if a.finger else 1.0
    guided = costs()["guide_share"] if a.finger == b.finger and a.string == b.string else 1.0
    need = shift_seconds(a.position, b.position) * guided
    return need > line.gap_s[k] + sounding * share


def _hardest(line: MelodyLine, ticks: Sequence[int]) -> tuple[int, ...]:
    """At most two bars that cost more than a hurry and twice what the middle bar costs."""
    by_bar: Counter[int] = Counter()
    for bar, cost in zip(line.bar_number, ticks, strict=True):
        by_bar[bar] += cost
    usual = float(np.median(list(by_bar.values())))
    hard = [bar for bar, cost in by_bar.most_common(2) if cost > max(2.0 * usual, TICKS)]
    return tuple(sorted(hard))
