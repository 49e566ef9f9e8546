"""The line of the moving bass: goals where chords change, and a way that leads to them.

Task: choose the bass notes under a melody whose fingering stands.
In:   the Tables of the search, the Melody as it is held, how much the player wants it to walk.
Out:  the bass as Below, in order of time, each ringing as long as the hand allows.
Method: dynamic programming over the places for a bass, the state being the last three pitches and
    whether they fell on main beats. So the line knows a-b-a-b, a leap that is taken back, a passing
    note that must go on by step, and parallels with the melody. A pitch is played in the way that
    costs the hand least there. The line is chosen twice: the second time a bar whose melody and
    chords were heard before likes the bass that it had then, so that sequences repeat.
References: two-part writing (goals by step or fifth, contrary motion at cadences, leaps turned
    back) as in any school of counterpoint, e.g. Fux 1725; models/bass/costs.json, `line`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from fractions import Fraction
from types import MappingProxyType

import numpy as np

from liltwright.arrange.bass import silent_ticks
from liltwright.arrange.leading import LATER, OFF, ON, BassPlace, line_price, rocking, step_costs
from liltwright.arrange.moments import Tables
from liltwright.arrange.tab import Below
from liltwright.arrange.timeline import Event
from liltwright.arrange.voices import Melody
from liltwright.guitar.states import NEVER, TICKS

FAR = np.float32(1e6)  # hurries; stands for a way that cannot be played


def walking_bass(
    tables: Tables,
    melody: Melody,
    walk: float,
    barred: Collection[int] = (),
    unlike: Mapping[int, tuple[int, float]] = MappingProxyType({}),
    passes: int = 2,
) -> list[Below]:
    """The bass line under a melody.

    walk : how much it shall move between the beats, 1 is usual
    barred : events on which none may be struck
    unlike : by event a pitch that is not wanted there, and what it costs in hurries
    passes : with 1 bars that come again need not have the bass that they had
    """
    places = [one for one in _places(tables, melody, walk) if one.number not in barred]
    for place in places:
        pitch, cost = unlike.get(place.number, (-1, 0.0))
        place.cost[tables.spots.pitches == pitch] += cost
    if not places:
        return []
    chosen = _best_line(tables, places)
    if passes > 1:
        chosen = _best_line(tables, _with_likings(tables, melody, places, chosen))
    found = []
    for place, pitch in zip(places, chosen, strict=True):
        if pitch >= 0:
            string, fret, finger = (int(x) for x in tables.spots.held[place.way[pitch]])
            midi, length = int(tables.spots.pitches[pitch]), place.event.length
            found.append(Below(place.number, string, fret, finger, midi, length))
    nexts = [*(note.event for note in found), len(tables.line.events)][1:]
    return [
        replace(note, length=_rings(tables, melody, note, until))
        for note, until in zip(found, nexts, strict=True)
    ]


# ---------------------------------------------------------------- what each place costs by itself


def _places(tables: Tables, melody: Melody, walk: float) -> list[BassPlace]:
    events, found = tables.line.events, []
    last: int | None = None
    root: int | None = None
    rests = False  # the part has come to its close: nothing walks on in this bar
    for number, event in enumerate(events):
        rests = event.closes or (rests and not event.opens_bar)
        wanted = tables.wants(event)
        if not event.slot or event.span is None:
            continue
        if rests and event.slot == "walk" and not wanted:
            continue
        ticks = tables.strikes(number, melody.indices)
        cost = np.where(ticks >= NEVER, FAR, ticks / TICKS)
        cut = line_price("cut" if event.slot == "main" else "walk_cut")
        cost = cost + cut * _cut(tables, melody, number)
        if event.slot == "main":
            cost = cost + _height(tables, event)
        way = np.array(
            [_cheapest(tables, cost, pitch) for pitch in range(len(tables.spots.pitches))]
        )
        above = None
        if event.sounding:
            above = tables.line.notes[event.note].midi + tables.transpose
        rising = 0 if last is None or above is None else int(np.sign(above - last))
        last = above
        goal = event.slot == "main" and event.span.chord.root != root
        root = event.span.chord.root
        skip = float(FAR) if wanted else silent_ticks(event, "moving", walk) / TICKS
        found.append(
            BassPlace(number, event, way, cost[way].astype(np.float32), skip, above, rising, goal)
        )
    return found


def _cheapest(tables: Tables, cost: np.ndarray, pitch: int) -> int:
    mine = np.flatnonzero(tables.spots.pitch == pitch)
    return int(mine[cost[mine].argmin()])


def _height(tables: Tables, event: Event) -> np.ndarray:
    """A bass that lies high costs a little; the chord's deepest root where it enters is liked."""
    assert event.span is not None
    midi = tables.spots.midi
    cost = line_price("each_semitone_up") * (midi - midi.min())
    roots = midi[midi % 12 == event.span.chord.root]
    if event.span.enters and len(roots):
        cost = cost - line_price("deepest_root") * (midi == roots.min())
    return cost


