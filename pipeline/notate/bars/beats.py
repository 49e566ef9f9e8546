"""Task: the beats of a performance as they passed, and which of them are one beat of the page.

In: Timeline. Out: `beats_of(line) -> Beats`: notes on a grid of beats that follows the clock,
    whatever the bar lines say; for every beat the first beat of the performance that it repeats.
Method: score time runs on from note to note; where the page jumps the clock says how many beats
    went by. A beat repeats another where a stretch of REACH_BEATS or more about it sounds like
    the stretch about the other; of several the longest stretch counts.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from liltwright.notate.bars.timeline import Timeline
from liltwright.notate.form.similarity import SLOT
from liltwright.notate.metre.kind import Kind

REACH_BEATS, REACH_BARS = 8, 3  # stretch by which a beat is known again: the longer of the two
ALIKE, BESIDE_BEATS = 0.75, 4
"""Share of slots that agree where two beats are one, and the reach of a look about."""
MOST_LAG = 1024
"""So far back a beat is looked for: eight rounds of 32 bars of 4/4. A nearer round repeats it as
well, and so an hour of playing takes time in step with its length."""
NEAR = 0.25
"""Time is lost or left over by whole beats when it is off by less than that share of one."""


@dataclass(frozen=True, slots=True)
class Beats:
    """A performance by beats; arrays of shape (n_beats,) unless said otherwise."""

    unit: int
    """Ticks of a beat: a crotchet, in compound time a dotted one."""
    in_bar: int
    """Beats of a full bar."""
    beat: np.ndarray
    """Beat of every note, shape (n_notes,)."""
    inside: np.ndarray
    """Ticks of every note after its beat, shape (n_notes,)."""
    place: np.ndarray
    """Where in the bar the reading has the beat, 0..in_bar-1."""
    sounds: np.ndarray
    """Sounding pitch in every semiquaver of every beat, shape (n_beats, slots)."""
    root: np.ndarray
    """The first beat that this one repeats; itself when it repeats none."""

    def passes(self, at: int) -> tuple[int, int]:
        """How often what lies before beat `at` leads on to what follows it, and how often either
        of them is played, this time included."""
        reach = max(BESIDE_BEATS, self.in_bar)
        before, after = self._like(at, range(-reach, 0)), self._like(at, range(reach))
        return int((before & after).sum()), int((before | after).sum())

    def _like(self, at: int, reach: range) -> np.ndarray:
        """About which beats it sounds as about `at`, over this reach; shape (n_beats,)."""
        n = len(self.sounds)
        total, count = np.zeros(n), np.zeros(n, int)
        for by in reach:
            others = np.arange(max(-by, 0), min(n - by, n))
            if 0 <= at + by < n:
                total[others] += (self.sounds[at + by] == self.sounds[others + by]).mean(axis=1)
                count[others] += 1
        return (count >= self.in_bar) & (total >= ALIKE * count)


def unit_of(kind: Kind) -> int:
    """Ticks of a beat: a crotchet, in compound time a dotted one."""
    return 36 if kind.compound else 24


def beats_of(line: Timeline, jumps: np.ndarray) -> Beats:
    """The beats of a reading. `jumps` marks notes before which its page jumps."""
    unit = unit_of(line.kind)
    in_bar = line.kind.bar_ticks // unit
    step = np.diff(line.ticks)
    passed = np.diff(line.onset_s) / line.tick_s[1:]
    more = (passed - step) / unit
    slips = (np.abs(more - np.round(more)) < NEAR) & ((more > 0.5) | (more < -0.5) & (step >= unit))
    slips |= jumps[1:]
    step = step + unit * np.where(slips, np.round(more), 0).astype(int)
    step += unit * np.where(step <= 0, 1 - step // unit, 0)
    played = line.ticks[0] % line.kind.bar_ticks + np.append(0, np.cumsum(step))
    first = played[0] // unit
    beat = played // unit - first
    count = int(beat[-1]) + 1
    place = (np.arange(count) + first) % in_bar
    shift = np.zeros(count, int)
    for at in 1 + np.flatnonzero(slips):
        shift[beat[at] :] = (line.ticks[at] - played[at]) // unit
    sounds = _sounds(played - first * unit, line.midi, count, unit)
    reach = max(REACH_BEATS, REACH_BARS * in_bar)
    place = (place + shift) % in_bar
    root = _roots(sounds, reach, in_bar)
    return Beats(unit, in_bar, beat, played % unit, place, sounds, root)


def _sounds(ticks: np.ndarray, midi: np.ndarray, count: int, unit: int) -> np.ndarray:
    """Sounding pitch in every semiquaver of every beat, shape (count, slots)."""
    at = np.searchsorted(ticks, np.arange(count * (unit // SLOT)) * SLOT + SLOT // 2, "right") - 1
    return np.where(at >= 0, midi[np.maximum(at, 0)], 0).reshape(count, -1)


def _roots(sounds: np.ndarray, reach: int, in_bar: int) -> np.ndarray:
    n = len(sounds)
    longest, lag_of = np.zeros(n, int), np.zeros(n, int)
    moves = (sounds[1:] == sounds[:-1]).mean(axis=1) < ALIKE
    for lag in range(in_bar, min(n - reach, MOST_LAG)):
        alike = (sounds[lag:] == sounds[:-lag]).mean(axis=1)
        same = alike >= ALIKE
        pinned = same[:-1] & same[1:] & moves[lag:]  # a long note may lie anywhere
        for begin, end in _stretches(alike, reach):
            pins = begin + np.flatnonzero(pinned[begin : end - 1])
            if not len(pins):
                continue
            tied = pins[0] + np.flatnonzero(same[pins[0] : pins[-1] + 2])
            better = lag + tied[longest[lag + tied] < len(tied)]
            lag_of[better], longest[better] = lag, len(tied)
    return _tied(lag_of, in_bar)


def _stretches(alike: np.ndarray, reach: int) -> Iterator[tuple[int, int]]:
    """Where `reach` beats in a row are alike on the whole: (first, end)."""
    sums = np.append(0.0, np.cumsum(alike))
    starts = 1 + np.flatnonzero(sums[reach:] - sums[:-reach] >= ALIKE * reach)
    change = np.zeros(len(alike) + 2, np.int32)
    change[starts] += 1
    change[starts + reach] -= 1
    edges = np.flatnonzero(np.diff(np.cumsum(change) > 0))
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def _tied(lag_of: np.ndarray, in_bar: int) -> np.ndarray:
    """The first beat of every chain of lags; what is played twice inside a bar is not one beat."""
    root = np.arange(len(lag_of))
    top = -1
    before = -1
    for at, lag in enumerate(lag_of.tolist()):
        mine = int(root[at - lag]) if lag else at
        if 0 <= before - mine < in_bar:
            top = before
        elif mine > top or mine < top - in_bar:
            top = -1
        root[at] = at if top >= 0 else mine
        before = mine
    return root
