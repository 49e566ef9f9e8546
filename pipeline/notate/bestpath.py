"""Task: the best reading of heard onsets as metre, for many hypotheses at once.

In: onsets, confidence and pitch movement of the notes; hypotheses (type, metre, swing, tempo).
Out: `best_paths(...)`: for every hypothesis that stays in the running, the score position of
    every note in ticks, its smoothed time, the tempo there, and the log probability.
Method: a hidden Markov model over positions in the bar. Moving from one position to the next
    tells how long a note is; priors say how likely that is (models/rhythm). Every state carries
    its own estimate of phase and tempo, followed with a fixed-gain filter, so that the best path
    is a beam search with one survivor per position and hypothesis (an approximation of the
    switching model of Cemgil & Kappen). Timing errors follow Student's t, so that one late note
    costs a bounded amount. Three rare moves: a note that is no part of the tune is passed over,
    a breath puts time between two notes that the metre does not know, and after a stumble the
    player comes in again at another place of the bar.
References: A. T. Cemgil & B. Kappen, "Monte Carlo methods for tempo tracking and rhythm
    quantization", JAIR 18, 2003. N. Whiteley, A. T. Cemgil & S. Godsill, "Bayesian modelling of
    temporal structure in musical audio", ISMIR 2006.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.notate.rows import QUAVER, Row, bend

STUDENT = 4.0
LOG_BREATH_SILENT, LOG_BREATH_HELD = -2.5, -6.5
LOG_JUMP_SILENT, LOG_JUMP_HELD = -10.0, -13.0
LOG_PASS_OVER = -4.0
MOVEMENT_WEIGHT = 0.6
LONGEST_GAP = 3.0
KEEP = {6: 240, 12: 120, 24: 64, 44: 36, 80: 22, 140: 14}
PASS_OVER, JUMP = -1, -2


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A tune type in a metre, played with a swing ratio at a starting tempo."""

    row: Row
    ratio: float
    tick_s: float
    log_prior: float


@dataclass(frozen=True, slots=True)
class Path:
    """The best reading under one hypothesis. Arrays have one entry per heard note."""

    hypothesis: Hypothesis
    log_probability: float
    ticks: np.ndarray
    """Score position from the first bar line, in ticks; -1 for notes passed over."""
    error_s: np.ndarray
    """How late the onset is against the tempo the filter follows."""
    tick_s: np.ndarray
    """Seconds per tick after the note."""
    broken: np.ndarray
    """True where the player came in again out of metre, or took a breath before the note."""


@dataclass(frozen=True, slots=True)
class _Batch:
    """Tables of the hypotheses, padded to a common shape (hypothesis, position, move)."""

    source: np.ndarray
    warp: np.ndarray
    logp: np.ndarray
    jump: np.ndarray
    row: np.ndarray
    meter: np.ndarray

    def only(self, kept: np.ndarray) -> _Batch:
        return _Batch(
            self.source[kept],
            self.warp[kept],
            self.logp[kept],
            self.jump[kept],
            self.row[kept],
            self.meter[kept],
        )


@dataclass(frozen=True, slots=True)
class _State:
    """Survivors, shape (hypothesis, position): score, time since their last note, tempo."""

    score: np.ndarray
    ago_s: np.ndarray
    tick_s: np.ndarray

    def only(self, kept: np.ndarray) -> _State:
        return _State(self.score[kept], self.ago_s[kept], self.tick_s[kept])


@dataclass(frozen=True, slots=True)
class _Rare:
    """Log probabilities of what seldom happens at one note."""

    breath: float
    jump: float
    pass_over: float


@dataclass(frozen=True, slots=True)
class _Kept:
    """What tracing back needs of one step."""

    alive: np.ndarray
    choice: np.ndarray
    leap_from: np.ndarray
    error_s: np.ndarray
    tick_s: np.ndarray


