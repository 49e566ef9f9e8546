"""Random performances to train the metre network on.

In: pages (page.py), a seeded generator. Out: `perform(...) -> Notes`: what an ear could hand on
    (onset, offset, pitch) and, for every note, where it truly stands on the page.
Method: some rounds with drifting tempo, rubato, swing or lilt, breaths, hesitations and restarts,
    late starts and early ends; then faults.py spoils them as an ear would. Ranges are wider than
    those of real players on purpose. Independent of the performer in tests/benchmark.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from liltwright.models.metre.page import Page
from liltwright.models.metre.rounds import AT, LONG, MIDI, PLAYED, SINCE, TREBLE, rounds

QUAVER_S = {
    # seconds of a quaver at the usual tempi of models/dances (fastest, slowest)
    "reel": (0.130, 0.167), "jig": (0.160, 0.200), "slip jig": (0.160, 0.200),
    "hop jig": (0.138, 0.167), "slide": (0.133, 0.167), "hornpipe": (0.167, 0.231),
    "polka": (0.207, 0.250), "waltz": (0.200, 0.333), "mazurka": (0.188, 0.273),
    "strathspey": (0.176, 0.273), "barn dance": (0.150, 0.214), "march": (0.240, 0.375),
    "air": (0.333, 0.667),
}  # fmt: skip
MOST_SWING = {
    "reel": 1.5, "hornpipe": 3.0, "barn dance": 2.6, "waltz": 1.5, "march": 1.5, "polka": 1.3,
    "air": 1.4, "mazurka": 1.8, "strathspey": 1.2,
}  # fmt: skip
LEAST_GAP_S = 0.045
NOWHERE = -(10**6)
SOFT, SOFT_SHARE = (1.2, 2.1), 0.6
"""Crotchet to quaver in compound time: 2 as written, less as slides are played."""


@dataclass(frozen=True, slots=True)
class Notes:
    """Heard notes and their truth; arrays of shape (n_notes,)."""

    onset_s: np.ndarray
    offset_s: np.ndarray
    midi: np.ndarray
    ticks: np.ndarray
    """Score position from the first bar line; NOWHERE for a note that is not on the page."""
    since: np.ndarray
    broken: np.ndarray
    """True where the page jumps before the note: a restart, or a bar that is cut short."""
    treble: np.ndarray
    kind: str
    meter: str

    def only(self, kept: np.ndarray) -> Notes:
        """The chosen notes."""
        return Notes(
            self.onset_s[kept], self.offset_s[kept], self.midi[kept], self.ticks[kept],
            self.since[kept], self.broken[kept], self.treble[kept], self.kind, self.meter,
        )  # fmt: skip


def play(
    page: Page, kin: list[Page], rng: np.random.Generator, others: Sequence[Page] = ()
) -> Notes:
    """One performance as it sounds, without faults of hearing; arguments as of rounds.rounds."""
    rows, kind = rounds(page, kin, rng, others)
    clock, quaver_s = _clock(int(rows[0, PLAYED]), int(rows[-1, PLAYED]), kind, page, rng)
    rows, broken, hold_s = _restarted(rows, page, rng)
    due, end = clock(rows[:, PLAYED]), clock(rows[:, PLAYED] + rows[:, LONG])
    if page.meter.endswith("/8") and rng.random() < SOFT_SHARE:
        due = _softened(rows, due, clock, float(rng.uniform(*SOFT)))
    gap = np.diff(due, prepend=due[0])
    back = np.flatnonzero(hold_s > 0)
    gap[back] = (end - due)[back - 1] + hold_s[back]
    gap += _breaths(rows, page, quaver_s, rng)
    jitter = float(rng.uniform(0.004, 0.028))
    onset = np.cumsum(gap) + np.clip(rng.normal(0, jitter, len(gap)), -2.2 * jitter, 2.2 * jitter)
    for at in range(1, len(onset)):
        onset[at] = max(onset[at], onset[at - 1] + LEAST_GAP_S)
    notes = Notes(
        onset, onset + _sounding(onset, end - due, rng), rows[:, MIDI], rows[:, AT],
        rows[:, SINCE], broken, rows[:, TREBLE].astype(bool), kind, page.meter,
    )  # fmt: skip
    return notes.only(_recorded(len(onset), rng))


def _clock(
    first: int, last: int, kind: str, page: Page, rng: np.random.Generator
) -> tuple[Callable[[np.ndarray], np.ndarray], float]:
    """Ticks to seconds, and the seconds of a quaver."""
    compound = page.meter.endswith("/8")
    unit = 36 if compound else 24
    slow = rng.uniform(1.0, 1.6) if rng.random() < 0.75 else rng.uniform(0.8, 2.6)
    quaver_s = float(rng.uniform(*QUAVER_S[kind]) * slow)
    low, high = first // unit - 2, last // unit + 12
    count = high - low
    loose = float(rng.choice([0.003, 0.008, 0.02])) if kind != "air" else rng.uniform(0.01, 0.08)
    steps = rng.normal(0, loose, count)
    wander = np.zeros(count)
    for at in range(1, count):
        wander[at] = 0.97 * wander[at - 1] + steps[at]
    rush = rng.normal(0.0, 0.03) * np.linspace(-1, 1, count)
    lengths = quaver_s * (unit / 12) * np.exp(np.clip(wander + rush, -0.5, 0.5))
    times = np.concatenate([[0.0], np.cumsum(lengths)])
    knots, heights = _lilt(rng) if compound else _swing(kind, rng)

    def clock(ticks: np.ndarray) -> np.ndarray:
        whole, inside = np.divmod(ticks, unit)
        bent = np.where(inside % 3 == 0, np.interp(inside, knots, heights), inside / unit)
        at = np.clip(whole - low, 0, count - 1)
        return times[at] + bent * lengths[at]

    return clock, quaver_s


def _lilt(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Three quavers: the first long, the second short, or even; dotted pairs more or less so."""
    share = np.array([1.0, 1.0, 1.0])
    share += rng.uniform(0, 1.3) * np.array([0.22, -0.2, -0.02]) * (rng.random() < 0.85)
    share += rng.normal(0, 0.02, 3)
    first, second = share[0] / share.sum(), share[1] / share.sum()
    dot = first + second * float(rng.uniform(0.3, 0.6))
    return np.array([0, 12, 18, 24, 36]), np.array([0, first, dot, first + second, 1.0])


