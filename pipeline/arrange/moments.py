"""What every moment of the search costs: the tables that the best path adds up.

Task: turn events, ways of holding the melody and places for the bass into arrays of ticks.
In:   the TuneEvents, the States of the fretting hand, a Board, the states allowed for each note.
Out:  one MomentCosts for each event.
Method: costs are looked up where they belong (hand: liltwright.guitar; bass: bass.py; both at
    once: together.py) and cached, as a tune repeats itself. Ticks of NEVER forbid.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from liltwright.arrange import bass
from liltwright.arrange.bass import Board, Policy
from liltwright.arrange.pinned import Pinned
from liltwright.arrange.timeline import Event, TuneEvents
from liltwright.arrange.together import pair_ticks
from liltwright.guitar.hand import Hand
from liltwright.guitar.states import NEVER, TICKS, States, step_ticks

NONE, OCTAVE, FIFTH = 0, 1, 2
"""How a bass note on a main beat lies below the melody: its relation."""


@dataclass(frozen=True, eq=False)
class MomentCosts:
    """Costs at one event in ticks; m states of the melody before, n now, w ways of the bass.

    move : from each melody state to each, with its own ticks, shape (m, n); None while the same
        note stands
    held : holding each bass way together with each melody state, shape (n, w)
    struck : the same with everything that striking it costs, shape (n, w); NEVER off the slots
    leading : from the last bass pitch, shape (3, pitches + 1, w); see bass.leading_ticks
    parallel : by relation on the main beat before and now, shape (3, w)
    relation : of each way to the melody now, shape (w,)
    hop : for the bass to use the finger of the melody note before, by finger, shape (5, m)
    reused : for the melody to use the finger of a bass note that rang, shape (n, w)
    missed, quiet : no strike here; nothing sounding until the next event
    """

    move: np.ndarray | None
    held: np.ndarray
    struck: np.ndarray
    leading: np.ndarray
    parallel: np.ndarray
    relation: np.ndarray
    hop: np.ndarray
    reused: np.ndarray
    missed: int
    quiet: int
    opens_bar: bool
    main: bool
    slot: bool


class Tables:
    """What does not depend on the policy: one tune on one setup."""

    def __init__(
        self,
        line: TuneEvents,
        table: States,
        spots: Board,
        *,
        transpose: int,
        hand: Hand,
        walk: float = 1.0,
        pinned: Pinned = Pinned(),
    ) -> None:
        """transpose : semitones from the written tune to the sound; walk : see silent_ticks."""
        self.walk, self.pinned = walk, pinned
        self.wanted = pinned.bass_places()
        self.line, self.table, self.spots = line, table, spots
        self.transpose, self.hand = transpose, hand
        self.highest = int(table.fret.max())
        self.holding = bass.holding_ticks(spots)
        self._hop = round(bass.price("finger_hop") * TICKS)
        self._alone = self._alone_ticks()
        self._kept: dict[tuple[Any, ...], np.ndarray] = {}

    def start(self, states: np.ndarray) -> np.ndarray:
        """Ticks of beginning in each state."""
        return self._alone[states]

    def _alone_ticks(self) -> np.ndarray:
        """Ticks of each melody state by itself; the lowest strings are wanted for the bass."""
        lines = {5: bass.price("melody_on_5"), 6: bass.price("melody_on_6")}
        taken = [round(lines.get(string, 0.0) * TICKS) for string in self.table.string.tolist()]
        return self.table.off_beat[: len(taken)] + np.array(taken, dtype=np.int32)

    def moments(self, choices: Sequence[np.ndarray], policy: Policy) -> list[MomentCosts]:
        """One MomentCosts an event; choices are the states (indices into States) of each note."""
        found = []
        last_slot: int | None = None
        last_main: int | None = None
        before: Event | None = None
        for event in self.line.events:
            above = self._above(event)
            rising = 0 if last_slot is None or above is None else int(np.sign(above - last_slot))
            moved = last_main is not None and above is not None and (above - last_main) % 12 != 0
            found.append(self._moment(before, event, above, rising, moved, choices, policy))
            before = event
            if event.slot:
                last_slot = above
            if event.slot == "main":
                last_main = above
        return found

    def _moment(
        self,
        before: Event | None,
        event: Event,
        above: int | None,
        rising: int,
        melody_moved: bool,
        choices: Sequence[np.ndarray],
        policy: Policy,
    ) -> MomentCosts:
        mine = choices[event.note]
        theirs = mine if before is None else choices[before.note]
        changed = before is not None and before.note != event.note
        held = self.held(event, mine)
        relation = self._relation(above)
        parallel = np.zeros((3, len(relation)), dtype=np.int32)
        if event.slot == "main" and melody_moved:
            for kind in (OCTAVE, FIFTH):
                parallel[kind] = round(bass.price("parallel") * TICKS) * (relation == kind)
        return MomentCosts(
            self._move(before, event, choices) if changed and before is not None else None,
            held,
            self._struck(event, mine, held, above, policy),
            self._leading(event, rising, policy),
            parallel,
            relation,
            self._hops(theirs) if changed else np.zeros((5, len(theirs)), dtype=np.int32),
            self._reused(mine) if changed else np.zeros_like(held),
            NEVER
            if policy == "moving" and self.wants(event)
            else bass.silent_ticks(event, policy, self.walk),
            bass.silence_ticks(event, self.line),
            event.opens_bar,
            event.slot == "main",
            bool(event.slot),
        )

    def wants(self, event: Event) -> bool:
        """Whether the user wants a bass note here, so that none may be left out."""
        return (event.bar, event.start) in self.wanted

    def _above(self, event: Event) -> int | None:
        if not event.sounding:
            return None
        return self.line.notes[event.note].midi + self.transpose

    def _move(self, before: Event, event: Event, choices: Sequence[np.ndarray]) -> np.ndarray:
        note, line = before.note, self.line.line
        kind = (line.seconds[note], line.gap_s[note])
        here, there = choices[note], choices[event.note]
        key = ("move", kind, here.tobytes(), there.tobytes())
        if key not in self._kept:
            if ("step", kind) not in self._kept:
                self._kept["step", kind] = step_ticks(self.table, *kind)
            moves = self._kept["step", kind][np.ix_(here, there)] + self._alone[there]
            self._kept[key] = np.minimum(moves, NEVER)
        return self._kept[key]

    def _hops(self, states: np.ndarray) -> np.ndarray:
        fingers = np.arange(5)[:, None]
        return (self._hop * ((self.table.finger[states] == fingers) & (fingers > 0))).astype(
            np.int32
        )

    def _reused(self, states: np.ndarray) -> np.ndarray:
        mine = self.table.finger[states][:, None]
        return (self._hop * ((mine == self.spots.finger) & (mine > 0))).astype(np.int32)

    def held(self, event: Event, mine: np.ndarray) -> np.ndarray:
        key = ("held", mine.tobytes(), event.sounding and event.note)
        if event.sounding:
            key = ("held", mine.tobytes(), self.line.notes[event.note].midi)
        if key not in self._kept:
            table, spots = self.table, self.spots
            ticks = np.zeros((len(mine), len(spots.midi)), dtype=np.int32)
            if event.sounding:
                upper = np.stack([table.string[mine], table.fret[mine], table.finger[mine]], 1)
                ticks = pair_ticks(upper, spots.held, self.highest, self.hand)
                above = self.line.notes[event.note].midi + self.transpose
                ticks = np.where(spots.midi >= above, NEVER, ticks)
            reach = spots.positions[:, table.position[mine]].T | (spots.fret == 0)
            self._kept[key] = np.where(reach, ticks, NEVER).astype(np.int32)
        return self._kept[key]

    def strikes(self, number: int, indices: Sequence[int]) -> np.ndarray:
        """Ticks of striking each way of a moving bass at an event, the melody's states given."""
        event = self.line.events[number]
        mine = np.array([indices[event.note]])
        ticks = self._struck(event, mine, self.held(event, mine), self._above(event), "moving")[0]
        before = self.line.events[number - 1].note if number else event.note
        if before != event.note:
            hops = self._hops(np.array([indices[before]]))[:, 0]
            ticks = ticks + hops[self.spots.finger]
        return np.minimum(ticks, NEVER)

    def _struck(
        self,
        event: Event,
        mine: np.ndarray,
        held: np.ndarray,
        above: int | None,
        policy: Policy,
    ) -> np.ndarray:
        if not event.slot:
            return np.full_like(held, NEVER)
        own = bass.strike_ticks(event, self.spots, policy, above).astype(np.int64) + self.holding
        mask = self.pinned.bass_mask(event.bar, event.start, self.spots.held, policy == "moving")
        if mask is not None:
            named = self.pinned.names_bass(event.bar, event.start) and policy == "moving"
            own = np.where(mask, self.holding if named else own, NEVER)
        total = held + own
        if event.onset:
            # The thumb is busy with the bass, so a finger must play the melody.
            string = self.table.string[mine]
            total[string >= 5] = NEVER
            total[string == 4] += round(bass.price("finger_on_4") * TICKS)
        return np.minimum(total, NEVER).astype(np.int32)

    def _leading(self, event: Event, rising: int, policy: Policy) -> np.ndarray:
        key = ("leading", event.slot, rising, policy)
        if key not in self._kept:
            by_pitch = bass.leading_ticks(event, self.spots, policy, rising)
            self._kept[key] = by_pitch[:, :, self.spots.pitch]
        return self._kept[key]

    def _relation(self, above: int | None) -> np.ndarray:
        if above is None:
            return np.zeros(len(self.spots.midi), dtype=np.int64)
        interval = (above - self.spots.midi) % 12
        return np.where(interval == 0, OCTAVE, np.where(interval == 7, FIFTH, NONE))
