"""The chords of a mode and what each costs under each stretch of a melody.

Task: weigh the chords of a tune over its whole parts.
In:   Stretches of melody, the mode, the tonic's pitch class.
Out:  Degrees; an array of costs in nats, shape (stretches, degrees).
Method: the cost of the best path through each chord of each stretch (min-marginals), on the tree
    in which every ending follows the body of its part.
References: Viterbi 1967 (IEEE Trans. Information Theory 13(2)); the rules' sources stand in
    models/harmony/CARD.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liltwright.arrange.stretches import Stretch, tone_shares
from liltwright.tune import Mode

SEVENTH = 10  # semitones above the root; a minor seventh, the one that dances use
STEPS = {"major": (0, 4, 7), "minor": (0, 3, 7), "open": (0, 7)}  # semitones above the root


@dataclass(frozen=True, slots=True)
class Degree:
    """A chord of the mode before it has a name."""

    numeral: str
    root: int
    quality: str
    prior: float


def degrees_of(mode: Mode, used: np.ndarray, tonic: int, rules: dict) -> list[Degree]:
    """The chords that the tune may use: of its mode, borrowed, or with the other third."""
    table = rules["modes"][mode]
    found = [Degree(name, *row) for name, row in table["chords"].items()]
    for name, (root, quality, prior, needs) in table["borrowed"].items():
        if used[(tonic + needs) % 12] >= rules["used_share"]:
            found.append(Degree(name, root, quality, prior))
    for degree in list(found):
        other = "minor" if degree.quality == "major" else "major"
        third = (tonic + degree.root + STEPS[other][1]) % 12
        if used[third] >= rules["used_share"]:
            name = degree.numeral.swapcase().replace("B", "b")
            if all(known.numeral != name for known in found):
                prior = degree.prior + rules["altered_third"]
                found.append(Degree(name, degree.root, other, prior))
    return found


def _melody_costs(
    spans: list[Stretch], degrees: list[Degree], tonic: int, rules: dict
) -> np.ndarray:
    """Cost of each chord under each span's melody, shape (spans, chords)."""
    costs = np.zeros((len(spans), len(degrees)))
    for column, degree in enumerate(degrees):
        tones = {(tonic + degree.root + step) % 12 for step in STEPS[degree.quality]}
        for row, span in enumerate(spans):
            heard = {tone for tone, _, _, _ in span.tones}
            third = (tonic + degree.root + STEPS[degree.quality][1]) % 12
            other = {(tonic + degree.root + step) % 12 for step in (3, 4)} - {third}
            costs[row, column] += rules["foreign_third"] * bool(heard & other)
            lost = not heard & {third, (tonic + degree.root) % 12}
            costs[row, column] += rules["no_root_or_third"] * lost
            for tone, beats, on_beat, step in span.tones:
                if tone in tones:
                    continue
                rate = "step_note_outside_per_beat" if step else "note_outside_per_beat"
                seventh = tone == (tonic + degree.root + SEVENTH) % 12
                hard = rules["seventh_on_beat"] if seventh else rules["beat_note_outside"]
                cost = rules[rate] * beats + hard * on_beat
                if (tone - 1) % 12 in tones:
                    cost += rules["half_step_above_tone"]
                costs[row, column] += cost
    return costs


def path_costs(
    spans: list[Stretch], degrees: list[Degree], tonic: int, table: dict, rules: dict
) -> np.ndarray:
    """Cost of the best path through each chord of each span, shape (spans, chords)."""
    local = _melody_costs(spans, degrees, tonic, rules)
    local += np.array([degree.prior for degree in degrees])
    local += np.array(
        [[_cadence(span, d.numeral, table, rules) for d in degrees] for span in spans]
    )
    names = [degree.numeral for degree in degrees]
    follow = np.array(
        [
            [table["successions"].get(f"{a} {b}", 0.0) if a != b else 0.0 for b in names]
            for a in names
        ]
    )
    change = 1.0 - np.eye(len(names))
    toward = np.array(
        [[table["before_close"].get(a, 0.0) if a != b else 0.0 for b in names] for a in names]
    )
    slow = _slowness(spans, tonic, rules)
    steps: list[np.ndarray] = []
    for span in spans:
        rate = rules["change_at_bar" if span.first_in_bar else "change_in_bar"] * slow
        closing = span.phrase_end == "close" and span.last_in_bar
        steps.append(follow + rate * change + (toward if closing else 0.0))
    return _best_through(local, steps, [span.after for span in spans])


def _best_through(local: np.ndarray, steps: list[np.ndarray], after: list[int]) -> np.ndarray:
    """Min-marginals on the tree in which each row follows row `after` (-1: none) by `steps`."""
    up = local.copy()
    said = np.zeros_like(local)
    for row in range(len(local) - 1, -1, -1):
        if after[row] >= 0:
            said[row] = (steps[row] + up[row]).min(axis=1)
            up[after[row]] += said[row]
    for row in range(len(local)):
        if after[row] >= 0:
            above = up[after[row]] - said[row]
            up[row] = up[row] + (above[:, None] + steps[row]).min(axis=0)
    return up


def _slowness(spans: list[Stretch], tonic: int, rules: dict) -> float:
    """How much dearer a change of chord is: more where the tune is pentatonic or drones."""
    shares = tone_shares(spans)
    few = (shares >= rules["used_share"]).sum() <= rules["slow"]["tones"]
    drones = shares[tonic] + shares[(tonic + 7) % 12] >= rules["slow"]["tonic_and_fifth_share"]
    return float(rules["slow"]["factor"]) if few or drones else 1.0


def _cadence(span: Stretch, numeral: str, table: dict, rules: dict) -> float:
    if not span.phrase_end or not span.last_in_bar:
        return 0.0
    cost = float(table[span.phrase_end].get(numeral, rules[f"{span.phrase_end}_else"]))
    return cost * (rules["close_weight"] if span.phrase_end == "close" else 1.0)
