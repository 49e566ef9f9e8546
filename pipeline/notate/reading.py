"""Task: decide type, metre, swing, tempo and bar lines of a performance, all in one.

In: PlainNotes and what the user fixed. Out: Reading: the Timeline, its Structure, and ranked types.
Method: best paths over every hypothesis (bestpath); for the best path of each type and metre,
    every phase of the bar lines is scored by the priors (phase) and by how the tune repeats under
    it (structure). All are log probabilities of the same notes and add up. The winner is read
    once more with swing and jitter fitted to the recording.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.notate.bestpath import Hypothesis, Path, best_paths
from pipeline.notate.hypotheses import hypotheses
from pipeline.notate.kind import log_kinds, rows_of
from pipeline.notate.moves import move_classes
from pipeline.notate.phase import shift_scores
from pipeline.notate.plain import PlainNotes
from pipeline.notate.rows import QUAVER
from pipeline.notate.structure import Structure, find_structure
from pipeline.notate.timeline import Timeline, lay_out
from pipeline.tune import TuneType

JITTER_S = 0.015
CANDIDATES = 6
MARGIN = 60.0
SHIFTS_TRIED = 4
PICKUP_COST = 1.0
TEMPERATURE = 8.0


@dataclass(frozen=True, slots=True)
class Reading:
    """How a performance is read."""

    line: Timeline
    structure: Structure
    types: tuple[tuple[TuneType, float], ...]
    """Types with probabilities, best first."""


@dataclass(frozen=True, slots=True)
class _Option:
    path: Path
    shift: int
    score: float


def read_rhythm(
    notes: PlainNotes,
    *,
    tune_type: TuneType | None = None,
    meter: str | None = None,
    beats_per_minute: float | None = None,
    first_bar_s: float | None = None,
) -> Reading:
    """The best reading of the notes. Raises UsageError when the fixed values exclude each other."""
    options = hypotheses(tune_type=tune_type, meter=meter, beats_per_minute=beats_per_minute)
    moves = move_classes(notes.midi)
    paths = best_paths(notes.onset_s, notes.confidence, moves, options, jitter_s=JITTER_S)
    ranked = [_best_shift(notes, path, first_bar_s) for path in _leaders(paths)]
    ranked.sort(key=lambda option: -option.score)
    best = ranked[0]
    path = _fitted(notes, moves, best.path)
    if not np.array_equal(path.ticks, best.path.ticks):
        best = _best_shift(notes, path, first_bar_s)
    line = lay_out(notes, best.path, shift_ticks=best.shift)
    types = _type_ranking(notes, ranked, line, fixed=tune_type)
    kind = types[0][0]
    row = next(r for r in rows_of(line.row.meter) if r.tune_type == kind)
    line = replace(line, row=row)
    return Reading(line, find_structure(line), types)


def _leaders(paths: list[Path]) -> list[Path]:
    """The best path of every metre and tempo, best first; those far behind are left out."""
    found: dict[tuple[str, int], Path] = {}
    for path in paths:
        if path.log_probability > paths[0].log_probability - MARGIN:
            speed = round(float(np.log2(np.median(path.tick_s))) * 3)
            found.setdefault((path.hypothesis.row.meter, speed), path)
    return list(found.values())[:CANDIDATES]


def _best_shift(notes: PlainNotes, path: Path, first_bar_s: float | None) -> _Option:
    line = lay_out(notes, path)
    bar = line.row.bar_ticks
    base = int(path.ticks[path.ticks >= 0][0] // bar * bar)
    assert base == 0 or base == bar
    priors = shift_scores(line)
    if first_bar_s is not None:
        at = int(np.argmin(np.abs(line.onset_s - first_bar_s)))
        return _Option(path, int(-line.ticks[at] % bar), path.log_probability)
    tried = sorted(priors, key=lambda shift: -priors[shift])[:SHIFTS_TRIED]
    best = _Option(path, 0, -np.inf)
    structure: dict[int, float] = {}

    def explained(shift: int) -> float:
        shift %= bar
        if shift not in structure:
            structure[shift] = find_structure(lay_out(notes, path, shift_ticks=shift)).score
        return structure[shift]

    for shift in tried:
        parts = max(
            explained(shift + pickup) - PICKUP_COST * (pickup > 0)
            for pickup in range(0, min(bar // 2, 3 * QUAVER) + 1, QUAVER)
        )
        score = path.log_probability + priors[shift] - priors[0] + parts
        if score > best.score:
            best = _Option(path, shift, score)
    return best


def _fitted(notes: PlainNotes, moves: np.ndarray, path: Path) -> Path:
    """Read again near the best hypothesis, with its own jitter and swing."""
    h = path.hypothesis
    kept = path.ticks >= 0
    error = np.abs(path.error_s[kept][8:])
    jitter = float(np.clip(1.2 * np.median(error), 0.006, 0.03)) if len(error) else JITTER_S
    tick_s = float(np.median(path.tick_s[: max(len(kept) // 10, 8)]))
    near: list[Hypothesis] = [
        replace(h, ratio=max(h.ratio * factor, 1.0), tick_s=tick_s)
        for factor in (1.0, 0.8, 0.9, 1.1, 1.22)
    ]
    return best_paths(notes.onset_s, notes.confidence, moves, near, jitter_s=jitter)[0]


def _type_ranking(
    notes: PlainNotes, ranked: list[_Option], line: Timeline, *, fixed: TuneType | None
) -> tuple[tuple[TuneType, float], ...]:
    """Types with probabilities; the winner's metre first decides which types are possible."""
    if fixed is not None:
        return ((fixed, 1.0),)
    lines = [line] + [lay_out(notes, one.path, shift_ticks=one.shift) for one in ranked[1:]]
    weight = np.exp((np.array([one.score for one in ranked]) - ranked[0].score) / TEMPERATURE)
    weight /= weight.sum()
    chance: dict[TuneType, float] = {}
    best: dict[TuneType, float] = {}
    for at, one in enumerate(lines):
        for kind, log_p in log_kinds(one.ticks, one.tick_s, one.ratio, one.row).items():
            p = float(weight[at] * np.exp(log_p))
            chance[kind] = chance.get(kind, 0.0) + p
            if at == 0:
                best[kind] = p
    kinds = sorted(chance, key=lambda kind: -chance[kind])
    winner = max(best, key=lambda kind: best[kind])
    kinds.sort(key=lambda kind: kind != winner)
    return tuple((kind, chance[kind]) for kind in kinds if chance[kind] > 1e-4)
