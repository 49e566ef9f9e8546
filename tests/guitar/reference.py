"""The cost of one path note by note, from the cost table alone, and the best path by trying all.

Shares no code with states.py and fingering.py: the lines of models/hand/costs.json are read and
added up one note at a time, as a person would with pencil and paper.
"""

from __future__ import annotations

import json
import math
from itertools import product
from pathlib import Path

TABLE = json.loads(
    (Path(__file__).parents[2] / "models" / "hand" / "costs.json").read_text(encoding="utf-8")
)
C = {line["name"]: line["value"] for line in TABLE["lines"]}
SHARE = TABLE["finger_span_share"]
SCALE, COMFORT, WIDEST = 648.0, 100.0, 130.0

Stop = tuple[int, int, int, int]
"""string, fret, finger, hand position"""


def wire(fret: int) -> float:
    return SCALE - SCALE / 2 ** (fret / 12)


def stops_for(pitch: int, opened: list[int], highest: int, positions: int) -> list[Stop]:
    """Every way to hold a pitch; opened runs from the sixth string to the first."""
    found: list[Stop] = []
    for string in range(1, 7):
        fret = pitch - opened[6 - string]
        if fret == 0:
            found += [(string, 0, 0, position) for position in range(1, positions + 1)]
        elif 0 < fret <= highest:
            for finger, position in [(1, fret), (1, fret + 1), (2, fret - 1), (3, fret - 2),
                                     (4, fret - 3), (4, fret - 4)]:  # fmt: skip
                stop = (string, fret, finger, position)
                if 1 <= position <= positions and stretch(stop) < math.inf:
                    found.append(stop)
    return found


def stretch(stop: Stop) -> float:
    """Cost of reaching out of the frame of four frets."""
    _, fret, finger, position = stop
    if finger == 1:
        if fret == position:
            return 0.0
        width, share = wire(fret + 4) - wire(fret), 1.0
    else:
        width, share = wire(fret) - wire(position), SHARE[f"1-{finger}"]
    if width > share * WIDEST:
        return math.inf
    return max(0.0, width - share * COMFORT) * C["stretch_mm"]


def alone(stop: Stop, on_beat: bool) -> float:
    string, _, finger, position = stop
    cost = 0.0
    if finger:
        cost += C["press"] + C[f"finger_{finger}"] + C["position_fret"] * (position - 1)
        cost += stretch(stop)
    if string >= 4:
        cost += C[f"bass_{'beat' if on_beat else 'off'}_{string}"]
    return cost


def move(a: Stop, b: Stop, seconds: float, gap_s: float) -> float:
    string_a, fret_a, finger_a, at = a
    string_b, fret_b, finger_b, to = b
    cost = 0.0
    same_string = string_a == string_b
    same_finger = finger_a and finger_a == finger_b
    if at != to:
        distance, width = abs(wire(at) - wire(to)), wire(to) - wire(to - 1)
        need = C["shift_start_s"] + C["shift_bit_s"] * math.log2(distance / width + 1)
        if same_finger and same_string:
            need *= C["guide_share"]
        free = gap_s + (seconds - gap_s) * C["shift_share"] if finger_a else seconds
        cost += C["shift_attention"] + need / free
    elif finger_a and finger_b:
        if abs(wire(fret_a) - wire(fret_b)) > WIDEST:
            return math.inf
        if same_finger and fret_a == fret_b and not same_string:
            cost += C["hop_adjacent" if abs(string_a - string_b) == 1 else "hop_far"]
        if same_finger and fret_a != fret_b and same_string:
            cost += C["same_finger_slide"]
        if {finger_a, finger_b} == {3, 4}:
            cost += C["weak_pair"]
    if same_finger and not same_string and (fret_a != fret_b or at != to):
        cost += C["same_finger_jump"]
    if finger_a and finger_b and finger_a != finger_b and same_string and fret_a == fret_b:
        cost += C["swap"]
    if same_string:
        cost += C["repeat_s"] / seconds
        if fret_a != fret_b:
            cost += C["cut_ring"]
    return cost + C["skip_string"] * max(0, abs(string_a - string_b) - 1)


def ticks(cost: float) -> int:
    return round(cost * 1000)


def cheapest_by_trying_all(
    pitches: list[int],
    seconds: list[float],
    gaps: list[float],
    beats: list[bool],
    opened: list[int],
    highest: int,
    positions: int,
) -> int:
    """Least ticks over every combination of stops."""
    choices = [stops_for(pitch, opened, highest, positions) for pitch in pitches]
    own = [
        {stop: ticks(alone(stop, beat)) for stop in stops}
        for stops, beat in zip(choices, beats, strict=True)
    ]
    step = [
        {
            (a, b): math.inf if move(a, b, s, g) == math.inf else ticks(move(a, b, s, g))
            for a in here
            for b in there
        }
        for here, there, s, g in zip(choices, choices[1:], seconds, gaps, strict=False)
    ]
    return int(
        min(
            sum(table[stop] for table, stop in zip(own, path, strict=True))
            + sum(step[k][path[k], path[k + 1]] for k in range(len(path) - 1))
            for path in product(*choices)
        )
    )


def cheapest_step_by_step(
    pitches: list[int],
    seconds: list[float],
    gaps: list[float],
    beats: list[bool],
    opened: list[int],
    highest: int,
    positions: int,
) -> int:
    """Least ticks for a whole tune: the same costs, summed note by note with dictionaries."""
    known: dict[tuple[Stop, Stop, float, float], float] = {}
    best: dict[Stop, float] = {}
    for k, pitch in enumerate(pitches):
        new: dict[Stop, float] = {}
        for stop in stops_for(pitch, opened, highest, positions):
            own = ticks(alone(stop, beats[k]))
            if k == 0:
                new[stop] = own
                continue
            least = math.inf
            for before, cost in best.items():
                key = (before, stop, seconds[k - 1], gaps[k - 1])
                if key not in known:
                    step = move(before, stop, seconds[k - 1], gaps[k - 1])
                    known[key] = step if step == math.inf else ticks(step)
                least = min(least, cost + known[key])
            new[stop] = least + own
        best = new
    return int(min(best.values()))
