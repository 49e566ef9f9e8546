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
from pipeline.notate.kind import group_of, log_kinds
from pipeline.notate.moves import move_classes
from pipeline.notate.phase import shift_scores
from pipeline.notate.plain import PlainNotes
from pipeline.notate.rows import QUAVER, adapted
from pipeline.notate.structure import Structure, find_structure
from pipeline.notate.timeline import Timeline, lay_out
from pipeline.tune import TuneType

JITTER_S = 0.015
CANDIDATES = 6
MARGIN = 60.0
SHIFTS_TRIED = 4
PICKUP_COST = 1.0
TEMPERATURE = 8.0
KIND_WEIGHT = 8.0
PATHS_EACH = 2
SAME_BEATS = 0.75
FIT_TOLERANCE = 6.0
HABIT = 12.0
STRUCTURE_WEIGHT = 1.0


@dataclass(frozen=True, slots=True)
class Reading:
    """How a performance is read."""

    line: Timeline
    structure: Structure
    types: tuple[tuple[TuneType, float], ...]
    """Types with probabilities, best first."""


@dataclass(frozen=True, slots=True)
class _Candidate:
    """The best path of one metre at one speed, as the likeliest type of that metre."""

    path: Path
    kinds: tuple[tuple[TuneType, float], ...]
    """Types of the metre with their share of its probability, best first."""
    bonus: float
    """What type and metre add to the log score."""


@dataclass(frozen=True, slots=True)
class _Option:
    """A candidate with its bar lines in place."""

    candidate: _Candidate
    shift: int
    score: float
    explained: float
    """The part of the score that comes from repetition."""


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
    paths = best_paths(
        notes.onset_s, notes.confidence, notes.silent, moves, options, jitter_s=JITTER_S
    )
    allowed = {id(option.row) for option in options}
    ranked = [
        _best_shift(notes, candidate, first_bar_s) for candidate in _candidates(paths, allowed)
    ]
    ranked.sort(key=lambda option: -option.score)
    best = ranked[0]
    fitted = replace(best.candidate, path=_fitted(notes, moves, best))
    again = _best_shift(notes, fitted, first_bar_s)
    if again.explained > best.explained - FIT_TOLERANCE:
        best = again
    line = lay_out(notes, best.candidate.path, shift_ticks=best.shift)
    return Reading(line, find_structure(line), _type_ranking(ranked))


def _candidates(paths: list[Path], allowed: set[int]) -> list[_Candidate]:
    """The readings to look at closely, best first."""
    found: list[_Candidate] = []
    seen: dict[tuple[str, int], list[np.ndarray]] = {}
    highest: dict[tuple[str, int], float] = {}
    for path in paths:
        row = path.hypothesis.row
        speed = round(float(np.log2(np.median(path.tick_s))) * 3 + 0.2)
        rhythm = np.diff(path.ticks)
        if path.log_probability < paths[0].log_probability - MARGIN:
            break
        known = seen.setdefault((row.meter, speed), [])
        if len(known) == PATHS_EACH or any(np.array_equal(rhythm, one) for one in known):
            continue
        known.append(rhythm)
        group = (group_of(row.meter)[0].meter, speed)
        top = highest.setdefault(group, path.log_probability)
        found.append(_candidate(path, SAME_BEATS * (top - path.log_probability), allowed))
    found.sort(key=lambda one: -one.path.log_probability - one.bonus)
    return found[:CANDIDATES]


def _candidate(path: Path, allowance: float, allowed: set[int]) -> _Candidate:
    """A path as the likeliest type of its metre. allowance : added to its log score."""
    meter, kept = path.hypothesis.row.meter, path.ticks >= 0
    logs = log_kinds(path.ticks[kept], path.tick_s[kept], path.hypothesis.ratio, meter)
    kinds = {row: p for row, p in logs.items() if row.meter == meter and id(row) in allowed}
    best = max(kinds, key=lambda row: kinds[row])
    total = np.logaddexp.reduce(list(kinds.values()))
    shares = tuple(
        (row.tune_type, float(np.exp(kinds[row] - total)))
        for row in sorted(kinds, key=lambda row: -kinds[row])
    )
    path = replace(path, hypothesis=replace(path.hypothesis, row=best))
    return _Candidate(path, shares, allowance + KIND_WEIGHT * kinds[best])


def _best_shift(notes: PlainNotes, candidate: _Candidate, first_bar_s: float | None) -> _Option:
    path = candidate.path
    own = path.log_probability + candidate.bonus
    line = lay_out(notes, path)
    bar = line.row.bar_ticks
    priors = shift_scores(line)
    if first_bar_s is not None:
        at = int(np.argmin(np.abs(line.onset_s - first_bar_s)))
        return _Option(candidate, int(-line.ticks[at] % bar), own, 0.0)
    tried = sorted(priors, key=lambda shift: -priors[shift])[:SHIFTS_TRIED]
    structure: dict[int, float] = {}

    def explained(shift: int) -> float:
        shift %= bar
        if shift not in structure:
            structure[shift] = find_structure(lay_out(notes, path, shift_ticks=shift)).score
        return structure[shift]

    best = _Option(candidate, 0, -np.inf, 0.0)
    for shift in tried:
        parts = max(
            explained(shift + pickup) - PICKUP_COST * (pickup > 0)
            for pickup in range(0, min(bar // 2, 3 * QUAVER) + 1, QUAVER)
        )
        score = own + priors[shift] - priors[0] + STRUCTURE_WEIGHT * parts
        if score > best.score:
            best = _Option(candidate, shift, score, parts)
    return best


def _fitted(notes: PlainNotes, moves: np.ndarray, option: _Option) -> Path:
    """Read again near the best hypothesis, with the jitter, swing and habits of this recording."""
    path = option.candidate.path
    h = path.hypothesis
    kept = path.ticks >= 0
    error = np.abs(path.error_s[kept][8:])
    jitter = float(np.clip(1.2 * np.median(error), 0.006, 0.03)) if len(error) else JITTER_S
    tick_s = float(np.median(path.tick_s[: max(len(kept) // 10, 8)]))
    row = adapted(h.row, path.ticks[kept] + option.shift, HABIT)
    near = [
        Hypothesis(row, max(h.ratio * factor, 1.0), tick_s, 0.0)
        for factor in (1.0, 0.84, 0.92, 1.08, 1.18)
    ]
    best = best_paths(notes.onset_s, notes.confidence, notes.silent, moves, near, jitter_s=jitter)[
        0
    ]
    return replace(best, hypothesis=replace(best.hypothesis, row=h.row))


def _type_ranking(ranked: list[_Option]) -> tuple[tuple[TuneType, float], ...]:
    """Types with probabilities; the best reading's first type leads."""
    weight = np.exp((np.array([one.score for one in ranked]) - ranked[0].score) / TEMPERATURE)
    chance: dict[TuneType, float] = {}
    for one, w in zip(ranked, weight / weight.sum(), strict=True):
        for kind, p in one.candidate.kinds:
            chance[kind] = chance.get(kind, 0.0) + float(w) * p
    first = ranked[0].candidate.kinds[0][0]
    kinds = sorted(chance, key=lambda kind: (kind != first, -chance[kind]))
    return tuple((kind, chance[kind]) for kind in kinds if chance[kind] > 1e-4)
