"""Task: the likeliest way through the bar, metre by metre.

In: Emissions of the metre network. Out: `best_paths(...)`: for every metre allowed, the score
    position of every note and the log score of the whole.
Method: a Viterbi path over places. The network's word on the step from note to note counts
    fully; its word on places, which repeats itself from note to note, counts a part. A note may
    be passed over as no part of the tune (at most MOST_PASSED in a row), and the page may jump.
    Linear in the number of notes.
Reference: L. R. Rabiner, "A tutorial on hidden Markov models", Proc. IEEE 77(2), 1989.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from liltwright.models import read_lines
from liltwright.notate.metre.network import Emissions
from liltwright.notate.metre.places import Places, places

COSTS = "metre/costs.json"
MOST_PASSED = 3  # notes passed over in a row


@dataclass(frozen=True, slots=True)
class MetrePath:
    """One metre's reading. Arrays have one entry per heard note."""

    meter: str
    score: float
    ticks: np.ndarray
    """Score position from the first bar line, in ticks; -1 for notes passed over."""
    jumps: np.ndarray
    """True where the page jumps before the note."""


@dataclass(frozen=True, slots=True)
class Told:
    """A reading with what the networks say of its notes; those that it passes over are left out."""

    path: MetrePath
    said: Emissions

    @staticmethod
    def of(path: MetrePath, said: Emissions) -> Told:
        """Of a path and emissions over all heard notes."""
        kept = path.ticks >= 0
        path = replace(path, ticks=path.ticks[kept], jumps=path.jumps[kept])
        return Told(path, said.of(kept))


@dataclass(frozen=True, slots=True)
class _Table:
    """Best scores and where they come from, shape (n_notes, places)."""

    score: np.ndarray
    note: np.ndarray
    place: np.ndarray
    """Place of the note before; -1 - place after a jump."""


def best_paths(evidence: Emissions, *, meters: tuple[str, ...]) -> list[MetrePath]:
    """The best path of every metre, best first."""
    table = places()
    emit = read_lines(COSTS)["place"] * evidence.place + evidence.real[:, :1]
    emit[:, ~np.isin(table.meter, [table.meters.index(m) for m in meters])] = -np.inf
    found = _forward(evidence, emit, table)
    paths = [_trace(evidence, found, which, table) for which in range(len(table.meters))
             if table.meters[which] in meters]  # fmt: skip
    return sorted((p for p in paths if p is not None), key=lambda path: -path.score)


def _forward(evidence: Emissions, emit: np.ndarray, table: Places) -> _Table:
    n, size = emit.shape
    costs = read_lines(COSTS)
    score = np.full((n, size), -np.inf)
    note, place = np.full((n, size), -1), np.zeros((n, size), int)
    passed = np.cumsum(np.append(0.0, evidence.real[:, 1] - costs["pass"]))
    unreachable = np.where(table.source < 0, -np.inf, 0.0)
    moved = np.full((n, size), -np.inf)  # best way into each place from note j, by place
    came = np.zeros((n, size), int)
    rows = np.arange(size)
    members = [np.flatnonzero(table.meter == m) for m in range(len(table.meters))]
    for i in range(n):
        best = np.full(size, -np.inf)
        if i <= MOST_PASSED:
            best[:] = passed[i] - costs["first_passed"] * (i > 0)
        for j in range(i - 1, max(i - 2 - MOST_PASSED, -1), -1):
            value = moved[j] + (passed[i] - passed[j + 1]) + evidence.jump[i, 1]
            better = value > best
            best = np.where(better, value, best)
            note[i] = np.where(better, j, note[i])
            place[i] = np.where(better, came[j], place[i])
        if i:
            for inside in members:
                top = inside[score[i - 1, inside].argmax()]
                value = score[i - 1, top] + evidence.jump[i, 0] - costs["jump"]
                better = inside[value > best[inside]]
                best[better], note[i, better], place[i, better] = value, i - 1, -1 - top
        score[i] = best + emit[i]
        steps = score[i][table.source] + evidence.step[i][None, :] + unreachable
        choice = steps.argmax(axis=1)
        moved[i], came[i] = steps[rows, choice], table.source[rows, choice]
    return _Table(score, note, place)


def _trace(evidence: Emissions, found: _Table, which: int, table: Places) -> MetrePath | None:
    """Follow the choices back from the best end of one metre; then count ticks forward."""
    n = len(found.score)
    inside = np.flatnonzero(table.meter == which)
    left = np.cumsum(evidence.real[::-1, 1] - read_lines(COSTS)["pass"])[::-1]
    ends = [(found.score[i, inside].max() + (left[i + 1] if i + 1 < n else 0.0), i)
            for i in range(max(n - 1 - MOST_PASSED, 0), n)]  # fmt: skip
    best, at = max(ends)
    if not np.isfinite(best):
        return None
    state = int(inside[found.score[at, inside].argmax()])
    where, jumps = np.full(n, -1), np.zeros(n, bool)
    while at >= 0:
        where[at] = state
        before, previous = int(found.note[at, state]), int(found.place[at, state])
        jumps[at] = before >= 0 and previous < 0
        at, state = before, previous if previous >= 0 else -1 - previous
    return MetrePath(
        table.meters[which], float(best), _counted(evidence, where, jumps, which, table), jumps
    )


def _counted(
    evidence: Emissions, where: np.ndarray, jumps: np.ndarray, which: int, table: Places
) -> np.ndarray:
    """Ticks from the first bar line; of the steps that fit two places the likeliest is meant."""
    bar = table.bar_ticks[which]
    kept = np.flatnonzero(where >= 0)
    ticks = np.full(len(where), -1)
    at = ticks[kept[0]] = table.ticks[where[kept[0]]]
    for one, other in pairwise(kept):
        apart = (table.ticks[where[other]] - table.ticks[where[one]] - 1) % bar + 1
        if not jumps[other]:
            fits = np.flatnonzero((table.steps - apart) % bar == 0)
            apart = table.steps[fits[evidence.step[one, fits].argmax()]]
        at = ticks[other] = at + apart
    return ticks
