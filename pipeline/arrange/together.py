"""What two notes at once ask of one fretting hand.

Task: say which pairs of held notes one hand can hold, and what that costs.
In:   notes as string, fret and finger; the player's hand.
Out:  cost arrays in ticks, NEVER where no hand can do it.
Method: the rules of liltwright.guitar.hand.grips for two places, as arrays: fingers rise with the
    frets, at one fret with the strings; one finger may lie over one fret; spans are taken at the
    nut, so that a shape can be kept at every capo.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from liltwright.guitar.fretboard import span_mm
from liltwright.guitar.hand import Hand, costs, stretch_cost
from liltwright.guitar.states import NEVER, TICKS


@lru_cache(maxsize=8)
def stretch_ticks(highest: int, hand: Hand) -> np.ndarray:
    """Ticks of holding two fingers on two frets, by [low finger, high finger, fret, fret]."""
    table = np.full((5, 5, highest + 1, highest + 1), NEVER, dtype=np.int32)
    for low in range(1, 5):
        for high in range(low + 1, 5):
            for a in range(1, highest + 1):
                for b in range(a, highest + 1):
                    width = span_mm(a, b, capo=0, scale_mm=hand.scale_mm)
                    cost = stretch_cost(low, high, width, hand)
                    if not math.isinf(cost):
                        table[low, high, a, b] = round(cost * TICKS)
    return table


def pair_ticks(upper: np.ndarray, lower: np.ndarray, highest: int, hand: Hand) -> np.ndarray:
    """Ticks of holding each upper note together with each lower one, shape (uppers, lowers).

    upper, lower : integer arrays, shape (n, 3): string, fret, finger; finger 0 is open
    NEVER where both want one string, the strings are crossed, or no hand can hold both.
    """
    us, uf, ug = (column[:, None] for column in upper.T)
    ls, lf, lg = lower.T
    never = ls <= us
    both = (ug > 0) & (lg > 0)
    laid = both & (ug == lg)
    never = never | (laid & (uf != lf))
    lower_first = lg < ug
    wrong = np.where(lower_first, lf > uf, (uf > lf) | ((uf == lf) & (ug != lg)))
    never = never | (both & ~laid & wrong)
    low_finger, high_finger = np.minimum(ug, lg), np.maximum(ug, lg)
    low_fret, high_fret = np.minimum(uf, lf), np.maximum(uf, lf)
    stretch = stretch_ticks(highest, hand)[low_finger, high_finger, low_fret, high_fret]
    line = costs()
    ticks = np.where(both & ~laid, stretch + round(line["finger_held"] * TICKS), 0)
    ticks = ticks + np.where(laid, np.round(line["barre_string"] * TICKS * (ls - us)), 0)
    return np.minimum(np.where(never, NEVER, ticks), NEVER).astype(np.int32)
