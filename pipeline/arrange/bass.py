"""The bass: where it may be played, and what each note of it costs in its place.

Task: price a bass note by its chord, by the melody above it and by the bass note before it.
In:   an Event of the timeline, a Board of places, a Policy (drone, plain or moving).
Out:  arrays of ticks over the places, NEVER where the policy does not allow a note.
Method: every cost is a line of models/bass/costs.json, in the same unit as the costs of the hand,
    so that one best path can weigh a stretch against a better bass note.
References: rules of two-part writing (contrary motion, steps, no parallel octaves and fifths) as
    in any school of counterpoint, e.g. Fux 1725, Gradus ad Parnassum; pitches below the melody.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from liltwright import keys, models
from liltwright.arrange.chords import ChordTones
from liltwright.arrange.timeline import Event, TuneEvents
from liltwright.guitar.fretboard import STRINGS, open_midi
from liltwright.guitar.hand import Hand, finger_cost
from liltwright.guitar.states import NEVER, TICKS, ways
from liltwright.pins import Pin
from liltwright.tab import Setup

Policy = Literal["drone", "moving"]
FILE = "bass/costs.json"
BASS_STRINGS = (6, 5, 4)
"""The thumb's own."""
OCTAVE, FIFTH = 0, 7  # semitones above the root


def price(name: str) -> float:
    """One cost line, in hurries."""
    return float(models.read_json(FILE)["bass"][name])


@dataclass(frozen=True, eq=False)
class Board:
    """Every way to play a bass note, sorted by pitch.

    string, fret, finger, midi : integer arrays, shape (n,); midi is as it sounds
    positions : hand positions in which the finger reaches the fret, shape (n, positions + 1)
    pitches : the different pitches, rising, shape (p,)
    pitch : index into `pitches` of each way, shape (n,)
    first : where each pitch begins among the ways, shape (p,)
    """

    string: np.ndarray
    fret: np.ndarray
    finger: np.ndarray
    midi: np.ndarray
    positions: np.ndarray
    pitches: np.ndarray
    pitch: np.ndarray
    first: np.ndarray

    @property
    def held(self) -> np.ndarray:
        """String, fret and finger of each way, shape (n, 3)."""
        return np.stack([self.string, self.fret, self.finger], axis=1)


def board(
    setup: Setup,
    *,
    tones: frozenset[int],
    below: int,
    neck: int,
    hand: Hand,
    also: Sequence[Pin] = (),
) -> Board:
    """The places for a bass.

    tones : pitch classes the bass may use; below : the bass stays under this pitch
    neck : highest hand position in the States that the melody uses
    also : pins that name further places, whatever sounds there
    """
    table = models.read_json(FILE)
    lowest = min(setup.strings_midi) + setup.capo
    top = min(below - 1, lowest + table["range_semitones"])
    rows = []
    for string in BASS_STRINGS:
        for fret in range(neck + 1):
            midi = open_midi(setup.strings_midi, string) + setup.capo + fret
            usual = fret <= table["highest_fret"] and midi <= top and midi % 12 in tones
            if not usual and not any(
                pin.string in (None, string) and pin.fret == fret for pin in also
            ):
                continue
            found: dict[int, set[int]] = {}
            for finger, position, _ in ways(fret, neck, hand):
                found.setdefault(finger, set()).add(position)
            rows += [(midi, string, fret, finger, found[finger]) for finger in sorted(found)]
    rows.sort(key=lambda row: row[:4])
    midi_, string_, fret_, finger_ = (
        np.array([row[i] for row in rows], dtype=np.int64) for i in range(4)
    )
    positions = np.zeros((len(rows), neck + 1), dtype=bool)
    for index, row in enumerate(rows):
        positions[index, list(row[4])] = True
    pitches, first, pitch = np.unique(midi_, return_index=True, return_inverse=True)
    return Board(string_, fret_, finger_, midi_, positions, pitches, pitch, first)


def holding_ticks(spots: Board) -> np.ndarray:
    """Ticks of fretting each way by itself, shape (n,): open strings first, low frets next."""
    fretted = price("fretted") + price("each_fret") * spots.fret
    fingers = np.array([finger_cost(int(finger)) for finger in spots.finger])
    cost = np.where(spots.finger > 0, fretted + fingers, 0.0)
    return np.rint(cost * TICKS).astype(np.int32)


def strike_ticks(event: Event, spots: Board, policy: Policy, melody_midi: int | None) -> np.ndarray:
    """Ticks of striking each way at an event, from chord and melody, shape (n,).

    melody_midi : what sounds above, as it sounds; None in a rest
    """
    if event.span is None or not event.slot:
        return np.full(len(spots.midi), NEVER, dtype=np.int32)
    cost = _chord_cost(event, spots, policy)
    if melody_midi is not None:
        above = melody_midi - spots.midi
        clash = np.isin(above % 12, (1, 11))
        cost = cost + price("half_step_clash" if event.slot == "main" else "walk_clash") * clash
        near = above < models.read_json(FILE)["near_melody_semitones"]
        cost = cost + price("near_melody") * near
        cost = np.where(above <= 0, np.inf, cost)
    if event.slot == "walk":
        cost = cost + price("walk_hurry_s") / max(event.seconds, 0.01)
    return np.minimum(np.rint(np.minimum(cost, 1e6) * TICKS), NEVER).astype(np.int32)


