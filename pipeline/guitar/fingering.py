"""Exact fingering of a melody: the cheapest path over string, fret, finger and hand position.

Task: finger every note of a tune on one setup, or on many at once.
In: a MelodyLine of notes, setups as what their open strings sound.
Out: for each setup the cheapest path and its exact cost in ticks.
Method: dynamic programming over the states of each note (states.py), many setups side by side
in numpy. No beam: the path is the optimum of the stated costs. Among equally cheap paths the
one with the lowest state numbers counted from the end is taken, so results never change.
References: Sayegh 1989, Computer Music Journal 13(3); Bellman 1957, Dynamic Programming.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from liltwright.errors import UsageError
from liltwright.guitar.fretboard import STRINGS, last_fret
from liltwright.guitar.melody import MelodyLine, line_of
from liltwright.guitar.player import Player
from liltwright.guitar.plucking import pluck
from liltwright.guitar.setups import capo_words, what_does_not_fit
from liltwright.guitar.states import NEVER, TICKS, States, Stop, states, step_ticks
from liltwright.tab import Layer, Setup, TabNote
from liltwright.tune import Tune

BATCH = 48
"""Setups searched side by side: their step matrices stay in the processor's cache."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One melody search. Setups that give the same problem share its path.

    open_written : what the open strings sound with the capo on, low to high, in the pitches of the
        written tune (open string + capo - transpose): a note's fret is its pitch minus that
    highest : last fret in reach, counted from the capo
    """

    open_written: tuple[int, ...]
    highest: int


@dataclass(frozen=True, eq=False)
class Paths:
    """Optimal paths of several problems over one MelodyLine.

    ticks : exact cost of each, shape (problems,)
    index : state numbers into `table`, shape (problems, notes)
    """

    table: States
    ticks: np.ndarray
    index: np.ndarray


class Search:
    """Best-path search for one MelodyLine and one player; keeps the step tables between calls."""

    def __init__(self, line: MelodyLine, player: Player) -> None:
        """Prepare the tables; the work is in `paths`."""
        self.line = line
        self.table = states(player.body_fret + player.past_body, player.hand, player.open_strings)
        kinds = list(zip(line.seconds, line.gap_s, strict=True))
        self.steps = {kind: step_ticks(self.table, *kind) for kind in sorted(set(kinds))}
        self.kinds = kinds
        self.pitches = sorted(set(line.midi))

    def paths(self, problems: Sequence[Problem]) -> Paths:
        """The cheapest path of each problem; every note must have a place (else NEVER)."""
        ticks = np.zeros(len(problems), dtype=np.int64)
        index = np.zeros((len(problems), len(self.line.midi)), dtype=np.int16)
        for begin in range(0, len(problems), BATCH):
            part = slice(begin, begin + BATCH)
            ticks[part], index[part] = self._batch(problems[part])
        return Paths(self.table, ticks, index)

    def ticks_along(self, index: np.ndarray) -> list[int]:
        """Ticks that each note of one path costs: the way into it and the note itself."""
        found = [int(self._alone(0, index[0]))]
        for k in range(1, len(index)):
            step = self.steps[self.kinds[k - 1]][index[k - 1], index[k]]
            found.append(int(step) + int(self._alone(k, index[k])))
        return found

    def _batch(self, problems: Sequence[Problem]) -> tuple[np.ndarray, np.ndarray]:
        at = {pitch: self._states_at(pitch, problems) for pitch in self.pitches}
        line = self.line
        matrices: dict[tuple[int, int, tuple[float, float]], np.ndarray] = {}
        value = self._alone(0, at[line.midi[0]])
        values, used = [value], []
        for k in range(1, len(line.midi)):
            here, there, kind = line.midi[k - 1], line.midi[k], self.kinds[k - 1]
            matrix = matrices.get((here, there, kind))
            if matrix is None:
                matrix = self.steps[kind][at[here][:, :, None], at[there][:, None, :]]
                matrices[here, there, kind] = matrix
            value = (value[:, :, None] + matrix).min(axis=1) + self._alone(k, at[there])
            np.minimum(value, NEVER, out=value)
            values.append(value)
            used.append(matrix)
        return value.min(axis=1), self._back(values, used, at)

    def _alone(self, k: int, index: np.ndarray) -> np.ndarray:
        table = self.table
        return (table.on_beat if self.line.on_beat[k] else table.off_beat)[index]

    def _back(
        self, values: list[np.ndarray], used: list[np.ndarray], at: dict[int, np.ndarray]
    ) -> np.ndarray:
        """State numbers along the best path, found again from the stored values."""
        rows = np.arange(len(values[0]))
        found = np.zeros((len(rows), len(values)), dtype=np.int64)
        best = values[-1].argmin(axis=1)
        found[:, -1] = at[self.line.midi[-1]][rows, best]
        for k in range(len(values) - 2, -1, -1):
            best = (values[k] + used[k][rows, :, best]).argmin(axis=1)
            found[:, k] = at[self.line.midi[k]][rows, best]
        return found

    def _states_at(self, pitch: int, problems: Sequence[Problem]) -> np.ndarray:
        """State numbers for a pitch, shape (problems, most states); filled up with the dummy."""
        lists = [state_numbers(self.table, pitch, problem) for problem in problems]
        out = np.full((len(lists), max(1, *map(len, lists))), len(self.table.string))
        for row, found in zip(out, lists, strict=True):
            row[: len(found)] = found
        return out


def state_numbers(table: States, pitch: int, problem: Problem) -> np.ndarray:
    """Numbers of all states that sound a written pitch; empty when it has no place."""
    found = []
    for string in range(1, STRINGS + 1):
        fret = pitch - problem.open_written[STRINGS - string]
        if 0 <= fret <= problem.highest:
            found.append(table.of_place[string][fret])
    return np.concatenate(found) if found else np.zeros(0, dtype=np.int64)


def problem_of(setup: Setup, player: Player) -> Problem:
    """The search problem behind a setup."""
    highest = last_fret(setup.capo, body_fret=player.body_fret, past_body=player.past_body)
    up = setup.capo - setup.transpose
    return Problem(tuple(midi + up for midi in setup.strings_midi), highest)


def finger_stops(
    tune: Tune, setup: Setup, *, player: Player | None = None
) -> tuple[tuple[Stop, ...], int]:
    """Where, with which finger and in which hand position each note is held; the cost in ticks.

    Raises UsageError when a note has no place on the setup.
    """
    player = player or Player()
    fault = what_does_not_fit(tune, setup.strings_midi, setup.capo, setup.transpose, player)
    if fault is not None:
        raise UsageError(f"{setup.tuning}, {capo_words(setup.capo)}: {fault}")
    found = Search(line_of(tune), player).paths([problem_of(setup, player)])
    return tuple(found.table.stop(int(index)) for index in found.index[0]), int(found.ticks[0])


def finger_melody(tune: Tune, setup: Setup, *, player: Player | None = None) -> Layer:
    """The melody layer: every note of the tune with string, fret, finger and plucking finger.

    Raises UsageError when a note has no place on the setup.
    """
    player = player or Player()
    line = line_of(tune)
    stops, ticks = finger_stops(tune, setup, player=player)
    fingers = pluck([stop.string for stop in stops], line.seconds)
    bars: list[list[TabNote]] = [[] for _ in tune.written_bars()]
    written = tune.written_bars()
    for stop, finger, (bar, note_index) in zip(stops, fingers, line.place, strict=True):
        note = written[bar].notes[note_index]
        bars[bar].append(
            TabNote(
                "melody",
                stop.string,
                stop.fret,
                note.midi + setup.transpose,
                note.start,
                note.length,
                stop.finger,
                finger,
            )
        )
    return Layer(
        "melody",
        tuple(tuple(bar) for bar in bars),
        difficulty={"melody_cost": ticks / TICKS},
    )
