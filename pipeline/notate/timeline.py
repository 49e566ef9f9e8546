"""Task: lay the notes of a best path out in bars.

In: PlainNotes and the chosen Path. Out: Timeline: notes with score positions counted from the
    first bar line, and bars in time.
Method: notes passed over are left out. A note lasts to the next onset; a rest is left
    only before a silence of a beat or more. The time of a bar line is that of the note on it,
    else it is interpolated in swung score time between its neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from pipeline.notate.bestpath import Path
from pipeline.notate.plain import PlainNotes
from pipeline.notate.rows import QUAVER, TICKS, Row, bend
from pipeline.tune import Bar, HeardBar, Ornament, ScoreNote

REST_S = 0.45


@dataclass(frozen=True, slots=True)
class Timeline:
    """Notes on the page in the order performed; arrays of shape (n_notes,)."""

    row: Row
    ratio: float
    ticks: np.ndarray
    """Score positions in ticks; bar lines are at the multiples of row.bar_ticks."""
    length: np.ndarray
    midi: np.ndarray
    onset_s: np.ndarray
    offset_s: np.ndarray
    fit: np.ndarray
    """How surely each note is where it is, 0..1: its own confidence and its timing."""
    broken: np.ndarray
    tick_s: np.ndarray
    ornament: tuple[Ornament | None, ...]

    @property
    def first_bar(self) -> int:
        """Number of the first bar that has a note; negative never occurs."""
        return int(self.ticks[0] // self.row.bar_ticks)

    @property
    def last_bar(self) -> int:
        """Number of the last bar that has a note."""
        return int(self.ticks[-1] // self.row.bar_ticks)


def lay_out(notes: PlainNotes, path: Path, *, shift_ticks: int = 0) -> Timeline:
    """Put the notes of a path on the page; `shift_ticks` moves every bar line."""
    kept = path.ticks >= 0
    row = path.hypothesis.row
    ticks = path.ticks[kept] + shift_ticks
    ticks = ticks - (ticks[0] // row.bar_ticks) * row.bar_ticks
    sigma = np.maximum(0.03, 0.15 * path.tick_s[kept] * QUAVER)
    timing = np.exp(-0.5 * (path.error_s[kept] / sigma / 2) ** 2)
    onset, offset = notes.onset_s[kept], notes.offset_s[kept]
    return Timeline(
        row,
        path.hypothesis.ratio,
        ticks,
        lengths(ticks, onset, offset, path.tick_s[kept], row),
        notes.midi[kept],
        onset,
        offset,
        notes.confidence[kept] * (0.3 + 0.7 * timing),
        path.broken[kept],
        path.tick_s[kept],
        tuple(o for o, k in zip(notes.ornament, kept, strict=True) if k),
    )


def lengths(
    ticks: np.ndarray, onset: np.ndarray, offset: np.ndarray, tick_s: np.ndarray, row: Row
) -> np.ndarray:
    """Ticks to the next onset, less a rest where a long silence comes before it.

    Players detach and singers breathe: a silence is a rest only when it is as long as a beat and
    as REST_S. Time that the metre does not know (a breath between phrases) is no part of it.
    """
    gaps = np.append(np.diff(ticks), (-ticks[-1] - 1) % row.bar_ticks + 1)
    gap_s = np.append(np.diff(onset), max(float(offset[-1] - onset[-1]), 1e-3))
    gap_s = np.minimum(gap_s, gaps * tick_s)
    silent_s = gap_s - (offset - onset)
    resting = (silent_s >= REST_S) & (silent_s >= row.beat_ticks * tick_s) & (gaps % QUAVER == 0)
    sounding = np.ceil((offset - onset) / tick_s / QUAVER - 0.3) * QUAVER
    found = np.where(resting, np.clip(sounding, QUAVER, gaps), gaps)
    return np.minimum(found, 2 * row.bar_ticks).astype(int)


def heard_bars(line: Timeline) -> tuple[HeardBar, ...]:
    """Bars as performed; an incomplete first bar comes first."""
    numbers = np.arange(line.first_bar, line.last_bar + 2)
    times = bar_times(line, numbers)
    if line.ticks[0] % line.row.bar_ticks:
        times[0] = line.onset_s[0]
    which = line.ticks // line.row.bar_ticks
    bars = []
    for at, number in enumerate(numbers[:-1]):
        inside = np.flatnonzero(which == number)
        trust = float(line.fit[inside].mean()) if len(inside) else 0.3
        start, end = float(times[at]), float(max(times[at + 1], times[at] + 1e-3))
        bars.append(HeardBar(start, end, bar_notes(line, inside), round(trust, 3)))
    return tuple(bars)


def bar_notes(line: Timeline, inside: np.ndarray) -> Bar:
    """The chosen notes as score notes of one bar."""
    bar = line.row.bar_ticks
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
    lines = numbers * line.row.bar_ticks
    bent = bend(line.row, line.ticks.astype(float), line.ratio)
    bent_lines = lines.astype(float)
    times = np.interp(bent_lines, bent, line.onset_s)
    before, after = bent_lines < bent[0], bent_lines > bent[-1]
    times[before] = line.onset_s[0] - (bent[0] - bent_lines[before]) * line.tick_s[0]
    times[after] = line.onset_s[-1] + (bent_lines[after] - bent[-1]) * line.tick_s[-1]
    return times