def _chord_cost(event: Event, spots: Board, policy: Policy) -> np.ndarray:
    assert event.span is not None
    chord = event.span.chord
    tone = spots.midi % 12
    in_chord = np.isin(tone, list(chord.tones))
    if event.slot == "walk":
        allowed = policy == "moving"
        cost = np.where(in_chord, 0.0, price("walk_outside_chord"))
        foreign = np.isin(tone, list(_thirds(chord) - chord.tones))
        return np.where(foreign, np.inf, cost) + (0.0 if allowed else np.inf)
    if policy == "drone":
        cost = np.where(tone == chord.fifth, price("drone_fifth"), price("pedal"))
        cost = np.where(tone == chord.root, 0.0, cost)
        cost = np.where(np.isin(tone, list(_thirds(chord) - chord.tones)), np.inf, cost)
        return np.where((spots.fret == 0) & (spots.string >= 4), cost, np.inf)
    fifth = price("fifth") + (price("fifth_on_bar") if event.start == 0 else 0.0)
    cost = np.where(np.isin(tone, list(event.span.basses)), fifth, np.inf)
    cost = np.where(tone == (chord.root if chord.bass is None else chord.bass), 0.0, cost)
    return cost + price("not_root_at_close") * (event.closes & (tone != chord.root))


def _thirds(chord: ChordTones) -> frozenset[int]:
    return frozenset({(chord.root + 3) % 12, (chord.root + 4) % 12})


def leading_ticks(event: Event, spots: Board, policy: Policy, rising: int) -> np.ndarray:
    """Ticks of going from the last bass pitch to a new one, shape (3, pitches + 1, pitches).

    First axis: whether the last bass note fell on a main beat (0), or between beats and came from
    below or as a repetition (1) or from above (2). The last row of the second axis stands for no
    bass note before.
    rising : 1, 0 or -1, where the melody has gone since the last place for a bass
    """
    pitches = spots.pitches
    going = pitches[None, :] - pitches[:, None]
    step, same = (going != 0) & (np.abs(going) <= 2), going == 0
    cost = np.zeros((3, len(pitches) + 1, len(pitches)))
    if policy == "drone":
        cost[:, :-1] = price("drone_change") * ~same
        return np.rint(cost * TICKS).astype(np.int32)
    both = price("contrary") * (np.sign(going) * rising < 0)
    far = price("leap") * ~(step | same)
    far = far + price("leap_semitone") * np.maximum(np.abs(going) - 2, 0)
    if event.slot == "walk":
        moved = np.where(step, 0.0, np.where(same, price("walk_repeat"), price("walk_leap")))
        cost[:, :-1] = both + moved
        cost[1:, :-1] += np.where(step, 0.0, price("leave_walk_leap"))
    else:
        cost[0, :-1] = both + np.where(same, price("repeat_main"), far)
        left = np.where(same, price("leave_walk_repeat"), price("leave_walk_leap") + far)
        for came, way in ((1, 1), (2, -1)):
            onward = np.where(np.sign(going) == way, price("passing"), price("neighbour"))
            cost[came, :-1] = both + np.where(step, onward, left)
    return np.rint(cost * TICKS).astype(np.int32)


def silent_ticks(event: Event, policy: Policy, walk: float) -> int:
    """Ticks of striking no bass at an event; `walk` is how much the player wants it to walk."""
    cost = 0.0
    if event.slot == "main" and event.span is not None:
        cost = price("missing_main") + (price("missing_bar") if event.start == 0 else 0.0)
    elif event.slot == "walk" and policy == "moving":
        cost = price("missing_walk") * walk
    return round(cost * TICKS)


def silence_ticks(event: Event, line: TuneEvents) -> int:
    """Ticks of having no bass sounding until the next event."""
    if event.span is None:
        return 0
    return round(price("silent_beat") * TICKS * float(event.length / line.beat))


def usable_tones(line: TuneEvents, key: keys.KeyName) -> frozenset[int]:
    """Pitch classes for a bass: the scale as it sounds and every chord tone."""
    tonic = keys.pitch_class(key.tonic)
    tones = {(tonic + step) % 12 for step in keys.scale_steps(key.mode)}
    for event in line.events:
        if event.span is not None:
            tones |= event.span.chord.tones
            tones |= {event.span.chord.bass} if event.span.chord.bass is not None else set()
    return frozenset(tones)


def open_strings_with(setup: Setup, tones: frozenset[int]) -> tuple[int, ...]:
    """The thumb's own strings (4 to 6) that sound one of the tones when open."""
    return tuple(
        string
        for string in range(4, STRINGS + 1)
        if (open_midi(setup.strings_midi, string) + setup.capo) % 12 in tones
    )
