"""What the hands can do and what it costs: shifts, stretches, grips.

Task: price one move or one grip of the fretting hand.
In: hand positions (the fret under the index finger, from the capo), places, seconds.
Out: costs in hurries (1 is a move that needs exactly the time there is); grips with fingers.
Method: travel time by Fitts's law over fret widths; stretches in mm against the player's span;
grips by trying every order of fingers. All values are lines of models/hand/costs.json.
References: Fitts 1954 (J. Exp. Psychology 47(6)); MacKenzie 1992 (Human-Computer Interaction 7);
Heijink and Meulenbroek 2002 (J. Motor Behavior 34(2)).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import combinations_with_replacement

from liltwright import models
from liltwright.guitar.fretboard import Place, fret_mm, span_mm

FILE = "hand/costs.json"
FRAME = 4  # frets under the four fingers of one position


@cache
def costs() -> dict[str, float]:
    """Value of every cost line by name; units and reasons stand in the file."""
    return {line["name"]: float(line["value"]) for line in models.read_json(FILE)["lines"]}


@dataclass(frozen=True, slots=True)
class Hand:
    """The fretting hand on its guitar: spans are index to little finger, in mm."""

    scale_mm: float = 648.0
    comfort_mm: float = 100.0
    widest_mm: float = 130.0


@dataclass(frozen=True, slots=True)
class Grip:
    """One way to hold several fretted places at once.

    fingers : finger 1 to 4 of each place, in the order the places were given
    position : fret under the index finger, from the capo
    span_mm : distance between the lowest and the highest fret held
    barre : strings under one laid finger; 0 when every finger holds one string
    cost : hurries to put it down and hold it, without the move into it
    """

    fingers: tuple[int, ...]
    position: int
    span_mm: float
    barre: int
    cost: float


def finger_cost(finger: int) -> float:
    """Cost of pressing with finger 1 to 4; 0 for an open string (finger 0)."""
    return costs()["press"] + costs()[f"finger_{finger}"] if finger else 0.0


@cache
def finger_share(low: int, high: int) -> float:
    """Share of the hand's whole span that two fingers reach between them; 0 for one finger."""
    return models.read_json(FILE)["finger_span_share"][f"{low}-{high}"] if low < high else 0.0


def stretch_cost(low: int, high: int, width_mm: float, hand: Hand) -> float:
    """Cost of holding two fingers `width_mm` apart; inf beyond the player's widest span."""
    share = finger_share(low, high)
    if width_mm > share * hand.widest_mm + 1e-9:
        return math.inf
    return costs()["stretch_mm"] * max(0.0, width_mm - share * hand.comfort_mm)


def shift_seconds(from_position: int, to_position: int) -> float:
    """Seconds the hand travels between two positions; the same at every capo and scale length."""
    if from_position == to_position:
        return 0.0
    here, there = fret_mm(from_position, 1.0), fret_mm(to_position, 1.0)
    width = there - fret_mm(to_position - 1, 1.0)
    bits = math.log2(abs(there - here) / width + 1.0)
    return costs()["shift_start_s"] + costs()["shift_bit_s"] * bits


def grips(places: tuple[Place, ...], *, capo: int, hand: Hand) -> tuple[Grip, ...]:
    """Every way to hold the places at once, cheapest first; empty when no hand can.

    places : at most one per string; open ones take no finger (0) but forbid a barre over them.
    Fingers rise with the frets; one finger may lie over several strings of one fret.
    """
    return _grips(places, capo, hand)


@lru_cache(maxsize=65536)
def _grips(places: tuple[Place, ...], capo: int, hand: Hand) -> tuple[Grip, ...]:
    held = sorted((p for p in places if p.fret), key=lambda p: (p.fret, -p.string))
    if not held:
        return (Grip((0,) * len(places), 1, 0.0, 0, 0.0),)
    found = []
    for fingers in combinations_with_replacement((1, 2, 3, 4), len(held)):
        by_place = dict(zip(held, fingers, strict=True))
        grip = _grip(places, by_place, capo, hand)
        if grip is not None:
            found.append(grip)
    return tuple(sorted(found, key=lambda grip: (grip.cost, grip.fingers)))


def _grip(
    places: tuple[Place, ...], by_place: dict[Place, int], capo: int, hand: Hand
) -> Grip | None:
    barre = _barre(places, by_place)
    lowest, lowest_finger = min(by_place.items(), key=lambda item: (item[1], item[0].fret))
    position = lowest.fret - lowest_finger + 1
    if barre is None or position < 1:
        return None
    fingers_down = set(by_place.values())
    cost = sum(finger_cost(finger) for finger in fingers_down)
    for a, low in by_place.items():
        for b, high in by_place.items():
            if low < high:
                width = span_mm(a.fret, b.fret, capo=capo, scale_mm=hand.scale_mm)
                cost += stretch_cost(low, high, width, hand)
    frets = [place.fret for place in by_place]
    if math.isinf(cost):
        return None
    cost += costs()["position_fret"] * (position - 1)
    cost += costs()["finger_held"] * (len(fingers_down) - 1)
    cost += costs()["barre_string"] * max(barre - 1, 0)
    laid = [finger for finger in fingers_down if list(by_place.values()).count(finger) > 1]
    cost += costs()["barre_other"] * sum(finger > 1 for finger in laid)
    width = span_mm(min(frets), max(frets), capo=capo, scale_mm=hand.scale_mm)
    fingers = tuple(by_place.get(place, 0) for place in places)
    return Grip(fingers, position, width, barre, cost)


def _barre(places: tuple[Place, ...], by_place: dict[Place, int]) -> int | None:
    """Strings under the widest laid finger; None when one finger cannot lie like this."""
    widest = 0
    for finger in set(by_place.values()):
        mine = [place for place, used in by_place.items() if used == finger]
        if len(mine) == 1:
            continue
        fret = mine[0].fret
        top, bottom = min(p.string for p in mine), max(p.string for p in mine)
        covered = [p for p in places if top <= p.string <= bottom]
        if any(p.fret != fret for p in mine) or any(p.fret < fret for p in covered):
            return None
        widest = max(widest, bottom - top + 1)
    return widest