def _cut(tables: Tables, melody: Melody, number: int) -> np.ndarray:
    """Share of its beat that each way cannot ring, shape (ways,)."""
    events = tables.line.events
    alive = np.ones(len(tables.spots.midi), dtype=bool)
    rung, whole = np.zeros(len(alive)), 0.0
    for later in range(number, len(events)):
        event = events[later]
        if later > number:
            if event.opens_bar or event.slot == "main":
                break
            alive &= _can_ring(tables, melody, event)
        rung += alive * float(event.length)
        whole += float(event.length)
    return 1.0 - rung / whole


def _can_ring(tables: Tables, melody: Melody, event: Event) -> np.ndarray:
    """Which ways can ring on while the melody is held, without a stretch that is hard to hold."""
    held = tables.held(event, np.array([melody.indices[event.note]]))[0]
    return held <= round(line_price("hardest_hold") * TICKS)


def _rings(tables: Tables, melody: Melody, note: Below, until: int) -> Fraction:
    """How long a note rings before event `until`."""
    spots, events = tables.spots, tables.line.events
    way = int(np.flatnonzero((spots.held == (note.string, note.fret, note.finger)).all(axis=1))[0])
    length = events[note.event].length
    for event in events[note.event + 1 : until]:
        if event.opens_bar or not _can_ring(tables, melody, event)[way]:
            break
        length += event.length
    return length


def _with_likings(
    tables: Tables, melody: Melody, places: list[BassPlace], chosen: list[int]
) -> list[BassPlace]:
    """The places, those of a bar that was heard before liking what was played there then."""
    line = tables.line
    bars: dict[int, list[tuple]] = {}
    for event in line.events:
        if event.onset:
            note = (event.start, line.notes[event.note].midi, melody.indices[event.note])
            bars.setdefault(event.bar, []).append(note)
    known: dict[tuple, int] = {}
    found = []
    for place, pitch in zip(places, chosen, strict=True):
        assert place.event.span is not None
        symbol = place.event.span.chord.symbol
        key = (tuple(bars.get(place.event.bar, ())), place.event.start, symbol)
        before = known.setdefault(key, pitch)
        cost, skip = place.cost.copy(), place.skip
        if before >= 0:
            cost[before] -= line_price("as_before")
        else:
            skip -= line_price("as_before")
        found.append(replace(place, cost=cost, skip=skip))
    return found


# ---------------------------------------------------------------- the line


def _best_line(tables: Tables, places: list[BassPlace]) -> list[int]:
    """The pitch at each place (an index into the Board's pitches), -1 for none."""
    pitches = tables.spots.pitches
    n = len(pitches)
    value = np.full((3, n + 1, n + 1, n + 1), FAR, dtype=np.float32)
    value[LATER, n, n, n] = 0.0
    rock = rocking(n)
    steps: list[tuple[np.ndarray, np.ndarray]] = []
    before: BassPlace | None = None
    main: BassPlace | None = None
    for place in places:
        on_main = place.event.slot == "main"
        usable = np.flatnonzero(place.cost < FAR / 2)
        skipped = value + np.float32(place.skip)
        if on_main:
            skipped = np.full_like(value, FAR)
            skipped[LATER] = value.min(axis=0) + np.float32(place.skip)
        out, came = skipped, np.full(value.shape, -1, dtype=np.int32)
        if len(usable):
            cost = step_costs(pitches, usable, place, before, main)
            total = value[..., None] + cost[:, None] + rock[None, ..., usable]
            sources = (
                ((ON, (ON, OFF, LATER)),) if on_main else ((OFF, (ON,)), (LATER, (OFF, LATER)))
            )
            for target, kinds in sources:
                part = total[list(kinds)].reshape(len(kinds) * (n + 1), n + 1, n + 1, len(usable))
                best = part.argmin(axis=0)
                reached = np.take_along_axis(part, best[None], axis=0)[0] + place.cost[usable]
                now = out[target][:, :, usable]
                better = reached < now
                out[target][:, :, usable] = np.where(better, reached, now)
                kind = np.array(kinds)[best // (n + 1)]
                came[target][:, :, usable] = np.where(
                    better, kind * (n + 1) + best % (n + 1), came[target][:, :, usable]
                )
        steps.append((came, value.argmin(axis=0) if on_main else np.zeros(0)))
        value = out
        before = place
        main = place if on_main else main
    return _traced(value, steps, n)


def _traced(value: np.ndarray, steps: list[tuple[np.ndarray, np.ndarray]], n: int) -> list[int]:
    """Back from the cheapest end."""
    kind, a, b, c = (int(i) for i in np.unravel_index(int(value.argmin()), value.shape))
    found = []
    for came, kinds in reversed(steps):
        source = int(came[kind, a, b, c])
        if source < 0:
            found.append(-1)
            if kinds.size:
                kind = int(kinds[a, b, c])
            continue
        found.append(c)
        kind, a, b, c = source // (n + 1), source % (n + 1), a, b
    return found[::-1]
