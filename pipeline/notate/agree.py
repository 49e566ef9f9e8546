"""Task: let the passes of a printed bar agree on its rhythm.

In: Timeline and Form. Out: the Timeline with the score positions of some notes moved.
Method: passes that play the same pitches in the same order were read from the same page. Where
    their note values differ, the reading that most passes have wins; among equals the one that is
    likelier under the priors, drawn towards the habits of this recording. A breath or a hurried
    group in one pass is so put right by the others. Passes with other notes are left alone: they
    are variants, and fold keeps them apart.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import replace

import numpy as np

from pipeline.notate.form import Form
from pipeline.notate.phase import dense
from pipeline.notate.rows import Row, adapted
from pipeline.notate.timeline import Timeline, lengths

EACH_PASS = 3.0
HABIT = 12.0


def settled(line: Timeline, form: Form) -> Timeline:
    """The timeline with equal passes made equal. `form` counts bars from line.first_bar."""
    bar = line.row.bar_ticks
    which = line.ticks // bar - line.first_bar
    inside = {int(b): np.flatnonzero(which == b) for b in np.unique(which)}
    row = adapted(line.row, line.ticks, HABIT)
    ticks = line.ticks.copy()
    for passes in _passes(form):
        groups: dict[tuple[int, ...], list[int]] = defaultdict(list)
        for one in passes:
            if one in inside:
                groups[tuple(line.midi[inside[one]].tolist())].append(one)
        for same in groups.values():
            starts = {b: tuple((line.ticks[inside[b]] % bar).tolist()) for b in same}
            if len(set(starts.values())) > 1:
                best = _best(list(starts.values()), row)
                for b in same:
                    ticks[inside[b]] = (b + line.first_bar) * bar + np.array(best)
    if np.array_equal(ticks, line.ticks):
        return line
    length = lengths(ticks, line.onset_s, line.offset_s, line.tick_s, line.row)
    return replace(line, ticks=ticks, length=length)


def _passes(form: Form) -> list[list[int]]:
    """Bars of the performance by printed part and bar."""
    found: dict[tuple[int, int], list[int]] = defaultdict(list)
    for segment in form.segments:
        for at in range(segment.bars):
            found[segment.label, segment.skipped + at].append(segment.first + at)
    return list(found.values())


def _best(starts: list[tuple[int, ...]], row: Row) -> tuple[int, ...]:
    votes = Counter(starts)
    return max(votes, key=lambda one: (EACH_PASS * votes[one] + _log_prior(one, row), one))


def _log_prior(starts: tuple[int, ...], row: Row) -> float:
    moves = dense(row)[0]
    ends = (*starts[1:], row.bar_ticks)
    return float(sum(moves[a, b - a] for a, b in zip(starts, ends, strict=True)))
