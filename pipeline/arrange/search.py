"""One best path for melody and bass: places, fingers, hand position and bass notes together.

Task: finger the melody and choose the bass so that one pair of hands can play both.
In:   the Moments of a tune on a setup, and the states that each melody note may take.
Out:  ChosenPath: the melody's states, the bass struck and ringing at each event, the exact cost.
Method: dynamic programming over the events. A state is (way of holding the melody note; bass
    that rings, or the pitch struck last; whether that was between beats and came from below or
    above, and how the bass of the last main beat lay below the melody). What a move asks of the
    hand depends on melody states alone and what it asks of the ear on bass states alone, so that
    each step splits into two minimisations; what both ask of the hand together belongs to the
    states. No beam: the path is the optimum of the stated costs. Among equals the first state in
    order is taken.
References: Bellman 1957, Dynamic Programming; Sayegh 1989, Computer Music Journal 13(3), for
    fingering as a cheapest path.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from liltwright.arrange.bass import Board, Policy
from liltwright.arrange.moments import NONE, MomentCosts, Tables
from liltwright.guitar.states import NEVER

RELATIONS = 3  # of a bass to the one before: the three of the next line
ON_BEAT, FROM_BELOW, FROM_ABOVE = 0, 1, 2  # classes of what the melody meets under it
SIDES = 3 * RELATIONS
"""Relation on the last main beat; with the last bass note on a beat, or off it from below (or
repeated), or off it from above."""


@dataclass(frozen=True, slots=True)
class ChosenPath:
    """What the search chose.

    stops : state of each melody note, an index into States
    struck : way of the bass struck at each event, an index into Board; -1 for none
    rings : way of the bass that sounds from each event on; -1 for none
    ticks : exact cost
    """

    stops: tuple[int, ...]
    struck: tuple[int, ...]
    rings: tuple[int, ...]
    ticks: int


def best_path(tables: Tables, choices: Sequence[np.ndarray], policy: Policy) -> ChosenPath:
    """The cheapest path; choices are the states (indices into States) of each melody note."""
    moments = tables.moments(choices, policy)
    spots = tables.spots
    width = len(spots.midi) + len(spots.pitches) + 1
    value = np.full((len(choices[0]), SIDES, width), NEVER, dtype=np.int32)
    value[:, NONE, -1] = tables.start(choices[0])
    values = [value]
    for moment in moments:
        value = _forward(value, moment, spots)
        values.append(value)
    return _back(values, moments, tables, choices)


# ---------------------------------------------------------------- forward


def _forward(value: np.ndarray, moment: MomentCosts, spots: Board) -> np.ndarray:
    """Cheapest way into every state of the next event, shape (states, SIDES, width)."""
    ways = len(spots.midi)
    arrived = _arrive(value, moment, spots, 0)
    out = np.full_like(arrived, NEVER)
    if not moment.opens_bar:
        out[:, :, :ways] = arrived[:, :, :ways] + moment.held[:, None]
    out[:, :, ways:] = _remembered(arrived, spots) + moment.quiet
    out += moment.missed
    if moment.main:
        # Without a bass on the beat, the next note has nothing to be parallel to or to step from.
        merged = out.min(axis=1)
        merged[:, -1] = merged[:, ways:].min(axis=1)
        merged[:, ways:-1] = NEVER
        out[:, 1:] = NEVER
        out[:, NONE] = merged
    if moment.slot:
        allowed = moment.struck.min(axis=0) < NEVER
        for finger in np.unique(spots.finger[allowed]).tolist():
            used = np.flatnonzero(allowed & (spots.finger == finger))
            source = arrived if not finger else _arrive(value, moment, spots, finger)
            _strike(_remembered(source, spots), moment, spots, used, out)
    return np.minimum(out, NEVER)


def _arrive(value: np.ndarray, moment: MomentCosts, spots: Board, finger: int) -> np.ndarray:
    """Cheapest way into each melody state, the bass not yet decided.

    finger : the finger that a new bass note takes, which may have to leave the melody
    """
    if moment.move is None:
        return value
    flat = value.reshape(len(value), -1)
    columns = np.flatnonzero(flat.min(axis=0) < NEVER)
    source = flat[:, columns] + moment.hop[finger][:, None]
    out = np.full((moment.move.shape[1], flat.shape[1]), NEVER, dtype=np.int32)
    out[:, columns] = (source[:, None, :] + moment.move[:, :, None]).min(axis=0)
    spread = out.reshape(len(out), *value.shape[1:])
    spread[:, :, : len(spots.midi)] += moment.reused[:, None]
    return np.minimum(spread, NEVER)


def _remembered(value: np.ndarray, spots: Board) -> np.ndarray:
    """Cheapest value for each pitch struck last, whether it still rings or not."""
    ways = len(spots.midi)
    silent = value[:, :, ways:].copy()
    rang = np.minimum.reduceat(value[:, :, :ways], spots.first, axis=2)
    silent[:, :, :-1] = np.minimum(silent[:, :, :-1], rang)
    return silent


def _comes(spots: Board, ways: np.ndarray) -> np.ndarray:
    """Whether each way comes from below or above the last pitch, shape (pitches + 1, ways)."""
    before = np.append(np.arange(len(spots.pitches)), -1)
    return np.where(before[:, None] <= spots.pitch[ways], FROM_BELOW, FROM_ABOVE)


def _strike(
    source: np.ndarray, moment: MomentCosts, spots: Board, used: np.ndarray, out: np.ndarray
) -> None:
    """Lower `out` where striking one of the ways `used` is the cheapest; source by memory."""
    for side in range(SIDES):
        walked, relation = divmod(side, RELATIONS)
        if source[:, side].min() >= NEVER:
            continue
        steps = source[:, side, :, None] + moment.leading[walked][:, used]
        if not moment.main:
            for came in (FROM_BELOW, FROM_ABOVE):
                way = np.where(_comes(spots, used) == came, 0, NEVER)
                total = np.minimum((steps + way).min(axis=1), NEVER) + moment.struck[:, used]
                target = came * RELATIONS + relation
                out[:, target, used] = np.minimum(out[:, target, used], total)
            continue
        total = steps.min(axis=1) + moment.struck[:, used] + moment.parallel[relation, used]
        for now in range(RELATIONS):
            these = moment.relation[used] == now
            columns = used[these]
            out[:, now, columns] = np.minimum(out[:, now, columns], total[:, these])


# ---------------------------------------------------------------- and back


def _back(
    values: list[np.ndarray],
    moments: Sequence[MomentCosts],
    tables: Tables,
    choices: Sequence[np.ndarray],
) -> ChosenPath:
    """Find the path again from the stored values, last event first."""
    spots = tables.spots
    ways = len(spots.midi)
    target = np.unravel_index(int(values[-1].argmin()), values[-1].shape)
    state, side, place = (int(i) for i in target)
    ticks = int(values[-1][state, side, place])
    stops = [0] * len(choices)
    struck, rings = [], []
    for number in range(len(moments) - 1, -1, -1):
        note = tables.line.events[number].note
        stops[note] = int(choices[note][state])
        rings.append(place if place < ways else -1)
        totals = _into(values[number], moments[number], spots, state, side, place)
        strikes, best = min(
            ((strikes, int(total.argmin())) for strikes, total in enumerate(totals)),
            key=lambda found: int(totals[found[0]].flat[found[1]]),
        )
        struck.append(place if strikes else -1)
        state, side, place = (int(i) for i in np.unravel_index(best, values[number].shape))
    return ChosenPath(tuple(stops), tuple(reversed(struck)), tuple(reversed(rings)), ticks)


def _into(
    value: np.ndarray, moment: MomentCosts, spots: Board, state: int, side: int, place: int
) -> tuple[np.ndarray, np.ndarray]:
    """Ticks from every state before into one state: without a strike, and with one."""
    ways = len(spots.midi)
    base = value.astype(np.int64)
    if moment.move is None:
        stay = np.full(base.shape, NEVER, dtype=np.int64)
        stay[state] = base[state]
        base = stay
    else:
        base = base + moment.move[:, state, None, None]
        base[:, :, :ways] += moment.reused[state]
    return (
        _unstruck(base, moment, spots, state, side, place),
        _newly_struck(base, moment, spots, state, side, place),
    )


def _unstruck(
    base: np.ndarray, moment: MomentCosts, spots: Board, state: int, side: int, place: int
) -> np.ndarray:
    ways = len(spots.midi)
    out = np.full(base.shape, 8 * NEVER, dtype=np.int64)
    forgets = moment.main and place == base.shape[2] - 1
    if moment.main and (side != NONE or (place >= ways and not forgets)):
        return out
    sides = slice(None) if moment.main else slice(side, side + 1)
    if place < ways:
        if not moment.opens_bar:
            out[:, sides, place] = base[:, sides, place] + moment.held[state, place]
    elif forgets:
        out = base + moment.quiet
    else:
        out[:, sides, place] = base[:, sides, place] + moment.quiet
        same = np.flatnonzero(spots.pitch == place - ways)
        out[:, sides, same] = base[:, sides, same] + moment.quiet
    return out + moment.missed


def _newly_struck(
    base: np.ndarray, moment: MomentCosts, spots: Board, state: int, side: int, place: int
) -> np.ndarray:
    ways = len(spots.midi)
    out = np.full(base.shape, 8 * NEVER, dtype=np.int64)
    if place >= ways or not moment.slot:
        return out
    memory = np.concatenate([spots.pitch, np.arange(len(spots.pitches) + 1)])
    for before in range(SIDES):
        walked, relation = divmod(before, RELATIONS)
        if moment.main:
            after = np.full(len(memory), moment.relation[place])
        else:
            after = _comes(spots, np.array([place]))[memory, 0] * RELATIONS + relation
        cost = moment.leading[walked][memory, place] + moment.parallel[relation, place]
        reached = base[:, before] + cost + moment.struck[state, place]
        out[:, before] = np.where(after == side, reached, 8 * NEVER)
    return out + moment.hop[int(spots.finger[place])][:, None, None]
