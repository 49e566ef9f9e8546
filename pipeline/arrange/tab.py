"""Chosen states and bass notes -> tablature notes, bar for bar.

Task: write what the search chose as TabNotes, with plucking fingers.
In:   the TuneEvents, the melody's states, the bass notes of a layer.
Out:  bars of TabNotes like Tune.written_bars().
Method: the thumb plays the bass and the melody on strings 6, 5 and 4; where it is busy with the
    bass, the index finger takes the fourth string. Plucking fingers of the melody are one
    cheapest path for all layers together, so that they never change from layer to layer.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from liltwright.arrange.timeline import TuneEvents
from liltwright.guitar.plucking import FINGERS, Pluck, home_cost, move_cost
from liltwright.guitar.states import Stop
from liltwright.tab import TabBar, TabNote

INDEX_ON_4 = 4  # the index finger reaches no lower string while the thumb is busy


@dataclass(frozen=True, slots=True)
class Below:
    """A note under the melody, as it is held; `event` is the index of the moment it begins."""

    event: int
    string: int
    fret: int
    finger: int
    midi: int
    length: Fraction
    part: Literal["bass", "inner"] = "bass"
    pluck: Pluck = "p"


def melody_plucks(
    line: TuneEvents, stops: Sequence[Stop], busy: Collection[int]
) -> tuple[Pluck, ...]:
    """Plucking finger of each melody note; busy are the events where the thumb plays a bass."""
    onset_of = {event.note: index for index, event in enumerate(line.events) if event.onset}
    allowed = [_allowed(stop.string, onset_of[note] in busy) for note, stop in enumerate(stops)]
    value = {finger: home_cost(finger, stops[0].string) for finger in allowed[0]}
    back: list[dict[Pluck, Pluck]] = []
    for note in range(1, len(stops)):
        here, there = stops[note - 1].string, stops[note].string
        seconds = line.line.seconds[note - 1]
        after: dict[Pluck, float] = {}
        came: dict[Pluck, Pluck] = {}
        for finger in allowed[note]:
            costs = {a: v + move_cost(a, finger, here, there, seconds) for a, v in value.items()}
            best = min(costs, key=lambda a: (costs[a], FINGERS.index(a)))
            after[finger] = costs[best] + home_cost(finger, there)
            came[finger] = best
        back.append(came)
        value = after
    found = [min(value, key=lambda a: (value[a], FINGERS.index(a)))]
    for came in reversed(back):
        found.append(came[found[-1]])
    return tuple(reversed(found))


def _allowed(string: int, thumb_busy: bool) -> tuple[Pluck, ...]:
    if string > INDEX_ON_4 or (string == INDEX_ON_4 and not thumb_busy):
        return ("p",)
    return ("i",) if string == INDEX_ON_4 else ("i", "m", "a")


def tab_bars(
    line: TuneEvents,
    stops: Sequence[Stop],
    plucks: Sequence[Pluck],
    below: Sequence[Below],
    *,
    bars: int,
    transpose: int,
) -> tuple[TabBar, ...]:
    """The layer's bars: melody with the notes under it, in order of start, low strings first."""
    out: list[list[TabNote]] = [[] for _ in range(bars)]
    for note, stop, pluck in zip(line.notes, stops, plucks, strict=True):
        out[note.bar].append(
            TabNote(
                "melody",
                stop.string,
                stop.fret,
                note.midi + transpose,
                note.start,
                note.end - note.start,
                stop.finger,
                pluck,
            )
        )
    for low in below:
        event = line.events[low.event]
        out[event.bar].append(
            TabNote(
                low.part,
                low.string,
                low.fret,
                low.midi,
                event.start,
                low.length,
                low.finger,
                low.pluck,
            )
        )
    return tuple(tuple(sorted(bar, key=lambda note: (note.start, -note.string))) for bar in out)


def thumb_where_free(layers: Sequence[Sequence[TabBar]]) -> list[tuple[TabBar, ...]]:
    """The layers' bars with the thumb back on melody notes of the fourth string.

    Where bars fell back to an easier layer, no layer may be left with a bass at that moment.
    """
    busy = {
        (index, note.start)
        for bars in layers
        for index, bar in enumerate(bars)
        for note in bar
        if note.part == "bass"
    }

    def freed(index: int, note: TabNote) -> TabNote:
        index_on_4 = note.part == "melody" and note.string == INDEX_ON_4 and note.pluck == "i"
        if index_on_4 and (index, note.start) not in busy:
            return replace(note, pluck="p")
        return note

    return [
        tuple(tuple(freed(index, note) for note in bar) for index, bar in enumerate(bars))
        for bars in layers
    ]
