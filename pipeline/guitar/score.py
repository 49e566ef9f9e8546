"""The named parts of a setup's score, for many setups side by side.

Task: say in numbers from 0 to 1 how well a tune sits on each setup, one number a part.
In: a tune's MelodyLine, many setups as arrays, their optimal melody paths.
Out: one array a part, best 1; the parts, weights and scales are models/hand/weights.json.
Method: shares counted on the optimal path and on the open strings; flow falls exponentially
with the path's cost a note. A tune that was heard in two homes counts root, open strings and drones
for both, each by its share, so that a setup that serves both stands higher.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from liltwright import models
from liltwright.errors import UsageError
from liltwright.guitar.fingering import Paths
from liltwright.guitar.fretboard import fret_mm
from liltwright.guitar.hand import costs
from liltwright.guitar.melody import MelodyLine
from liltwright.guitar.player import Player
from liltwright.guitar.states import TICKS
from liltwright.guitar.tunings import standard
from liltwright.keys import pitch_class, scale_steps
from liltwright.tune import Tune

FILE = "hand/weights.json"
BASS_STRINGS = (6, 5, 4)  # those that the thumb plays (common practice)


@dataclass(frozen=True, eq=False)
class Field:
    """Setups side by side: strings_midi (n, 6) low to high; capo, transpose, wish (n,).

    wish : 1 for tunings the player uses, 0 for avoided ones, between for others
    """

    strings_midi: np.ndarray
    capo: np.ndarray
    transpose: np.ndarray
    wish: np.ndarray

    def take(self, index: np.ndarray) -> Field:
        """The setups with these indices (or where a mask is true)."""
        return Field(
            self.strings_midi[index], self.capo[index], self.transpose[index], self.wish[index]
        )

    def __len__(self) -> int:
        """How many setups."""
        return len(self.capo)


@cache
def scale(name: str) -> Any:
    """A value of the scales table; units and reasons stand in the file."""
    value = models.read_json(FILE)["scales"][name]["value"]
    return np.array(value) if isinstance(value, list) else value


def part_names() -> tuple[str, ...]:
    """Names of the score's parts, as users write them."""
    return tuple(row["name"] for row in models.read_json(FILE)["parts"])


def parts_explained() -> dict[str, str]:
    """What each part of the score looks at, by its name."""
    return {row["name"]: row["says"] for row in models.read_json(FILE)["parts"]}


def weights(changes: dict[str, float]) -> np.ndarray:
    """Weight of each part, summing to 1, in the order of part_names().

    changes : factors by name, e.g. {"flow": 2, "bass": 0.5}
    Raises UsageError for an unknown name, a negative factor or nothing left.
    """
    for name, factor in changes.items():
        if name not in (*part_names(), "arrangement"):
            known = ", ".join((*part_names(), "arrangement"))
            raise UsageError(f'"{name}" is no part of the score; choose {known}.')
        if not 0 <= factor <= 100:
            raise UsageError(f"The weight of {name} is {factor}; give a factor from 0 to 100.")
    base = np.array([row["weight"] for row in models.read_json(FILE)["parts"]])
    out = base * [changes.get(name, 1.0) for name in part_names()]
    if not out.any():
        raise UsageError("Every weight is 0; leave at least one part of the score in.")
    return out / out.sum()


@dataclass(frozen=True, eq=False)
class Facts:
    """What the parts need of the tune: tonic class, scale classes, the line.

    second : another home, heard nearly as clearly, with its share of the two; None for most tunes
    """

    line: MelodyLine
    tonic: int
    classes: frozenset[int]
    second: tuple[int, float] | None = None

    def homes(self) -> tuple[tuple[int, float], ...]:
        """Tonic classes with their shares, which sum to 1."""
        if self.second is None:
            return ((self.tonic, 1.0),)
        return ((self.tonic, 1.0 - self.second[1]), self.second)


def facts_of(tune: Tune, line: MelodyLine) -> Facts:
    """Tonic and scale of the written tune; notes used often belong to the scale as well."""
    tonic = pitch_class(tune.tonic)
    inside = {(tonic + step) % 12 for step in scale_steps(tune.mode)}
    time = np.zeros(12)
    np.add.at(time, np.array(line.midi) % 12, line.seconds)
    often = np.flatnonzero(time > scale("class_share") * time.sum())
    return Facts(line, tonic, frozenset(inside | {int(c) for c in often}), second_home(tune))


def second_home(tune: Tune) -> tuple[int, float] | None:
    """The other tonic of a tune that was heard in two homes; None where the key was said."""
    chance: dict[int, float] = {}
    for key in tune.candidates.key:
        tonic = pitch_class(key.tonic)
        chance[tonic] = chance.get(tonic, 0.0) + key.probability
    first = chance.pop(pitch_class(tune.tonic), 0.0)
    if not tune.heard or "key" in tune.overridden or not chance:
        return None
    other = max(chance, key=lambda tonic: chance[tonic])
    if not scale("second_home") <= chance[other] <= first:
        return None
    return other, chance[other] / (chance[other] + first)


