"""What it costs to call a note tune, bass or inner, before its neighbours are looked at.

Task     prices of notes by register, string, place in the bar, source voice, repetition
In       Page; the tables models/parting/costs.json and line.json
Out      Likings: one row of three prices for every note, in nats
Method   Highest and lowest of the page come from its own moments, so that a page in any register is
         priced alike. What is known from elsewhere (the user, a named voice) is a price too.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from math import log
from statistics import median

import numpy as np

from liltwright import models
from liltwright.tab import PartName
from liltwright.unpick.finished import PARTS
from liltwright.unpick.page import Moment, Page, Struck

TUNE, BASS, INNER = range(3)  # classes of a note
AROUND = 3
"""Bars on each side in which a drone is looked for."""
PEDAL = 5
"""Semitones that a drone between two tune notes lies below both."""
THUMB = 4
"""The thumb's strings begin here: 4, 5 and 6."""


@cache
def costs() -> dict[str, float]:
    """Value of every line of the table by name."""
    return models.read_lines("parting/costs.json")


@dataclass(frozen=True, slots=True)
class Register:
    """Where top and bottom of a page usually lie."""

    top: float
    bottom: float


def register_of(page: Page, drones: Sequence[float]) -> Register:
    """Median of the highest note struck, drones left out, and of the lowest one on main beats.

    Where several notes are seldom struck together every moment counts.
    """
    several = [moment for moment in page.moments if len(moment.notes) > 1]
    chosen = several if len(several) * 8 > len(page.moments) else list(page.moments)
    tops = [
        max(midis)
        for moment in chosen
        if (midis := [one.note.midi for one in moment.notes if drones[one.index] < 1 / 2])
    ] or [moment.notes[-1].note.midi for moment in chosen]
    on_beats = [moment for moment in chosen if moment.place == "main"] or chosen
    bottom = median(moment.notes[0].note.midi for moment in on_beats)
    return Register(median(tops), min(bottom, median(tops) - 10))


def likings(page: Page, fixed: Mapping[int, PartName]) -> np.ndarray:
    """Price of every note as tune, bass and inner, shape (notes, 3)."""
    table, drones = costs(), _ostinato(page)
    register = register_of(page, drones)
    found = np.zeros((len(page.notes), 3))
    for moment in page.moments:
        for one in moment.notes:
            found[one.index] = _alone(one, moment, register, table)
            found[one.index, TUNE] += table["tune_ostinato"] * drones[one.index]
    for index, share in _pedals(page).items():
        found[index, TUNE] += table["tune_pedal"] * share
        found[index, BASS] += table["bass_pedal"] * share
    for one in page.notes:
        named = fixed.get(one.index)
        price = 1000.0 if named else table["named"]
        voice = named or one.note.voice
        if voice in PARTS:
            found[one.index] += price
            found[one.index, PARTS.index(voice)] -= price
    return found


def _alone(
    one: Struck, moment: Moment, register: Register, table: Mapping[str, float]
) -> tuple[float, float, float]:
    midi, string = one.note.midi, one.note.string
    tune = table["tune_low_octave"] * max(0.0, register.top - 5 - midi) / 12
    tune += {5: table["tune_string_5"], 6: table["tune_string_6"]}.get(string, 0.0)
    bass = table["bass_high_octave"] * max(0.0, midi - register.bottom - 5) / 12
    if string and string < THUMB:
        bass += table["bass_string_3" if string == 3 else "bass_string_2"]
    bass += {"main": 0.0, "walk": table["bass_walk"]}.get(moment.place, table["bass_off_beat"])
    return tune, bass, table["inner"]


def _ostinato(page: Page) -> list[float]:
    """How much of a drone each note is: the share of the bars around with the same note there.

    A tune has some of that too; what is above half counts.
    """
    places: dict[tuple[Fraction, int], set[int]] = {}
    for one in page.notes:
        places.setdefault((one.note.start, one.note.midi), set()).add(one.bar)
    found = []
    for one in page.notes:
        bars = places[one.note.start, one.note.midi]
        near = [b for b in range(one.bar - AROUND, one.bar + AROUND + 1) if b != one.bar]
        near = [b for b in near if 0 <= b < len(page.begins)]
        share = sum(b in bars for b in near) / max(len(near), AROUND)
        found.append(max(0.0, 2 * share - 1))
    return found


