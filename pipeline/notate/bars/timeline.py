"""Task: lay the notes of a best path out in bars.

In: PlainNotes, the chosen MetrePath and its TempoTrack. Out: Timeline: notes with score
    positions counted from the first bar line, and bars in time.
Method: notes passed over are left out. A note lasts to the next onset; a rest is left
    only before a silence of a beat or more. The time of a bar line is that of the note on it,
    else it is interpolated in swung score time between its neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from liltwright.notate.metre.kind import QUAVER, TICKS, Kind, bend
from liltwright.notate.metre.tempo import TempoTrack
from liltwright.notate.metre.viterbi import MetrePath
from liltwright.notate.plain import PlainNotes
from liltwright.tune import Bar, HeardBar, Ornament, ScoreNote

REST_S = 0.45  # longer silence is a written rest


@dataclass(frozen=True, slots=True)
class Timeline:
    """Notes on the page in the order performed; arrays of shape (n_notes,)."""

    kind: Kind
    ratio: float
    ticks: np.ndarray
    """Score positions in ticks; bar lines are at the multiples of kind.bar_ticks."""
    length: np.ndarray
    midi: np.ndarray
    onset_s: np.ndarray
    offset_s: np.ndarray
    fit: np.ndarray
    """How surely each note was heard and fits the tempo, 0..1."""
    placed: np.ndarray
    """Probability that the note stands where it is in the bar, 0..1."""
    stepped: np.ndarray
    """Probability of the step from the note before, 0..1."""
    broken: np.ndarray
    tick_s: np.ndarray
    ornament: tuple[Ornament | None, ...]
    short: tuple[tuple[int, int], ...] = ()
    """Bars that are shorter than the metre, with their ticks; see crooked."""

    @property
    def first_bar(self) -> int:
        """Number of the first bar that has a note; negative never occurs."""
        return int(self.ticks[0] // self.kind.bar_ticks)

    @property
    def last_bar(self) -> int:
        """Number of the last bar that has a note."""
        return int(self.ticks[-1] // self.kind.bar_ticks)


def lay_out(
    notes: PlainNotes,
    path: MetrePath,
    kind: Kind,
    pulse: TempoTrack,
    *,
    placed: np.ndarray,
    stepped: np.ndarray,
) -> Timeline:
    """Put the notes of a path on the page.

    placed, stepped : probabilities of the place and the step of every note that is kept, shape
    (notes kept,), as are the arrays of the pulse.
    """
    kept = path.ticks >= 0
    sigma = np.maximum(0.03, 0.15 * pulse.tick_s * QUAVER)
    timing = np.exp(-0.5 * (pulse.error_s / sigma / 2) ** 2)
    onset, offset, ticks = notes.onset_s[kept], notes.offset_s[kept], path.ticks[kept]
    return Timeline(
        kind,
        pulse.ratio,
        ticks,
        lengths(ticks, onset, offset, pulse.tick_s, kind),
        notes.midi[kept],
        onset,
        offset,
        notes.confidence[kept] * (0.3 + 0.7 * timing),
        placed,
        stepped,
        path.jumps[kept] | pulse.waits,
        pulse.tick_s,
        tuple(o for o, k in zip(notes.ornament, kept, strict=True) if k),
    )


def lengths(
    ticks: np.ndarray, onset: np.ndarray, offset: np.ndarray, tick_s: np.ndarray, kind: Kind
) -> np.ndarray:
    """Ticks to the next onset, less a rest where a long silence comes before it.

    Players detach and singers breathe: a silence is a rest only when it is as long as a beat and
    as REST_S. Time that the metre does not know (a breath between phrases) is no part of it.
    """
    gaps = np.append(np.diff(ticks), (-ticks[-1] - 1) % kind.bar_ticks + 1)
    gap_s = np.append(np.diff(onset), max(float(offset[-1] - onset[-1]), 1e-3))
    gap_s = np.minimum(gap_s, gaps * tick_s)
    silent_s = gap_s - (offset - onset)
    resting = (silent_s >= REST_S) & (silent_s >= kind.beat_ticks * tick_s) & (gaps % QUAVER == 0)
    sounding = np.ceil((offset - onset) / tick_s / QUAVER - 0.3) * QUAVER
    found = np.where(resting, np.clip(sounding, QUAVER, gaps), gaps)
    return np.minimum(found, 2 * kind.bar_ticks).astype(int)


def heard_bars(line: Timeline) -> tuple[HeardBar, ...]:
    """Bars as performed; an incomplete first bar comes first."""
    numbers = np.arange(line.first_bar, line.last_bar + 2)
    times = bar_times(line, numbers)
    if line.ticks[0] % line.kind.bar_ticks:
        times[0] = line.onset_s[0]
    which = line.ticks // line.kind.bar_ticks
    bars = []
    for at, number in enumerate(numbers[:-1]):
        inside = np.flatnonzero(which == number)
        trust = float(line.fit[inside].mean()) if len(inside) else 0.3
        start, end = float(times[at]), float(max(times[at + 1], times[at] + 1e-3))
        bars.append(HeardBar(start, end, bar_notes(line, inside), round(trust, 3)))
    return tuple(bars)


def bar_notes(line: Timeline, inside: np.ndarray) -> Bar:
    """The chosen notes as score notes of one bar."""
    bar = line.kind.bar_ticks
    return tuple(
        ScoreNote(
            int(line.midi[i]),
            Fraction(int(line.ticks[i] % bar), TICKS),
            Fraction(int(line.length[i]), TICKS),
            line.ornament[i],
        )
        for i in inside
    )


def bar_times(line: Timeline, numbers: np.ndarray) -> np.ndarray:
    """Seconds at which the given bars begin."""
    lines = numbers * line.kind.bar_ticks
    bent = bend(line.kind, passing(line, line.ticks).astype(float), line.ratio)
    bent_lines = passing(line, lines).astype(float)
    times = np.interp(bent_lines, bent, line.onset_s)
    before, after = bent_lines < bent[0], bent_lines > bent[-1]
    times[before] = line.onset_s[0] - (bent[0] - bent_lines[before]) * line.tick_s[0]
    times[after] = line.onset_s[-1] + (bent_lines[after] - bent[-1]) * line.tick_s[-1]
    return times


def passing(line: Timeline, ticks: np.ndarray) -> np.ndarray:
    """Score positions without what the short bars before them lack, as time passes."""
    lacking = np.zeros_like(ticks)
    for number, length in line.short:
        end = (number + 1) * line.kind.bar_ticks
        lacking += np.where(ticks >= end, line.kind.bar_ticks - length, 0)
    return ticks - lacking
