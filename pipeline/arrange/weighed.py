"""A quick arrangement of a setup, weighed: is there a bass, does it close, ring, and sit well?

Task: tell the ranking how well the whole arrangement sits, not the melody alone.
In:   a Tune, a Player; then setups with the melody's best path.
Out:  Weighed: four shares and their mean, in words.
Method: the steady walking bass under the melody as the ranking fingered it, without the search that
    fingers both together; everything is counted on the main beats.
References: weights and scales in models/hand/arranged.json.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np

from liltwright import models
from liltwright.arrange.assemble import Ground
from liltwright.arrange.fingered import bass_tables
from liltwright.arrange.harmony import Harmony, harmonise
from liltwright.arrange.moments import Tables
from liltwright.arrange.tab import Below
from liltwright.arrange.timeline import TuneEvents, timeline
from liltwright.arrange.voices import Melody, note_held
from liltwright.arrange.walking import walking_bass
from liltwright.guitar.arranged import FILE, Weighed
from liltwright.guitar.player import Player
from liltwright.guitar.states import NEVER, TICKS
from liltwright.tab import Setup
from liltwright.tune import Tune


class Weigher:
    """Weighs setups of one tune; the harmony is worked out once for each key."""

    def __init__(self, tune: Tune, player: Player) -> None:
        """Nothing is arranged yet."""
        self.tune, self.player = tune, player
        self._known: dict[int, tuple[Harmony, TuneEvents]] = {}

    def __call__(self, setup: Setup, path: Sequence[int]) -> Weighed:
        """Arrange and weigh; path : the melody's states."""
        if setup.transpose not in self._known:
            harmony = harmonise(self.tune, transpose=setup.transpose)
            self._known[setup.transpose] = harmony, timeline(self.tune, harmony)
        harmony, line = self._known[setup.transpose]
        tables = bass_tables(Ground(self.tune, setup, self.player), harmony, None, line=line)
        melody = Melody(tuple(path), tuple(tables.table.stop(index) for index in path))
        return _weighed(tables, melody, walking_bass(tables, melody, 1.0, passes=1))


def _weighed(tables: Tables, melody: Melody, bass: Sequence[Below]) -> Weighed:
    events = tables.line.events
    struck = {note.event: note for note in bass}
    beats = [n for n, event in enumerate(events) if event.slot == "main" and event.span]
    closes = [n for n in beats if events[n].closes]
    parts = {
        "bass": _share(n in struck for n in beats),
        "cadences": _share(_closes(tables, struck.get(n), n) for n in closes),
        "ring": _share(_rung(tables, struck[n]) if n in struck else 0.0 for n in beats),
        "ease": math.exp(
            -sum(_held(tables, melody, note) for note in bass)
            / max(len(beats), 1)
            / models.read_json(FILE)["ease_hurry"]
        ),
    }
    weight = models.read_json(FILE)["parts"]
    value = sum(weight[name] * share for name, share in parts.items()) / sum(weight.values())
    opened = Counter(note.string for note in bass if not note.fret)
    often = frozenset(string for string, times in opened.items() if times > 1)
    return Weighed(value, parts, _sentence(parts), often)


def _share(found: Iterable[float]) -> float:
    """The mean; 0 of nothing."""
    values = [float(one) for one in found]
    return sum(values) / len(values) if values else 0.0


def _closes(tables: Tables, note: Below | None, number: int) -> float:
    """1 for the chord's root under a close, a half for another bass, 0 for none."""
    span = tables.line.events[number].span
    if note is None or span is None:
        return 0.0
    return 1.0 if note.midi % 12 in (span.chord.root, span.chord.bass) else 0.5


def _rung(tables: Tables, note: Below) -> float:
    return min(float(note.length / tables.line.beat), 1.0)


def _held(tables: Tables, melody: Melody, note: Below) -> float:
    """Hurries of holding a bass note beside the melody."""
    event = tables.line.events[note.event]
    way = int(np.flatnonzero((tables.spots.held == note_held(note)).all(axis=1))[0])
    pair = int(tables.held(event, np.array([melody.indices[event.note]]))[0, way])
    return (min(pair, NEVER) + int(tables.holding[way])) / TICKS


def _sentence(parts: dict[str, float]) -> str:
    close = (
        "every part closes on its root"
        if parts["cadences"] > 0.999
        else "parts mostly close on their root"
        if parts["cadences"] >= 0.75
        else "not every part can close on its root"
    )
    return (
        f"Arranged, a bass falls on {parts['bass']:.0%} of the beats and rings for "
        f"{parts['ring']:.0%} of their time; {close}."
    )
