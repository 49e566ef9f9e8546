"""Upper bounds of a setup's score that need no search for a path.

Task: say what no path on a setup can exceed, thousands of times faster than finding the path.
In: many setups side by side. Out: an upper bound of each one's score.
Method: parts that need no path are exact. Bass, drones and room take each note at its best place,
ring and reach get full marks. Flow comes in two strengths: `upper` gives every note the price of
its cheapest way and all moves for nothing; `closer` cuts the path into pairs of notes, each pair
at its cheapest two ways with the move between them and half of both notes' own price, which no
path can undercut in sum.
References: Land and Doig 1960, Econometrica 28(3) (branch and bound).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from liltwright.guitar.candidates import Question
from liltwright.guitar.fretboard import STRINGS, fret_mm
from liltwright.guitar.score import (
    Field,
    drone_values,
    part_names,
    scale,
    setup_parts,
)
from liltwright.guitar.states import NEVER, TICKS, States

BLOCK = 8192
"""Setups bounded side by side: their frets stay in the processor's cache."""


class Bounds:
    """Upper bounds of the score for many setups of one capo and transposition."""

    def __init__(self, asked: Question) -> None:
        """Count the pitches once."""
        self.facts, self.player, self.weight = asked.facts, asked.player, asked.weight
        line, search = asked.facts.line, asked.search
        self.pitches = sorted(set(line.midi))
        self.count = np.array([line.midi.count(pitch) for pitch in self.pitches])
        self.on_beat = np.array(
            [
                sum(m == pitch and b for m, b in zip(line.midi, line.on_beat, strict=True))
                for pitch in self.pitches
            ]
        )
        self.cheapest = _cheapest(search.table)
        self.pairs = Counter(zip(line.midi, line.midi[1:], search.kinds, strict=False))
        kinds = sorted({kind for _, _, kind in self.pairs})
        self.pair_ticks = {kind: _pair_ticks(search.table, search.steps[kind]) for kind in kinds}

    def upper(self, field: Field, present: np.ndarray) -> np.ndarray:
        """No setup of `field` (one capo, one transposition) scores above this; shape (n,)."""
        capo = int(field.capo[0])
        highest = self.player.body_fret + self.player.past_body - capo
        opened = field.strings_midi + (field.capo - field.transpose)[:, None]
        flow, bass, drones, top = self._note_bounds(field, opened, highest)
        beats, notes = max(self.on_beat.sum(), 1), self.count.sum()
        parts = setup_parts(self.facts, field, self.player, present)
        scale_mm = self.player.scale_mm
        width = fret_mm(capo + highest + 3, scale_mm) - fret_mm(capo + highest, scale_mm)
        best = {
            "flow": np.exp(-flow / TICKS / notes / scale("flow_hurry")),
            "bass": bass / beats,
            "drones": drones / beats,
            "ring": 1.0,
            "room": np.clip((self.player.body_fret - capo - top) / scale("room_frets"), 0, 1),
            "reach": np.clip(1.0 - width / scale("reach_mm"), 0, 1),
        }
        for name, value in best.items():
            parts[:, part_names().index(name)] = value
        return 100.0 * parts @ self.weight

    def closer(self, field: Field, upper: np.ndarray) -> np.ndarray:
        """A smaller bound than `upper`, which the same setups got before; shape (n,)."""
        out = upper.copy()
        for begin in range(0, len(field), BLOCK):
            part = slice(begin, begin + BLOCK)
            out[part] += self._correction(field.take(np.arange(len(field))[part]))
        return out

    def _correction(self, field: Field) -> np.ndarray:
        """How many points less the flow of pairs is worth than the flow of single notes."""
        opened = field.strings_midi + (field.capo - field.transpose)[:, None]
        highest = self.player.body_fret + self.player.past_body - field.capo
        frets = {
            pitch: _frets(pitch, opened, highest, len(self.cheapest)) for pitch in self.pitches
        }
        cheapest = np.append(self.cheapest, NEVER)
        least = {pitch: cheapest[fret].min(axis=0) for pitch, fret in frets.items()}
        alone = np.zeros(len(field))
        for pitch, times in zip(self.pitches, self.count, strict=True):
            alone += times * least[pitch]
        midi = self.facts.line.midi
        paired = (least[midi[0]] + least[midi[-1]]) / 2.0
        for (here, there, kind), times in self.pairs.items():
            paired += times / 2.0 * _least_pair(self.pair_ticks[kind], frets[here], frets[there])
        notes = len(midi) * TICKS * scale("flow_hurry")
        gain = np.exp(-np.maximum(paired, alone) / notes) - np.exp(-alone / notes)
        return 100.0 * self.weight[part_names().index("flow")] * gain

    def _note_bounds(
        self, field: Field, opened: np.ndarray, highest: int
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Least ticks, most bass and drone values in all, least top fret; each shape (n,).

        What a string is worth for a pitch depends on its open pitch alone: one small table for
        each pitch, looked up string by string.
        """
        count, lowest = len(field), int(opened.min())
        pitches = np.arange(lowest, int(opened.max()) + 1)
        row = (opened.T - lowest).astype(np.intp)
        flow, bass, drones = np.zeros(count), np.zeros(count), np.zeros(count)
        top = np.zeros(count, dtype=np.int64)
        by_string = scale("bass_by_string")[6:0:-1]
        value = drone_values(self.facts, field).T
        for pitch, times, beats in zip(self.pitches, self.count, self.on_beat, strict=True):
            fret = pitch - pitches
            holds = (fret >= 0) & (fret <= highest)
            ticks = np.where(holds, self.cheapest[np.clip(fret, 0, highest)], NEVER)
            flow += times * _over_strings(np.minimum, [ticks] * STRINGS, row)
            frets = np.where(holds, fret, highest + 1)
            top = np.maximum(top, _over_strings(np.minimum, [frets] * STRINGS, row))
            if beats:
                bass += beats * _over_strings(np.maximum, [holds * v for v in by_string], row)
                under = (pitches < pitch).astype(float)
                free = [under[r] * v for r, v in zip(row, value, strict=False)]
                drones += beats * np.maximum(np.maximum(free[0], free[1]), free[2])
        return flow, bass, drones, top


def _over_strings(choose: np.ufunc, tables: Sequence[np.ndarray], row: np.ndarray) -> np.ndarray:
    """The least (or largest) of the strings' table values; row is (6, n)."""
    best = tables[0][row[0]]
    for table, string in zip(tables[1:], row[1:], strict=True):
        choose(best, table[string], out=best)
    return best


def _cheapest(table: States) -> np.ndarray:
    """Ticks of the cheapest way to hold each fret, bass lines left out; shape (frets,)."""
    return np.array([table.off_beat[ways].min() for ways in table.of_place[1]])


def _pair_ticks(table: States, step: np.ndarray) -> np.ndarray:
    """Twice the least ticks of a pair by [strings apart][fret][next fret].

    Half of both notes' own price is in it, without bass lines. The last fret stands for none.
    """
    frets = len(table.of_place[1])
    out = np.full((STRINGS, frets + 1, frets + 1), NEVER, dtype=np.int32)
    own = [table.off_beat[ways] for ways in table.of_place[1]]
    for apart in range(STRINGS):
        for here, ways in enumerate(table.of_place[1]):
            for there, next_ways in enumerate(table.of_place[1 + apart]):
                ticks = 2 * step[np.ix_(ways, next_ways)] + own[here][:, None] + own[there]
                out[apart, here, there] = min(ticks.min(), NEVER)
    return out


def _frets(pitch: int, opened: np.ndarray, highest: np.ndarray, none: int) -> np.ndarray:
    """Fret of a pitch on each string, `none` where it has no place; shape (6, n)."""
    fret = pitch - opened
    return np.where((fret >= 0) & (fret <= highest[:, None]), fret, none).T.copy()


def _least_pair(ticks: np.ndarray, here: np.ndarray, there: np.ndarray) -> np.ndarray:
    """Least pair ticks over all pairs of strings; shape (n,)."""
    width = ticks.shape[1]
    best = np.full(here.shape[1], NEVER, dtype=np.int32)
    for a in range(STRINGS):
        row = here[a] * width
        for b in range(STRINGS):
            flat = ticks[abs(a - b)].ravel()
            np.minimum(best, flat[row + there[b]], out=best)
    return best