def setup_parts(facts: Facts, field: Field, player: Player, present: np.ndarray) -> np.ndarray:
    """The parts that need no path; shape (n, parts), 0 in the columns of the others.

    present : pitches of the six strings as they are now, low to high
    """
    sounding = field.strings_midi + field.capo[:, None]
    written = (sounding - field.transpose[:, None]) % 12  # each open string in the written key
    in_scale = np.isin(written, list(facts.classes))
    root, open_ = np.zeros(len(field)), np.zeros(len(field))
    for home, share in facts.homes():
        degree = (written - home) % 12
        near = (degree == 0) | (degree == 7)
        root += share * _root(degree, sounding)
        open_ += share * np.where(near, 1.0, scale("open_scale") * in_scale).mean(axis=1)
    columns = {
        "root": root,
        "open": open_,
        "clash": 1.0 - (~in_scale * np.array([2, 2, 1.5, 1, 1, 1])).sum(axis=1) / 8.5,
        "retuning": _retuning(field.strings_midi - present),
        "tension": _tension(field.strings_midi),
        "preference": field.wish,
        "register": _register(facts, field),
        "key": (field.transpose % 12 == 0).astype(float),
    }
    return _stack(columns, len(field))


def path_parts(facts: Facts, field: Field, player: Player, paths: Paths) -> np.ndarray:
    """The parts that are counted on the melody's path; shape (n, parts)."""
    table = paths.table
    string, fret = table.string[paths.index], table.fret[paths.index]
    on_beat = np.array(facts.line.on_beat)
    last = fret.max(axis=1) + field.capo
    position = np.where(table.finger[paths.index] > 0, table.position[paths.index], 0)
    fretted = np.maximum((position > 0).sum(axis=1), 1)
    usual = field.capo + position.sum(axis=1) / fretted
    width = fret_mm(usual + 3, player.scale_mm) - fret_mm(usual, player.scale_mm)
    columns = {
        "flow": np.exp(-flow_hurry(paths, on_beat) / scale("flow_hurry")),
        "bass": _mean(scale("bass_by_string")[string[:, on_beat]]),
        "drones": _drones(facts, field, string, on_beat),
        "ring": _ring(facts.line, string),
        "room": np.clip((player.body_fret - last) / scale("room_frets"), 0.0, 1.0),
        "reach": np.clip(1.0 - width / scale("reach_mm"), 0.0, 1.0),
    }
    return _stack(columns, len(field))


def flow_hurry(paths: Paths, on_beat: np.ndarray) -> np.ndarray:
    """Hurries a note along each path, without the lines that only keep bass strings free."""
    string = paths.table.string[paths.index]
    lines = np.zeros((2, 7))
    for row, name in enumerate(("off", "beat")):
        lines[row, 4:] = [costs()[f"bass_{name}_{s}"] for s in (4, 5, 6)]
    kept = lines[on_beat.astype(int), string].sum(axis=1)
    return (paths.ticks / TICKS - kept) / string.shape[1]


def drone_values(facts: Facts, field: Field) -> np.ndarray:
    """What open strings 6, 5, 4 are worth as drones, shape (n, 3)."""
    bass = field.strings_midi[:, :3] + (field.capo - field.transpose)[:, None]
    value = np.zeros(bass.shape)
    for home, share in facts.homes():
        degree = (bass - home) % 12
        value += share * scale("drone_tonic") * (degree == 0)
        value += share * scale("drone_fifth") * (degree == 7)
    return value


def _drones(facts: Facts, field: Field, string: np.ndarray, on_beat: np.ndarray) -> np.ndarray:
    """Share of bass beats with a free open drone below the melody; string is (n, notes)."""
    value = drone_values(facts, field)
    melody = np.array(facts.line.midi)[on_beat] + field.transpose[:, None]
    best = np.zeros(melody.shape)
    for column, bass_string in enumerate(BASS_STRINGS):
        pitch = field.strings_midi[:, column] + field.capo
        free = (string[:, on_beat] != bass_string) & (pitch[:, None] < melody)
        best = np.maximum(best, free * value[:, column, None])
    return _mean(best)


def _root(degree: np.ndarray, sounding: np.ndarray) -> np.ndarray:
    """Root part from degrees and pitches of the open strings, low to high, shape (n, 6)."""
    low, high = scale("root_deep_midi")
    depth = 1.0 - scale("root_shallow") * np.clip((sounding - low) / (high - low), 0.0, 1.0)
    by_string = scale("root_open")[6:0:-1]
    best = np.where(degree == 0, by_string * depth, 0.0).max(axis=1)
    near = ((-degree[:, :2]) % 12 <= 3).any(axis=1)
    fretted = np.where(near, scale("root_fretted"), scale("root_none"))
    return np.maximum(best, fretted)


def _retuning(change: np.ndarray) -> np.ndarray:
    cost = scale("retune_string") * (change != 0) + scale("retune_down") * np.maximum(-change, 0)
    cost = cost + scale("retune_up") * np.maximum(change, 0)
    return np.clip(1.0 - cost.sum(axis=1), 0.0, 1.0)


def _register(facts: Facts, field: Field) -> np.ndarray:
    """How far the tune's mean pitch lies above the bass register."""
    low, high = scale("register_midi")
    mean = np.average(facts.line.midi, weights=facts.line.seconds) + field.transpose
    return np.clip((mean - low) / (high - low), 0.0, 1.0)


def _tension(strings_midi: np.ndarray) -> np.ndarray:
    up = np.maximum(strings_midi - np.array(standard()), 0).sum(axis=1)
    return np.clip(1.0 - scale("tension_up") * up, 0.0, 1.0)


def _ring(line: MelodyLine, string: np.ndarray) -> np.ndarray:
    close = np.array(line.seconds[:-1]) <= scale("ring_longest_s")
    return _mean((string[:, 1:] != string[:, :-1])[:, close])


def _mean(values: np.ndarray) -> np.ndarray:
    return values.mean(axis=1) if values.shape[1] else np.zeros(len(values))


def _stack(columns: dict[str, np.ndarray], count: int) -> np.ndarray:
    out = np.zeros((count, len(part_names())))
    for name, values in columns.items():
        out[:, part_names().index(name)] = values
    return out
