"""A quick arrangement of a setup, weighed: is there a bass, does it close, ring, and sit well?

Task: tell the ranking how well the whole arrangement sits, not the melody alone, and what of it
    may be promised.
In:   a Tune, a Player; then setups with the melody's best path.
Out:  Weighed: four shares and their mean, in words; Promised.
Method: to weigh many, the steady walking bass under the melody as the ranking fingered it, without
    the search that fingers both together. What is promised is counted on the very layers that
    `arrange` makes. Everything is counted on the main beats.
References: weights and scales in models/hand/arranged.json.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction

import numpy as np

from liltwright import models
from liltwright.arrange.assemble import Ground
from liltwright.arrange.fingered import bass_tables
from liltwright.arrange.harmony import Harmony, harmonise
from liltwright.arrange.layers import first_layers
from liltwright.arrange.moments import Tables
from liltwright.arrange.pinned import pinned_of
from liltwright.arrange.tab import Below
from liltwright.arrange.timeline import TuneEvents, timeline
from liltwright.arrange.voices import Melody, note_held
from liltwright.arrange.walking import walking_bass
from liltwright.errors import UsageError
from liltwright.guitar.arranged import FILE, Promised, Weighed
from liltwright.guitar.player import Player
from liltwright.guitar.states import NEVER, TICKS
from liltwright.tab import Layer, Setup
from liltwright.tune import Tune


class Weigher:
    """Weighs setups of one tune; the harmony is worked out once for each key."""

    def __init__(self, tune: Tune, player: Player) -> None:
        """Nothing is arranged yet."""
        self.tune, self.player = tune, player
        self._known: dict[int, tuple[Harmony, TuneEvents]] = {}

    def __call__(self, setup: Setup, path: Sequence[int], /) -> Weighed:
        """Arrange and weigh; path : the melody's states."""
        if setup.transpose not in self._known:
            harmony = harmonise(self.tune, transpose=setup.transpose)
            self._known[setup.transpose] = harmony, timeline(self.tune, harmony)
        harmony, line = self._known[setup.transpose]
        tables = bass_tables(Ground(self.tune, setup, self.player), harmony, None, line=line)
        melody = Melody(tuple(path), tuple(tables.table.stop(index) for index in path))
        return _weighed(tables, melody, walking_bass(tables, melody, 1.0, passes=1))

    def promised(self, setup: Setup, /) -> Promised | None:
        """What is heard when the setup is arranged with the tune's own pins."""
        try:
            pinned = pinned_of(self.tune.pins, self.tune, setup)
            layers, tables = first_layers(Ground(self.tune, setup, self.player, pinned))
        except UsageError:  # pins that need an earlier arrangement or leave nothing to play
            return None
        return _promised({layer.name: layer for layer in layers}, tables, setup)


def _weighed(tables: Tables, melody: Melody, bass: Sequence[Below]) -> Weighed:
    struck = {note.event: note for note in bass}
    beats = _beats(tables)
    table = models.read_json(FILE)
    hurries = sum(_held(tables, melody, note) for note in bass) / max(len(beats), 1)
    parts = {
        **_shares(tables, {n: (note.midi, note.length) for n, note in struck.items()}),
        "ease": math.exp(-hurries / table["ease_hurry"]),
    }
    weight = table["parts"]
    value = sum(weight[name] * share for name, share in parts.items()) / sum(weight.values())
    return Weighed(
        value,
        parts,
        f"In a quick try a bass falls on {parts['bass']:.0%} of the beats and rings for "
        f"{parts['ring']:.0%} of their time; {_close(parts['cadences'])}.",
    )


def _promised(layers: Mapping[str, Layer], tables: Tables, setup: Setup) -> Promised:
    """Counted on the plain bass, and for open strings on the moving bass and the melody too."""
    events, plain = tables.line.events, layers["plain-bass"]
    found = {}
    for number in _beats(tables):
        for note in plain.bars[events[number].bar]:
            if note.part == "bass" and note.start == events[number].start:
                found[number] = (note.midi, note.length)
    parts = _shares(tables, found)
    heard = {
        name: [note for bar in layers[name].bars for note in bar if note.part == part]
        for name, part in (("melody", "melody"), ("plain-bass", "bass"), ("moving-bass", "bass"))
    }
    opened = {
        name: Counter(note.string for note in notes if not note.fret)
        for name, notes in heard.items()
    }
    often = {
        string
        for name in ("plain-bass", "moving-bass")
        for string, times in opened[name].items()
        if times > 1
    }
    lowest = setup.strings_midi[0] + setup.capo
    roots = [note.midi == lowest for note in heard["plain-bass"] if note.midi % 12 == lowest % 12]
    under = _share(roots) >= models.read_json(FILE)["under"] and opened["moving-bass"][6] > 0
    return Promised(
        f"Arranged, a bass falls on {parts['bass']:.0%} of the beats and rings for "
        f"{parts['ring']:.0%} of their time; {_close(parts['cadences'], 'closes', 'close')}.",
        frozenset(often) | frozenset(opened["melody"]),
        under,
    )


def _beats(tables: Tables) -> list[int]:
    """The events on main beats under a chord."""
    events = tables.line.events
    return [n for n, event in enumerate(events) if event.slot == "main" and event.span]


def _shares(tables: Tables, struck: Mapping[int, tuple[int, Fraction]]) -> dict[str, float]:
    """Bass, cadences and ring, from the pitch and length of the bass at events."""
    beats = _beats(tables)
    closes = [n for n in beats if tables.line.events[n].closes]
    return {
        "bass": _share(n in struck for n in beats),
        "cadences": _share(_closes(tables, struck.get(n), n) for n in closes),
        "ring": _share(_rung(tables, struck[n][1]) if n in struck else 0.0 for n in beats),
    }


def _share(found: Iterable[float]) -> float:
    """The mean; 0 of nothing."""
    values = [float(one) for one in found]
    return sum(values) / len(values) if values else 0.0


def _closes(tables: Tables, note: tuple[int, Fraction] | None, number: int) -> float:
    """1 for the chord's root under a close, a half for another bass, 0 for none."""
    span = tables.line.events[number].span
    if note is None or span is None:
        return 0.0
    return 1.0 if note[0] % 12 in (span.chord.root, span.chord.bass) else 0.5


def _rung(tables: Tables, length: Fraction) -> float:
    return min(float(length / tables.line.beat), 1.0)


def _held(tables: Tables, melody: Melody, note: Below) -> float:
    """Hurries of holding a bass note beside the melody."""
    event = tables.line.events[note.event]
    way = int(np.flatnonzero((tables.spots.held == note_held(note)).all(axis=1))[0])
    pair = int(tables.held(event, np.array([melody.indices[event.note]]))[0, way])
    return (min(pair, NEVER) + int(tables.holding[way])) / TICKS


def _close(cadences: float, one: str = "can close", many: str = "can close") -> str:
    """How the parts close, in words."""
    if cadences > 0.999:
        return f"every part {one} on its root"
    if cadences >= 0.75:
        return f"parts mostly {many} on their root"
    return "not every part can close on its root"