def _pedals(page: Page) -> dict[int, float]:
    """Notes struck alone, well below the notes before and after: how many of those are this pitch.

    A harp-like drone is one or two pitches; a tune that dips goes to many.
    """
    found: list[Struck] = []
    moments = page.moments
    for before, here, after in zip(moments, moments[1:], moments[2:], strict=False):
        one = here.notes[0]
        around = min(before.notes[-1].note.midi, after.notes[-1].note.midi)
        if len(here.notes) == 1 and around - one.note.midi >= PEDAL:
            found.append(one)
    counts = Counter(one.note.midi for one in found)
    some = max(len(found), len(page.begins) / 2)
    return {one.index: counts[one.note.midi] / some for one in found}


# ---------------------------------------------------------------- what is learned from the page


def habits(page: Page, shares: np.ndarray) -> np.ndarray:
    """Prices from a first reading: what a voice, a string, a place and the same bar mostly are."""
    table = costs()
    found = np.zeros((len(page.notes), 3))
    voices: dict[object, list[int]] = {}
    strings: dict[object, list[int]] = {}
    bars: dict[object, list[int]] = {}
    places: dict[object, list[int]] = {}
    shapes = _shapes(page)
    for moment in page.moments:
        for rank, one in enumerate(moment.notes):
            places.setdefault((moment.start, *_stands(moment, rank)), []).append(one.index)
    for one in page.notes:
        note = one.note
        if note.voice and note.voice not in PARTS:
            voices.setdefault(note.voice, []).append(one.index)
        if note.string:
            strings.setdefault(note.string, []).append(one.index)
        bars.setdefault((shapes[one.bar], note.start, note.midi, note.string), []).append(one.index)
    for groups, weight in (
        (voices, table["voice"]),
        (strings, table["string_habit"]),
        (bars, table["again"]),
        (places, table["place_habit"]),
    ):
        for indices in groups.values():
            if len(indices) > 1:
                mean = shares[indices].mean(axis=0)
                found[indices] -= weight * np.log(mean * 0.96 + 0.0133)
    return found


def _stands(moment: Moment, rank: int) -> tuple[str, bool]:
    """Which of the notes struck together a note is, and whether the thumb plays it."""
    note, last = moment.notes[rank].note, len(moment.notes) - 1
    if not last:
        which = "alone"
    else:
        which = "low" if not rank else "top" if rank == last else "middle"
    return which, note.string >= THUMB


def _shapes(page: Page) -> list[object]:
    bars: dict[int, list[tuple[Fraction, int]]] = {}
    for one in page.notes:
        bars.setdefault(one.bar, []).append((one.note.start, one.note.midi))
    return [tuple(bars.get(index, ())) for index in range(len(page.begins))]


# ---------------------------------------------------------------- the line of a tune


@dataclass(frozen=True, slots=True)
class MelodicPrices:
    """What dance tunes do, as prices."""

    begins: tuple[tuple[tuple[float, float], ...], ...]
    """By place in the bar and time since the last tune note, in steps: beginning, and not."""
    intervals: tuple[float, ...]
    step: Fraction

    def interval(self, semitones: int) -> float:
        """Price of a step of the tune."""
        return self.intervals[min(abs(semitones), len(self.intervals) - 1)]

    def place(self, start: Fraction, gap: Fraction) -> tuple[float, float]:
        """Prices of a tune note beginning here, `gap` after the last one, and of none."""
        slot, steps = start / self.step, gap / self.step
        if slot.denominator > 1 or steps.denominator > 1 or not self.begins:
            return self._any
        row = self.begins[int(slot) % len(self.begins)]
        return row[min(int(steps), len(row)) - 1] if steps >= 1 else self._any

    @property
    def _any(self) -> tuple[float, float]:
        return 0.3, 1.3


@cache
def line_of(meter: str) -> MelodicPrices:
    """The line of tunes in a metre; of one that was not counted, its intervals only."""
    table = models.read_json("parting/line.json")
    rows = table["begins"].get({"2/2": "4/4", "12/8": "6/8", "3/8": "3/4"}.get(meter, meter), ())
    weight, steps = costs()["line_place"], costs()["line_interval"]
    least = min(table["interval_nats"])
    return MelodicPrices(
        tuple(tuple(_prices(share, weight) for share in row) for row in rows),
        tuple(steps * (nats - least) for nats in table["interval_nats"]),
        Fraction(table["step"]),
    )


def _prices(share: float, weight: float) -> tuple[float, float]:
    kept = min(max(share, 0.02), 0.98)
    return -weight * log(kept), -weight * log(1 - kept)


def shares_of(prices: Sequence[Sequence[float]]) -> np.ndarray:
    """Rows of prices as rows of probabilities."""
    raw = np.array(prices, dtype=float)
    raw = np.exp(-(raw - raw.min(axis=1, keepdims=True)))
    return raw / raw.sum(axis=1, keepdims=True)
