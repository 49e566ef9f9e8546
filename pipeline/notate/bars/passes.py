"""Task: let the passes of a printed bar agree on its rhythm.

In: Timeline and Form. Out: the Timeline with the score positions of some notes moved.
Method: passes that play the same pitches in the same order were read from the same page. Where
    their note values differ, the reading that most passes have wins; among equals the one that the
    metre network is surer of. A breath or a hurried group in one pass is so put right by the
    others. Passes with other notes are left alone: they are variants, and fold keeps them apart.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

import numpy as np

from liltwright.notate.bars.timeline import Timeline, lengths
from liltwright.notate.form.segments import Form


def settled(line: Timeline, form: Form) -> Timeline:
    """The timeline with equal passes made equal. `form` counts bars from line.first_bar."""
    bar = line.kind.bar_ticks
    which = line.ticks // bar - line.first_bar
    inside = {int(b): np.flatnonzero(which == b) for b in np.unique(which)}
    ticks = line.ticks.copy()
    for passes in passes_of_bars(form):
        groups: dict[tuple[int, ...], list[int]] = defaultdict(list)
        for one in passes:
            if one in inside:
                groups[tuple(line.midi[inside[one]].tolist())].append(one)
        for same in groups.values():
            starts = {b: tuple((line.ticks[inside[b]] % bar).tolist()) for b in same}
            if len(set(starts.values())) > 1:
                best = _best(starts, {b: float(line.placed[inside[b]].mean()) for b in same})
                for b in same:
                    ticks[inside[b]] = (b + line.first_bar) * bar + np.array(best)
    if np.array_equal(ticks, line.ticks):
        return line
    length = lengths(ticks, line.onset_s, line.offset_s, line.tick_s, line.kind)
    return replace(line, ticks=ticks, length=length)


def passes_of_bars(form: Form) -> list[list[int]]:
    """Bars of the performance by printed part and bar."""
    found: dict[tuple[int, int], list[int]] = defaultdict(list)
    for segment in form.segments:
        for at in range(segment.bars):
            found[segment.label, segment.skipped + at].append(segment.first + at)
    return list(found.values())


def _best(starts: dict[int, tuple[int, ...]], trust: dict[int, float]) -> tuple[int, ...]:
    """The reading with most votes; `trust` of each bar, 0..1, breaks ties."""
    votes: dict[tuple[int, ...], float] = defaultdict(float)
    for bar, one in starts.items():
        votes[one] += 1.0 + 0.9 * trust[bar] / len(starts)
    return max(votes, key=lambda one: (votes[one], one))
