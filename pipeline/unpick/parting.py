"""Which notes are the tune, which the bass, which inner: decided together over the whole piece.

Task     part the notes of a finished page
In       Page; what the user says of single notes
Out      Parted: part and confidence of every note
Method   Best path over the moments of the page. At each, one of the struck notes or none is the
         tune, another or none the bass, the rest is inner; a reading remembers the last tune note
         and the last bass note, so that contour, crossing and the time since the tune last moved
         are priced. Prices are those of likings.py. The path is found twice: the second time with
         what the first says of every voice, string and repeated bar. Confidence of a note is the
         soft-max of the prices of the best paths on which it is tune, bass or inner.
References  Viterbi 1967 (IEEE Trans. Information Theory 13(2)).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from liltwright.tab import PartName
from liltwright.unpick.finished import PARTS
from liltwright.unpick.likings import (
    BASS,
    INNER,
    TUNE,
    MelodicPrices,
    costs,
    habits,
    likings,
    line_of,
    shares_of,
)
from liltwright.unpick.page import Moment, Page

State = tuple[int, int]
"""The last tune note and the last bass note, by index; -1 for none yet."""
NEVER = 1e9  # nats; stands for what cannot be
STEP = 2
"""Semitones of a step."""
MOST_TOGETHER = 8
"""Of more notes struck together the middle ones are inner."""


@dataclass(frozen=True, slots=True)
class Parted:
    """What every note of Page.notes is."""

    parts: tuple[PartName, ...]
    confidence: tuple[float, ...]
    shares: np.ndarray
    """Probability of tune, bass and inner, shape (notes, 3)."""


@dataclass(slots=True)
class _Step:
    """One moment of the search: states, and every way into them."""

    states: list[State] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    ways: list[tuple[int, int, int, int, float]] = field(default_factory=list)
    """From which state, into which, tune and bass note (or -1), price."""


def part_notes(page: Page, fixed: Mapping[int, PartName] | None = None) -> Parted:
    """Part a page; `fixed` says what notes (by index into Page.notes) are for certain."""
    first = likings(page, fixed or {})
    parted = _read(page, first)
    return _with_graces(page, _read(page, first + habits(page, parted.shares)))


def _read(page: Page, prices: np.ndarray) -> Parted:
    steps = _forward(page, prices.tolist(), line_of(page.tune.meter))
    shares = np.full((len(page.notes), 3), 1e-9)
    shares[:, INNER] = 1.0
    for moment, rows in zip(page.moments, _prices_of_notes(page.moments, steps), strict=True):
        for one, row in zip(moment.notes, shares_of(rows), strict=True):
            shares[one.index] = row
    chosen = [INNER] * len(page.notes)
    for tune, bass in _best(steps):
        if tune >= 0:
            chosen[tune] = TUNE
        if bass >= 0:
            chosen[bass] = BASS
    return Parted(
        tuple(PARTS[part] for part in chosen),
        tuple(round(float(shares[i, part]), 3) for i, part in enumerate(chosen)),
        shares,
    )


# ---------------------------------------------------------------- the search


def _forward(page: Page, prices: list[list[float]], line: MelodicPrices) -> list[_Step]:
    table = costs()
    most = int(table["states"])
    pitch = [one.note.midi for one in page.notes]
    at = [one.at for one in page.notes]
    rings = [one.at + one.note.length for one in page.notes]
    steps = [_Step([(-1, -1)], [0.0])]
    for moment in page.moments:
        before, step = steps[-1], _Step()
        where: dict[State, int] = {}
        choices = _choices(moment, prices, table)
        intervals: dict[tuple[int, int], float] = {}
        begins: dict[int, tuple[float, float]] = {}
        for source, (last, low) in enumerate(before.states):
            base = before.values[source]
            if last not in begins:
                begins[last] = (
                    line.place(moment.start, moment.at - at[last]) if last >= 0 else (0.0, 0.5)
                )
            starts, waits = begins[last]
            for tune, bass, price in choices:
                cost = price
                if tune >= 0:
                    cost += starts
                    if last >= 0:
                        if (last, tune) not in intervals:
                            intervals[last, tune] = line.interval(pitch[tune] - pitch[last])
                        cost += intervals[last, tune]
                        if rings[last] > moment.at:
                            cost += table["tune_cut"]
                else:
                    cost += waits
                if bass >= 0:
                    if low >= 0:
                        leap = abs(pitch[bass] - pitch[low])
                        cost += table["bass_leap"] * max(0, leap - 12)
                        if leap > STEP and moment.place != "main":
                            cost += table["bass_off_beat_leap"]
                    if tune < 0 <= last and pitch[bass] >= pitch[last]:
                        cost += table["bass_crossing"]
                state = (tune if tune >= 0 else last, bass if bass >= 0 else low)
                target = where.get(state)
                if target is None:
                    target = where[state] = len(step.states)
                    step.states.append(state)
                    step.values.append(NEVER)
                step.ways.append((source, target, tune, bass, cost))
                step.values[target] = min(step.values[target], base + cost)
        steps.append(_kept(step, most))
    return steps[1:]


def _kept(step: _Step, most: int) -> _Step:
    """The step with its cheapest states only."""
    if len(step.states) <= most:
        return step
    order = sorted(range(len(step.states)), key=lambda i: (step.values[i], step.states[i]))[:most]
    new = {old: place for place, old in enumerate(order)}
    return _Step(
        [step.states[i] for i in order],
        [step.values[i] for i in order],
        [(s, new[t], a, b, c) for s, t, a, b, c in step.ways if t in new],
    )


def _choices(
    moment: Moment, prices: list[list[float]], table: Mapping[str, float]
) -> list[tuple[int, int, float]]:
    """Tune note, bass note (or -1 for none) and the price of that reading of a moment."""
    notes = moment.notes
    if len(notes) > MOST_TOGETHER:
        half = MOST_TOGETHER // 2
        notes = (*notes[:half], *notes[-half:])
    indices = [one.index for one in notes]
    count = len(indices)
    inner = sum(prices[i][INNER] for i in indices)
    found = []
    for t, b in product(range(-1, count), repeat=2):
        if t == b >= 0 or (moment.pickup and t < 0 and count == 1 and b >= 0):
            continue
        price = inner
        rest = count
        if t >= 0:
            price += prices[indices[t]][TUNE] - prices[indices[t]][INNER]
            price += table["tune_under"] * (count - 1 - t > 0)
            rest -= 1
        if b >= 0:
            price += prices[indices[b]][BASS] - prices[indices[b]][INNER]
            price += table["bass_over"] * (b > 0)
            rest -= 1
        if 0 <= t < b:
            price += table["tune_under_bass"]
        if b >= 0 and t < 0 and rest == 0:
            price += table["bass_alone"]
        if b < 0 and moment.place == "main" and count > 1:
            price += table["bass_missing"]
        if rest:
            outside = (t < count - 1 and b < count - 1) + (t > 0 or t < 0) * (b != 0 and t != 0)
            price += table["inner_outside"] * outside
        found.append((indices[t] if t >= 0 else -1, indices[b] if b >= 0 else -1, price))
    return found


def _best(steps: Sequence[_Step]) -> list[tuple[int, int]]:
    """Tune and bass note of every moment along the best path."""
    if not steps:
        return []
    state = int(np.argmin(steps[-1].values))
    found = []
    for place in range(len(steps) - 1, -1, -1):
        before = steps[place - 1].values if place else [0.0]
        way = min(
            (way for way in steps[place].ways if way[1] == state),
            key=lambda way: (before[way[0]] + way[4], way),
        )
        found.append((way[2], way[3]))
        state = way[0]
    return found[::-1]


def _prices_of_notes(moments: Sequence[Moment], steps: Sequence[_Step]) -> list[list[list[float]]]:
    """For every moment the price of the best path on which each of its notes is each part."""
    behind = [0.0] * len(steps[-1].states) if steps else []
    rows: list[list[list[float]]] = []
    for place in range(len(steps) - 1, -1, -1):
        step = steps[place]
        before = steps[place - 1].values if place else [0.0]
        ahead = [NEVER] * len(before)
        found = {one.index: [NEVER] * 3 for one in moments[place].notes}
        least: dict[tuple[int, int], float] = {}
        for source, target, tune, bass, cost in step.ways:
            rest = cost + behind[target]
            if rest < ahead[source]:
                ahead[source] = rest
            total = before[source] + rest
            if total < least.get((tune, bass), NEVER):
                least[tune, bass] = total
        for (tune, bass), total in least.items():
            for index, row in found.items():
                part = TUNE if index == tune else BASS if index == bass else INNER
                row[part] = min(row[part], total)
        rows.append([found[one.index] for one in moments[place].notes])
        behind = ahead
    return rows[::-1]


def _with_graces(page: Page, parted: Parted) -> Parted:
    """Grace notes are what the note is that they lead to."""
    parts, confidence = list(parted.parts), list(parted.confidence)
    for one in page.notes:
        if not one.note.grace:
            continue
        near = [
            other
            for other in page.notes
            if not other.note.grace and other.bar == one.bar and other.at >= one.at
        ]
        if near:
            to = min(
                near,
                key=lambda other: (
                    other.at,
                    other.note.string != one.note.string,
                    abs(other.note.midi - one.note.midi),
                ),
            )
            parts[one.index], confidence[one.index] = parts[to.index], confidence[to.index]
    return Parted(tuple(parts), tuple(confidence), parted.shares)