def best_paths(
    onset_s: np.ndarray,
    confidence: np.ndarray,
    silent: np.ndarray,
    moves: np.ndarray,
    hypotheses: list[Hypothesis],
    *,
    jitter_s: float,
    keep: int = 12,
) -> list[Path]:
    """The best path of every hypothesis that survives, best first.

    onset_s, confidence : arrays, shape (n_notes,). silent : whether there is a clear silence
    before the note, where a breath may take time. moves : classes of the steps between them,
    shape (n_notes - 1,). jitter_s : standard deviation of an onset about its place.
    """
    batch = _batch(hypotheses)
    evidence = _movement_evidence(hypotheses, moves, batch.logp.shape[1])
    state = _start(hypotheses, batch)
    alive = np.arange(len(hypotheses))
    steps: list[_Kept] = []
    for i in range(1, len(onset_s)):
        gap = min(float(onset_s[i] - onset_s[i - 1]), LONGEST_GAP)
        seen = evidence[batch.row, i] if i < len(onset_s) - 1 else 0.0
        rare = _Rare(
            LOG_BREATH_SILENT if silent[i] else LOG_BREATH_HELD,
            LOG_JUMP_SILENT if silent[i] else LOG_JUMP_HELD,
            LOG_PASS_OVER - 3.0 * float(confidence[i]),
        )
        state, step = _advance(batch, state, gap, seen, rare, jitter_s, i, alive)
        steps.append(step)
        limit = KEEP.get(i, len(alive))
        if len(alive) > max(limit, keep):
            kept = _running(state, batch.meter, max(limit, keep))
            batch, state, alive = batch.only(kept), state.only(kept), alive[kept]
    ends = state.score.max(axis=1)
    paths = [
        _trace(hypotheses[name], int(name), steps, state.score[at])
        for at, name in enumerate(alive)
        if np.isfinite(ends[at])
    ]
    return sorted(paths, key=lambda path: -path.log_probability)


def _running(state: _State, meter: np.ndarray, limit: int) -> np.ndarray:
    """Which hypotheses stay: the best `limit`, and the best of every metre."""
    order = np.argsort(-state.score.max(axis=1), kind="stable")
    _, first = np.unique(meter[order], return_index=True)
    return np.unique(np.concatenate([order[:limit], order[first]]))


def _batch(hypotheses: list[Hypothesis]) -> _Batch:
    positions = max(len(h.row.positions) for h in hypotheses)
    width = max(h.row.logp.shape[1] for h in hypotheses)
    shape = (len(hypotheses), positions, width)
    source, warp = np.zeros(shape, np.int32), np.ones(shape, np.float32)
    logp = np.full(shape, -np.inf, np.float32)
    jump = np.full(shape[:2], -np.inf, np.float32)
    names = list(dict.fromkeys(id(h.row) for h in hypotheses))
    bent: dict[tuple[int, float], np.ndarray] = {}
    for at, h in enumerate(hypotheses):
        p, k = h.row.logp.shape
        source[at, :p, :k], logp[at, :p, :k] = h.row.source, h.row.logp
        name = (id(h.row), h.ratio)
        if name not in bent:
            begin = h.row.positions[h.row.source]
            bent[name] = bend(h.row, begin + h.row.length, h.ratio) - bend(h.row, begin, h.ratio)
        warp[at, :p, :k] = bent[name]
        off_beat = h.row.positions % h.row.swing_ticks != 0
        jump[at, :p] = np.where(h.row.positions % QUAVER == 0, -2.0 * off_beat, -np.inf)
    row = np.array([names.index(id(h.row)) for h in hypotheses])
    meters = list(dict.fromkeys(h.row.meter for h in hypotheses))
    meter = np.array([meters.index(h.row.meter) for h in hypotheses])
    return _Batch(source, warp, logp, jump, row, meter)


def _movement_evidence(
    hypotheses: list[Hypothesis], moves: np.ndarray, positions: int
) -> np.ndarray:
    """Shape (row, note, position): weighted log ratio of the movement in and out of each note."""
    unique = list({id(h.row): h.row for h in hypotheses}.values())
    evidence = np.zeros((len(unique), len(moves) + 1, positions), np.float32)
    for at, row in enumerate(unique):
        table = row.movement[:, moves[:-1], moves[1:]]
        evidence[at, 1:-1, : len(row.positions)] = MOVEMENT_WEIGHT * table.T
    return evidence


def _start(hypotheses: list[Hypothesis], batch: _Batch) -> _State:
    score = np.full(batch.jump.shape, -np.inf, np.float32)
    tick_s = np.ones(batch.jump.shape, np.float32)
    for at, h in enumerate(hypotheses):
        score[at, : len(h.row.start)] = h.row.start + h.log_prior
        tick_s[at] = h.tick_s
    return _State(score, np.zeros_like(score), tick_s)


