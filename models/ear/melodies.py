"""Random performances of dance-like tunes: the notes that the training audio is made from.

In     : a numpy random generator, a range of pitch, habits of a player.
Out    : Played, arrays over notes in order of onset, with how each note is begun.
Method : scale steps with a preference for small ones, arpeggios and repeated notes over a bar of
         dance rhythm; then ornaments in the manner of players: cuts, taps, rolls, crans,
         triplets, grace runs. Nothing comes from a collection of tunes.
References: ornaments as described in G. Larsen, "The Essential Guide to Irish Flute and Tin
         Whistle", 2003 (from memory); lengths 25 to 60 ms as in trade use.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

SCALES = (
    (0, 2, 4, 5, 7, 9, 11), (0, 2, 4, 5, 7, 9, 10), (0, 2, 3, 5, 7, 9, 10),
    (0, 2, 3, 5, 7, 8, 10), (0, 2, 4, 7, 9), (0, 2, 3, 5, 7, 8, 11),
)  # fmt: skip
RHYTHMS = (
    (1, 1, 1, 1), (1, 1, 1, 1), (1, 1, 1), (1, 1, 1), (2, 1), (2, 1), (1.5, 0.5, 1), (2, 2),
    (2, 1, 1), (1, 1, 2), (1.5, 0.5), (1.33, 0.67), (3,), (3, 1), (4,), (0.67, 0.67, 0.67),
    (1, 2), (0.5, 0.5, 1), (1, 0.5, 0.5), (6,),
)  # fmt: skip

TONGUE, SLUR, REPEAT_SOFT, ORNAMENT = 0, 1, 2, 3
"""How a note is begun: afresh; tied smoothly to the one before; the same pitch again with only
a dip; as or after an ornament, with no new attack of its own."""


@dataclass
class Habits:
    """How one player plays; probabilities are per note."""

    low: int
    high: int
    unit_s: float
    slur: float = 0.3
    ornaments: float = 0.15
    repeats: float = 0.1
    rests: float = 0.04
    gap: tuple[float, float] = (0.0, 0.1)
    """Range of the share of a note's time that is left empty at its end."""
    chromatic: float = 0.02
    timing_s: float = 0.006


@dataclass
class Played:
    """Notes in order of onset; each is over when or before the next begins."""

    onset_s: list[float] = field(default_factory=list)
    end_s: list[float] = field(default_factory=list)
    midi: list[int] = field(default_factory=list)
    begin: list[int] = field(default_factory=list)
    ornament: list[bool] = field(default_factory=list)

    def add(self, onset: float, end: float, midi: int, begin: int, ornament: bool) -> None:
        """Append one note."""
        self.onset_s.append(onset)
        self.end_s.append(end)
        self.midi.append(midi)
        self.begin.append(begin)
        self.ornament.append(ornament)


def play(rng: np.random.Generator, habits: Habits, start_s: float, stop_s: float) -> Played:
    """A random performance between two times."""
    pitches = _Line(rng, habits)
    played = Played()
    now = start_s
    while now < stop_s - 0.05:
        for beats in RHYTHMS[rng.integers(len(RHYTHMS))]:
            length = beats * habits.unit_s
            end = min(now + length, stop_s)
            if end - now < 0.05:
                break
            if rng.random() < habits.rests:
                now = end
                continue
            _note(rng, habits, pitches, played, now, end)
            now = end
        if now >= stop_s - 0.05:
            break
    return played


class _Line:
    """A melodic line on a scale within a range."""

    def __init__(self, rng: np.random.Generator, habits: Habits) -> None:
        self.rng, self.habits = rng, habits
        scale = SCALES[rng.integers(len(SCALES))]
        tonic = int(rng.integers(12))
        self.notes = np.array(
            [m for m in range(habits.low, habits.high + 1) if (m - tonic) % 12 in scale]
        )
        self.at = int(rng.integers(len(self.notes)))
        self.middle = len(self.notes) / 2

    def next(self) -> int:
        rng = self.rng
        if rng.random() >= self.habits.repeats:
            kind = rng.random()
            size = 1 if kind < 0.58 else 2 if kind < 0.83 else int(rng.integers(3, 8))
            up = rng.random() < 0.5 - 0.06 * (self.at - self.middle)
            step = size if up else -size
            if not 0 <= self.at + step < len(self.notes):
                step = -step
            self.at = int(np.clip(self.at + step, 0, len(self.notes) - 1))
        midi = int(self.notes[self.at])
        if rng.random() < self.habits.chromatic:
            midi += int(rng.choice((-1, 1)))
        return int(np.clip(midi, self.habits.low, self.habits.high))

    def above(self, midi: int) -> int:
        """A higher note to cut with."""
        return midi + int(self.rng.choice((1, 2, 2, 3, 3, 4, 5)))

    def below(self, midi: int) -> int:
        """A lower note to tap with."""
        return midi - int(self.rng.choice((1, 2, 2, 3)))