def _softened(
    rows: np.ndarray, due: np.ndarray, clock: Callable[[np.ndarray], np.ndarray], soft: float
) -> np.ndarray:
    """When notes are due, the quaver after a crotchet earlier than written."""
    after = np.append(False, (rows[:-1, PLAYED] % 36 == 0) & (rows[:-1, LONG] == 24))
    after &= rows[:, PLAYED] % 36 == 24
    low, high = clock(rows[:, PLAYED] - 24), clock(rows[:, PLAYED] + 12)
    return np.where(after, low + (high - low) * soft / (1 + soft), due)


def _swing(kind: str, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Two quavers in long and short, dotted pairs and snaps sharper or softer than written."""
    ratio = float(np.exp(rng.uniform(0, np.log(MOST_SWING.get(kind, 1.2)))))
    first = ratio / (1 + ratio)
    dotted = min(max(first * float(rng.uniform(1.3, 1.6)), first + 0.04), 0.88)
    snap = first * float(rng.uniform(0.38, 0.6))
    return np.array([0, 6, 12, 18, 24]), np.array([0, snap, first, dotted, 1.0])


def _restarted(
    rows: np.ndarray, page: Page, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Now and then the player stops and begins a bar, two bars or the part again."""
    broken = np.append(False, np.diff(rows[:, AT]) != np.diff(rows[:, PLAYED]))
    hold_s = np.zeros(len(rows))
    for _ in range(int(rng.choice(3, p=[0.87, 0.1, 0.03]))):
        stop = int(rng.integers(8, max(len(rows) - 4, 9)))
        if stop >= len(rows) - 2:
            continue
        bars = int(rng.choice([0, 1, 2, max(int(rows[stop, SINCE]), 0)]))
        line = (rows[stop, AT] // page.bar - bars) * page.bar
        again = int(np.argmax(rows[:, AT] >= line))
        if again > stop:
            continue
        order = np.concatenate([np.arange(stop + 1), np.arange(again, len(rows))])
        rows, broken, hold_s = rows[order], broken[order], hold_s[order]
        broken[stop + 1] = True
        hold_s[stop + 1] = float(rng.uniform(0.0, 1.2)) + 1e-3
    return rows, broken, hold_s


def _breaths(rows: np.ndarray, page: Page, quaver_s: float, rng: np.random.Generator) -> np.ndarray:
    """Time that the metre does not know, before some notes: breaths, hesitations, held notes."""
    extra = np.zeros(len(rows))
    phrase = page.bar * int(rng.choice([2, 4, 8]))
    begins = np.append(False, np.diff(rows[:, AT] // phrase) != 0)
    likely = float(rng.choice([0.0, 0.0, 0.1, 0.4]))
    extra += begins * (rng.random(len(rows)) < likely) * rng.uniform(0.05, 0.45, len(rows))
    seldom = float(rng.choice([0.0, 0.0, 0.003, 0.012]))
    extra += (rng.random(len(rows)) < seldom) * rng.uniform(0.5, 5.0, len(rows)) * quaver_s
    return extra


def _sounding(onset: np.ndarray, due: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """How long notes sound: detached more or less, a rest where the page has one."""
    gap = np.append(np.diff(onset), due[-1])
    room = np.minimum(gap, np.maximum(due, 0.04))
    share = rng.uniform(0.0, 0.35) if rng.random() < 0.8 else rng.uniform(0.3, 0.7)
    legato = rng.random(len(onset)) < rng.uniform(0, 1)
    return np.maximum(room * np.where(legato, 1.0, 1 - share * rng.random(len(onset))), 0.03)


def _recorded(count: int, rng: np.random.Generator) -> np.ndarray:
    """Whole, or begun late, or broken off."""
    first, last = 0, count
    if rng.random() < 0.15:
        first = int(rng.integers(0, min(24, count // 3)))
    if rng.random() < 0.2:
        last = count - int(rng.integers(0, count // 3))
    return np.arange(first, last)