def _advance(
    batch: _Batch,
    state: _State,
    gap_s: float,
    seen: np.ndarray | float,
    rare: _Rare,
    jitter_s: float,
    i: int,
    alive: np.ndarray,
) -> tuple[_State, _Kept]:
    """One note further. Shapes: h hypotheses, p positions, k moves."""
    h, p, _ = batch.source.shape
    settle = float(np.exp(-i / 8))
    flat = batch.source + (np.arange(h, dtype=np.int32) * p)[:, None, None]
    ago = state.ago_s + np.float32(gap_s)
    tick = state.tick_s.ravel()[flat]
    expected = batch.warp * tick
    error = ago.ravel()[flat] - expected
    sigma = np.float32(jitter_s) + expected * np.float32(0.02 + 0.05 * settle)
    timing = np.log1p((error / sigma) ** 2 * np.float32(1 / STUDENT))
    timing *= np.float32(-(STUDENT + 1) / 2)
    timing -= np.log(sigma)
    late = error > 4 * sigma
    timing = np.where(late, np.maximum(timing, np.float32(rare.breath)), timing)
    total = state.score.ravel()[flat] + batch.logp + timing
    choice = total.argmax(axis=2)
    pick = (np.arange(h * p) * total.shape[2]).reshape(h, p) + choice
    score, error, sigma, warp, tick = (
        table.ravel()[pick] for table in (total, error, sigma, batch.warp, tick)
    )
    inside = np.abs(error) <= 3 * sigma
    bounded = np.clip(error, -2 * sigma, 2 * sigma)
    gain = np.float32(0.10 + 0.30 * settle)
    step_s = warp * tick
    new_tick = tick + gain * (step_s / (step_s + 0.25)) * bounded / warp * inside
    new_ago = np.where(inside, 0.5 * error, 0.0)
    # coming in again anywhere
    top = state.score.argmax(axis=1)
    rows = np.arange(h)
    leap = state.score[rows, top][:, None] + (batch.jump + np.float32(rare.jump))
    leaps = leap > score
    score = np.where(leaps, leap, score)
    new_ago = np.where(leaps, 0.0, new_ago)
    new_tick = np.where(leaps, state.tick_s[rows, top][:, None], new_tick)
    choice = np.where(leaps, JUMP, choice)
    score = score + seen
    # the note is passed over
    stay = state.score + np.float32(rare.pass_over)
    stays = stay > score
    score = np.where(stays, stay, score)
    new_ago = np.where(stays, ago, new_ago)
    new_tick = np.where(stays, state.tick_s, new_tick)
    choice = np.where(stays, PASS_OVER, choice)
    kept = _Kept(alive, choice.astype(np.int8), top, error, new_tick)
    return _State(score, new_ago.astype(np.float32), new_tick.astype(np.float32)), kept


def _trace(h: Hypothesis, name: int, steps: list[_Kept], ends: np.ndarray) -> Path:
    """Follow the choices back from the best end; then count ticks forward."""
    n = len(steps) + 1
    at = int(ends.argmax())
    length = np.zeros(n, int)
    state = np.zeros(n, int)
    passed = np.zeros(n, bool)
    broken = np.zeros(n, bool)
    error, tick = np.zeros(n), np.full(n, h.tick_s)
    bar, positions = h.row.bar_ticks, h.row.positions
    for i in range(n - 1, 0, -1):
        step = steps[i - 1]
        row = int(np.searchsorted(step.alive, name))
        choice = int(step.choice[row, at])
        state[i], tick[i] = at, step.tick_s[row, at]
        if choice == PASS_OVER:
            passed[i] = True
        elif choice == JUMP:
            source = int(step.leap_from[row])
            length[i] = (positions[at] - positions[source] - 1) % bar + 1
            broken[i] = True
            at = source
        else:
            error[i] = step.error_s[row, at]
            length[i] = h.row.length[at, choice]
            broken[i] = error[i] > 0.25
            at = int(h.row.source[at, choice])
    state[0] = at
    ticks = positions[at] + np.cumsum(length)
    ticks[passed] = -1
    return Path(h, float(ends.max()), ticks, error, tick, broken)
