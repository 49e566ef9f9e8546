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

from pipeline.dances import dances
from pipeline.notate.bestpath import Hypothesis, Path, best_paths
from pipeline.notate.hypotheses import hypotheses, log_tempo_prior
from pipeline.notate.kind import log_kinds
from pipeline.notate.moves import move_classes
from pipeline.notate.phase import shift_scores
from pipeline.notate.plain import PlainNotes
from pipeline.notate.rows import QUAVER, Row, adapted
from pipeline.notate.structure import Structure, find_structure
from pipeline.notate.timeline import Timeline, lay_out
from pipeline.tune import TuneType

JITTER_S = 0.015
CANDIDATES = 6
MARGIN, FAR = 90.0, 200.0
SHIFTS_TRIED = 4
PATHS_EACH = 2
PICKUP_COST = 1.0
FIT_TOLERANCE = 6.0
HABIT = 12.0
# Weights of the log scores of a reading, fitted to performances of the training split. The notes
# of a path depend on each other more than the model knows, hence the small weight.
PATH_WEIGHT, TEMPO_WEIGHT, KIND_WEIGHT = 0.38, 0.7, 12.0
PARTS_WEIGHT, PHASE_WEIGHT, PICKUP_PHASE_WEIGHT = 1.0, 1.1, 0.65
BREAK_COST = 4.0
METER_BONUS = {"9/8": 16.0, "3/4": 10.0, "12/8": -20.0}
TEMPERATURE = 5.0
RIVAL = 2.0


@dataclass(frozen=True, slots=True)
class Reading:
    """How a performance is read."""

    line: Timeline
    structure: Structure
    types: tuple[tuple[TuneType, float], ...]
    """Types with probabilities, best first."""
    passed_over_s: np.ndarray
    """Onsets of the notes that are no part of the tune."""
    other_meter: str | None = None
    """Another metre that fits nearly as well."""


@dataclass(frozen=True, slots=True)
class _Candidate:
    """The best path of one metre at one speed, and the likeliest type of that metre."""

    path: Path
    row: Row
    """The row of the likeliest type; the path may have been found under another's."""
    kinds: tuple[tuple[TuneType, float], ...]
    """Types of the metre with their share of its probability, best first."""
    score: float
    """Weighted log score of the path, its type and its tempo."""


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
    line = replace(line, row=best.candidate.row)
    passed_over = notes.onset_s[best.candidate.path.ticks < 0]
    return Reading(line, find_structure(line), _type_ranking(ranked), passed_over, _rival(ranked))


def _candidates(paths: list[Path], allowed: set[int]) -> list[_Candidate]:
    """The readings to look at closely, best first."""
    found: list[_Candidate] = []
    seen: dict[tuple[str, int], list[np.ndarray]] = {}
    for path in paths:
        row = path.hypothesis.row
        speed = round(float(np.log2(np.median(path.tick_s))) * 3 + 0.2)
        rhythm = np.diff(path.ticks)
        behind = paths[0].log_probability - path.log_probability
        known = seen.setdefault((row.meter, speed), [])
        another = any(these for (meter, _), these in seen.items() if meter == row.meter)
        if behind > (MARGIN if another else FAR):
            continue
        if len(known) == PATHS_EACH or any(np.array_equal(rhythm, one) for one in known):
            continue
        known.append(rhythm)
        found.append(_candidate(path, allowed))
    found.sort(key=lambda one: -one.score)
    return found[:CANDIDATES]


def _candidate(path: Path, allowed: set[int]) -> _Candidate:
    """A path as the likeliest type of its metre."""
    meter, kept = path.hypothesis.row.meter, path.ticks >= 0
    logs = log_kinds(path.ticks[kept], path.tick_s[kept], path.hypothesis.ratio, meter)
    kinds = {row: p for row, p in logs.items() if row.meter == meter and id(row) in allowed}
    best = max(kinds, key=lambda row: kinds[row])
    total = np.logaddexp.reduce(list(kinds.values()))
    shares = tuple(
        (row.tune_type, float(np.exp(kinds[row] - total)))
        for row in sorted(kinds, key=lambda row: -kinds[row])
    )
    score = (
        PATH_WEIGHT * (path.log_probability - path.hypothesis.log_prior)
        + TEMPO_WEIGHT * _tempo_prior(path, best)
        + KIND_WEIGHT * float(total)
        + METER_BONUS.get(meter, 0.0)
        - BREAK_COST * int(path.broken.sum())
    )
    return _Candidate(path, best, shares, score)


def _tempo_prior(path: Path, row: Row) -> float:
    bpm = 60 / (float(np.median(path.tick_s)) * row.beat_ticks)
    return log_tempo_prior(dances()[row.tune_type], bpm)


def _best_shift(notes: PlainNotes, candidate: _Candidate, first_bar_s: float | None) -> _Option:
    path = candidate.path
    line = lay_out(notes, path)
    bar = line.row.bar_ticks
    priors = shift_scores(line)
    if first_bar_s is not None:
        at = int(np.argmin(np.abs(line.onset_s - first_bar_s)))
        return _Option(candidate, int(-line.ticks[at] % bar), candidate.score, 0.0)
    tried = sorted(priors, key=lambda shift: -priors[shift])[:SHIFTS_TRIED]
    structure: dict[int, float] = {}

    def explained(shift: int) -> float:
        shift %= bar
        if shift not in structure:
            structure[shift] = find_structure(lay_out(notes, path, shift_ticks=shift)).score
        return structure[shift]

    best = _Option(candidate, 0, -np.inf, 0.0)
    top = max(explained(shift) for shift in tried)
    for shift in tried:
        before_pickup = max(
            explained(shift + pickup) - PICKUP_COST * (pickup > 0)
            for pickup in range(0, min(bar // 2, 3 * QUAVER) + 1, QUAVER)
        )
        parts = (
            PARTS_WEIGHT * top
            + PHASE_WEIGHT * (explained(shift) - top)
            + PICKUP_PHASE_WEIGHT * (before_pickup - top)
        )
        score = candidate.score + priors[shift] - priors[0] + parts
        if score > best.score:
            best = _Option(candidate, shift, score, parts)
    return best


def _fitted(notes: PlainNotes, moves: np.ndarray, option: _Option) -> Path:
    """Read again near the best hypothesis, with the jitter, swing and habits of this recording."""
    path, row = option.candidate.path, option.candidate.row
    h = path.hypothesis
    kept = path.ticks >= 0
    error = np.abs(path.error_s[kept][8:])
    jitter = float(np.clip(1.2 * np.median(error), 0.006, 0.03)) if len(error) else JITTER_S
    tick_s = float(np.median(path.tick_s[: max(len(kept) // 10, 8)]))
    habits = adapted(row, path.ticks[kept] + option.shift, HABIT)
    near = [
        Hypothesis(habits, max(h.ratio * factor, 1.0), tick_s, 0.0)
        for factor in (1.0, 0.84, 0.92, 1.08, 1.18)
    ]
    best = best_paths(notes.onset_s, notes.confidence, notes.silent, moves, near, jitter_s=jitter)[
        0
    ]
    return replace(best, hypothesis=replace(best.hypothesis, row=row))


def _rival(ranked: list[_Option]) -> str | None:
    """The next best metre, when it is not far behind."""
    first = ranked[0]
    for one in ranked[1:]:
        if one.candidate.row.meter != first.candidate.row.meter:
            near = one.score > first.score - RIVAL * TEMPERATURE
            return one.candidate.row.meter if near else None
    return None


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
