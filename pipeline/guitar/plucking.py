"""The plucking hand: thumb, index, middle or ring finger (p i m a) for every note of a line.

Task: choose the plucking fingers of a melody whose strings are known.
In: string numbers and seconds to the next note. Out: one of p, i, m, a for each note.
Method: exact best path over the four fingers; costs are lines of models/hand/costs.json.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, get_args

import numpy as np

from liltwright.guitar.hand import costs

Pluck = Literal["p", "i", "m", "a"]
FINGERS: tuple[Pluck, ...] = get_args(Pluck)
HOME = {"p": (4, 5, 6), "i": (3,), "m": (2,), "a": (1,)}
"""Strings of each finger at rest (common practice)."""


def pluck(strings: Sequence[int], seconds: Sequence[float]) -> tuple[Pluck, ...]:
    """Plucking fingers with the lowest total cost.

    strings : string numbers, 1 highest; seconds : from each onset to the next
    """
    value = np.array([home_cost(finger, strings[0]) for finger in FINGERS])
    back = []
    for k in range(1, len(strings)):
        moves = np.array(
            [
                [move_cost(a, b, strings[k - 1], strings[k], seconds[k - 1]) for b in FINGERS]
                for a in FINGERS
            ]
        )
        total = value[:, None] + moves
        back.append(total.argmin(axis=0))
        value = total.min(axis=0) + [home_cost(finger, strings[k]) for finger in FINGERS]
    best = [int(value.argmin())]
    for choice in reversed(back):
        best.append(int(choice[best[-1]]))
    return tuple(FINGERS[index] for index in reversed(best))


def home_cost(finger: Pluck, string: int) -> float:
    """Cost of a finger away from the strings it rests on; the thumb belongs on 6, 5 and 4."""
    line = costs()
    away = min(abs(string - home) for home in HOME[finger])
    if finger == "p" or string >= 4:
        return line["pluck_thumb_away"] * away
    return line["pluck_away"] * away


def move_cost(a: Pluck, b: Pluck, string_a: int, string_b: int, seconds: float) -> float:
    """Cost of plucking with b after a."""
    line = costs()
    if a == b:
        return line["pluck_same_s"] / seconds
    crossed = FINGERS.index(a) < FINGERS.index(b) and string_a < string_b
    crossed |= FINGERS.index(a) > FINGERS.index(b) and string_a > string_b
    weak = line["pluck_weak_pair"] if {a, b} == {"m", "a"} else 0.0
    return weak + (line["pluck_crossed"] if crossed else 0.0)
