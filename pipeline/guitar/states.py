"""Every way one note can be held, and the price of going from one to the next.

Task: tables for the best-path search in fingering.py.
In: the player's hand, the highest fret, the player's liking for open strings.
Out: States (string, fret, finger, hand position of each way) and their costs as arrays.
Method: a fretted note takes a finger in the frame of four frets that begins at the hand's
position; the index finger may reach one fret back and the little finger one fret forward. While
an open string sounds, the hand may be anywhere. Costs are rounded to whole ticks
(1/1000 hurry), so that sums are exact and the same on every machine. Spans are taken at the nut,
where frets are widest: what is held there can be held at every capo, and a tune moved up with its
capo keeps its fingering and its cost.
References: Sayegh 1989, Computer Music Journal 13(3): a path over (string, fret, finger).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, NamedTuple

import numpy as np

from liltwright.guitar.fretboard import STRINGS, span_mm
from liltwright.guitar.hand import Hand, costs, finger_cost, shift_seconds, stretch_cost

TICKS = 1000
"""Ticks of cost in one hurry."""
NEVER = 2**28
"""More ticks than any tune can cost; three of them still fit into 32 bits."""


class Stop(NamedTuple):
    """One note as it is held; finger 0 and fret 0 for an open string."""

    string: int
    fret: int
    finger: int
    position: int


@dataclass(frozen=True, eq=False)
class States:
    """Every Stop up to a highest fret, and its costs.

    string, fret, finger, position : integer arrays, shape (n,)
    of_place : index arrays by [string][fret]
    off_beat, on_beat : ticks of a state by itself, shape (n + 1,); the last is NEVER
    move : ticks of going from state to state however long it takes, shape (n, n)
    travel_s : seconds that the hand travels, shape (n, n)
    repeat_s : seconds that plucking the same string again takes, shape (n, n)
    """

    string: np.ndarray
    fret: np.ndarray
    finger: np.ndarray
    position: np.ndarray
    of_place: tuple[tuple[np.ndarray, ...], ...]
    off_beat: np.ndarray
    on_beat: np.ndarray
    move: np.ndarray
    travel_s: np.ndarray
    repeat_s: np.ndarray

    def stop(self, index: int) -> Stop:
        """One state by its index."""
        return Stop(
            int(self.string[index]),
            int(self.fret[index]),
            int(self.finger[index]),
            int(self.position[index]),
        )


def ways(fret: int, highest: int, hand: Hand) -> list[tuple[int, int, float]]:
    """(finger, hand position, stretch cost) of every way to hold one fret; 0 is open."""
    if fret == 0:
        return [(0, position, 0.0) for position in range(1, highest + 1)]
    found = [(1, fret, 0.0)]
    tries = [(1, fret + 1)] + [(f, fret - f + 1) for f in (2, 3, 4)] + [(4, fret - 4)]
    for finger, position in tries:
        if not 1 <= position <= highest:
            continue
        low, high = (fret, fret + 4) if finger == 1 else (position, fret)
        width = span_mm(low, high, capo=0, scale_mm=hand.scale_mm)
        cost = stretch_cost(1, 4 if finger == 1 else finger, width, hand)
        if not math.isinf(cost):
            found.append((finger, position, cost))
    return found


@lru_cache(maxsize=4)
def states(highest: int, hand: Hand, open_strings: Literal["like", "neutral", "avoid"]) -> States:
    """The tables for frets 0 to `highest`, counted from the capo."""
    rows: list[Stop] = []
    of_place, stretch = [], []
    for string in range(STRINGS + 1):
        mine = []
        for fret in range(highest + 1 if string else 0):
            found = ways(fret, highest, hand)
            mine.append(np.arange(len(rows), len(rows) + len(found)))
            rows += [Stop(string, fret, finger, position) for finger, position, _ in found]
            stretch += [cost for _, _, cost in found]
        of_place.append(tuple(mine))
    string_, fret_, finger_, position_ = np.array(rows, dtype=np.int64).T
    table = {"string": string_, "fret": fret_, "finger": finger_, "position": position_}
    alone = _alone(rows, np.array(stretch), open_strings)
    bass = [_bass_lines(string_, beat) for beat in ("off", "beat")]
    move, travel_s, repeat_s = _moves(**table, hand=hand)
    off_beat, on_beat = (np.append(_ticks(alone + line), NEVER) for line in bass)
    return States(
        string_, fret_, finger_, position_, tuple(of_place), off_beat, on_beat,
        move, travel_s, repeat_s,
    )  # fmt: skip


def _ticks(cost: np.ndarray) -> np.ndarray:
    return np.minimum(np.rint(cost * TICKS), NEVER).astype(np.int32)


def _alone(rows: list[Stop], stretch: np.ndarray, open_strings: str) -> np.ndarray:
    line = costs()
    fretted = line["open_liked"] if open_strings == "like" else 0.0
    opened = line["open_avoided"] if open_strings == "avoid" else 0.0
    held = [
        finger_cost(row.finger) + fretted + line["position_fret"] * (row.position - 1)
        if row.finger
        else opened
        for row in rows
    ]
    return np.array(held) + stretch


def _bass_lines(string: np.ndarray, beat: str) -> np.ndarray:
    by_string = [0.0] * 4 + [costs()[f"bass_{beat}_{s}"] for s in (4, 5, 6)]
    return np.array(by_string)[string]


def _moves(
    *,
    string: np.ndarray,
    fret: np.ndarray,
    finger: np.ndarray,
    position: np.ndarray,
    hand: Hand,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Move, travel_s and repeat_s of States: from the row's state to the column's."""
    line = costs()
    highest = int(position.max())
    travel = np.array(
        [[shift_seconds(a, b) for b in range(highest + 1)] for a in range(1, highest + 1)]
    )
    travel = np.vstack([np.zeros(highest + 1), travel])
    strings_apart = np.abs(string[:, None] - string)
    same_string = strings_apart == 0
    same_fret = fret[:, None] == fret
    shifted = position[:, None] != position
    both = (finger[:, None] > 0) & (finger > 0)
    same_finger = both & (finger[:, None] == finger)
    move = line["shift_attention"] * shifted
    move += line["skip_string"] * np.maximum(strings_apart - 1, 0)
    move += line["cut_ring"] * (same_string & ~same_fret)
    hop = same_finger & ~shifted & same_fret
    move += line["hop_adjacent"] * (hop & (strings_apart == 1))
    move += line["hop_far"] * (hop & (strings_apart > 1))
    move += line["same_finger_jump"] * (same_finger & ~same_string & (~same_fret | shifted))
    move += line["same_finger_slide"] * (same_finger & same_string & ~same_fret & ~shifted)
    move += line["swap"] * (both & ~same_finger & same_string & same_fret)
    pair = (finger[:, None] + finger == 7) & (np.abs(finger[:, None] - finger) == 1)
    move += line["weak_pair"] * (pair & ~shifted)
    frets = int(fret.max()) + 1
    width = np.array(
        [
            [span_mm(a, b, capo=0, scale_mm=hand.scale_mm) for b in range(frets)]
            for a in range(frets)
        ]
    )
    too_wide = both & ~shifted & (width[fret[:, None], fret] > hand.widest_mm)
    move[too_wide] = math.inf
    guided = np.where(same_finger & same_string, line["guide_share"], 1.0)
    travel_s = travel[position[:, None], position] * guided
    repeat_s = line["repeat_s"] * same_string
    return move, travel_s, repeat_s


def step_ticks(table: States, seconds: float, gap_s: float) -> np.ndarray:
    """Ticks from every state to every other, shape (n + 1, n + 1); the last row and column NEVER.

    seconds : from this note's onset to the next one's
    gap_s : of them, how long nothing sounds before the next note
    """
    sounding = seconds - gap_s
    fretted_s = gap_s + sounding * costs()["shift_share"]
    available_s = np.where(table.finger > 0, fretted_s, seconds)
    cost = table.move + table.travel_s / available_s[:, None] + table.repeat_s / seconds
    out = np.full((len(cost) + 1,) * 2, NEVER, dtype=np.int32)
    out[:-1, :-1] = _ticks(cost)
    return out