def _note(
    rng: np.random.Generator,
    habits: Habits,
    line: _Line,
    played: Played,
    onset: float,
    end: float,
) -> None:
    """One written note: plain, or decorated when there is time for it."""
    midi = line.next()
    onset = max(onset + rng.normal(0, habits.timing_s), played.end_s[-1] if played.end_s else 0.0)
    if end - onset < 0.035:
        return
    length = end - onset
    sounding = end - rng.uniform(*habits.gap) * length
    begin = SLUR if rng.random() < habits.slur else TONGUE
    if played.midi and played.midi[-1] == midi and begin == SLUR:
        begin = REPEAT_SOFT
    if not played.end_s or onset - played.end_s[-1] > 0.03:
        begin = TONGUE
    if rng.random() < habits.ornaments and length > 0.09:
        _decorated(rng, line, played, onset, sounding, midi, begin)
    else:
        played.add(onset, sounding, midi, begin, False)


def _decorated(
    rng: np.random.Generator,
    line: _Line,
    played: Played,
    onset: float,
    end: float,
    midi: int,
    begin: int,
) -> None:
    length = end - onset
    kind = rng.random()
    if length > 0.3 and kind < 0.35:
        _roll(rng, line, played, onset, end, midi, begin)
    elif length > 0.22 and kind < 0.5:
        _cran(rng, line, played, onset, end, midi, begin)
    elif length > 0.16 and kind < 0.62:
        _triplet(rng, line, played, onset, end, midi, begin)
    elif length > 0.2 and kind < 0.68:
        count = int(rng.integers(2, 4))
        step = rng.uniform(0.035, 0.06)
        for i in range(count):
            grace = midi - 2 * (count - i) if rng.random() < 0.5 else midi + (i % 2) * 2
            played.add(
                onset + i * step, onset + (i + 1) * step, grace, begin if not i else SLUR, True
            )
        played.add(onset + count * step, end, midi, ORNAMENT, False)
    else:
        tap = kind > 0.86
        short = min(rng.uniform(0.022, 0.07 if tap else 0.06), 0.4 * length)
        grace = line.below(midi) if tap else line.above(midi)
        played.add(onset, onset + short, grace, begin, True)
        played.add(onset + short, end, midi, ORNAMENT, False)


def _roll(
    rng: np.random.Generator,
    line: _Line,
    played: Played,
    onset: float,
    end: float,
    midi: int,
    begin: int,
) -> None:
    """Note, cut, note, tap, note; a short roll starts with the cut."""
    thirds = np.sort(onset + (end - onset) * (np.array([1, 2]) / 3 + rng.normal(0, 0.03, 2)))
    cut, tap = rng.uniform(0.022, 0.06), rng.uniform(0.022, 0.07)
    if rng.random() < 0.75:
        played.add(onset, thirds[0], midi, begin, False)
        begin = SLUR
    else:
        thirds = np.array([onset, onset + (end - onset) * rng.uniform(0.4, 0.6)])
    played.add(thirds[0], thirds[0] + cut, line.above(midi), begin, True)
    played.add(thirds[0] + cut, thirds[1], midi, ORNAMENT, False)
    played.add(thirds[1], thirds[1] + tap, line.below(midi), SLUR, True)
    played.add(thirds[1] + tap, end, midi, ORNAMENT, False)


def _cran(
    rng: np.random.Generator,
    line: _Line,
    played: Played,
    onset: float,
    end: float,
    midi: int,
    begin: int,
) -> None:
    """Several cuts in a row on one note, each with another finger."""
    count = int(rng.integers(2, 4))
    spots = onset + (end - onset) * np.linspace(0, 1, count + 1)[:-1]
    if rng.random() < 0.6:
        spots = spots + 0.35 * (end - onset) / count
        played.add(onset, spots[0], midi, begin, False)
        begin = SLUR
    for i, spot in enumerate(spots):
        stop = spots[i + 1] if i + 1 < count else end
        short = min(rng.uniform(0.022, 0.05), 0.5 * (stop - spot))
        played.add(spot, spot + short, line.above(midi) + i, begin, True)
        played.add(spot + short, stop, midi, ORNAMENT, False)
        begin = SLUR


def _triplet(
    rng: np.random.Generator,
    line: _Line,
    played: Played,
    onset: float,
    end: float,
    midi: int,
    begin: int,
) -> None:
    """Three quick notes, of one pitch (bow or tongue) or in steps; labelled as plain notes."""
    step = min((end - onset) / 3, rng.uniform(0.05, 0.1))
    slope = int(rng.choice((0, 0, 2, -2)))
    style = TONGUE if slope == 0 or rng.random() < 0.5 else SLUR
    for i in range(3):
        stop = end if i == 2 else onset + (i + 1) * step
        played.add(onset + i * step, stop, midi + slope * i, begin if i == 0 else style, False)
