"""The ranking by what matters in the end: the best setups are arranged, and that is weighed.

Task: move the scores of the first setups by how well the whole arrangement sits there.
In:   scored setups, a function that arranges one quickly (the guitar's room knows no arranging).
Out:  scored setups anew, and what was found for each that was arranged.
Method: setups whose open strings sound the same against the tune have the same arrangement, made
    once. The first ten different ones are arranged, with those that the user named or uses; then
    whichever comes among the first three without being arranged, until none does. Numbers and
    their reasons: models/hand/arranged.json.
References: branch and bound as in Land and Doig 1960 is not needed: only the head is reordered.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from liltwright import models
from liltwright.guitar.candidates import Question, is_asked
from liltwright.guitar.fingering import problem_of
from liltwright.guitar.score import Field
from liltwright.guitar.setups import setup_of
from liltwright.guitar.tunings import parse_tuning
from liltwright.tab import Setup

FILE = "hand/arranged.json"
ARRANGEMENT = "arrangement"
"""Name of this part of the score, as users write it."""
HEAD = 3
"""So many of the first must have been arranged."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """How well a quick arrangement sits: each part and their weighted mean from 0 to 1, in words.

    Another bass note may be heard in the whole arrangement, so nothing is promised.
    """

    value: float
    parts: dict[str, float]
    sentence: str


@dataclass(frozen=True, slots=True)
class Promised:
    """What the whole arrangement of a setup lets hear, in words and for the reasons."""

    sentence: str
    rings: frozenset[int]
    """Strings that the melody plays open, or the bass more than once."""
    under: bool
    """Whether the open sixth string is the bass of at least every other tonic that it could be."""


class Weigh(Protocol):
    """Arranges setups of one tune."""

    def __call__(self, setup: Setup, path: Sequence[int], /) -> Weighed:
        """Arrange quickly; path : states of the melody's best path, indices into States."""

    def promised(self, setup: Setup, /) -> Promised | None:
        """Arrange as the arranging stage does; None where the user's pins leave nothing to say."""


def weighed_scores(
    asked: Question, names: Sequence[str], field: Field, score: np.ndarray, weigh: Weigh
) -> tuple[np.ndarray, dict[int, Weighed]]:
    """Scores moved by the arrangement, shape (n,), and by row what was arranged."""
    table = models.read_json(FILE)
    points = arrangement_points(asked)
    key_of = [tuple(row) for row in _sounding(field).tolist()]
    found: dict[tuple[int, ...], Weighed] = {}
    order = np.argsort(-np.round(score, 9), kind="stable").tolist()

    def arrange(row: int) -> None:
        setup = setup_of(
            asked.tune,
            names[row],
            tuple(field.strings_midi[row].tolist()),
            int(field.capo[row]),
            int(field.transpose[row]),
        )
        path = asked.search.paths([problem_of(setup, asked.player)]).index[0]
        found[key_of[row]] = weigh(setup, [int(index) for index in path])

    for row in _first(asked, order, key_of, field, table["count"]):
        if key_of[row] not in found:
            arrange(row)
    mean = float(np.mean([one.value for one in found.values()]))
    while True:
        moved = _moved(score, key_of, found, points, mean)
        head = np.argsort(-np.round(moved, 9), kind="stable")[:HEAD].tolist()
        missing = [row for row in head if key_of[row] not in found]
        if not missing or len(found) >= table["most"]:
            break
        arrange(missing[0])
    return moved, {row: found[key] for row, key in enumerate(key_of) if key in found}


def arrangement_points(asked: Question) -> float:
    """Points of score between the worst and the best arrangement."""
    factor = asked.settings.weights.get("arrangement", 1.0)
    return float(models.read_json(FILE)["points"]) * factor


def arrangement_explained() -> str:
    """What this part looks at."""
    return str(models.read_json(FILE)["says"])


def near_ties(scores: Sequence[float]) -> int:
    """How many of the first setups are nearly as good as the first, itself among them."""
    least = models.read_json(FILE)["near_points"]
    return sum(1 for score in scores if scores[0] - score <= least)


def _sounding(field: Field) -> np.ndarray:
    """What the open strings sound against the written tune, and where the capo leaves room."""
    up = (field.capo - field.transpose)[:, None]
    return field.strings_midi + up


def _moved(
    score: np.ndarray,
    key_of: Sequence[tuple[int, ...]],
    found: dict[tuple[int, ...], Weighed],
    points: float,
    mean: float,
) -> np.ndarray:
    return np.array(
        [
            one + points * (found[key].value - mean) if key in found else one
            for one, key in zip(score.tolist(), key_of, strict=True)
        ]
    )


def _first(
    asked: Question,
    order: Sequence[int],
    key_of: Sequence[tuple[int, ...]],
    field: Field,
    count: int,
) -> Iterable[int]:
    """The best rows with different arrangements, and the best of what the user names or uses."""
    seen: set[tuple[int, ...]] = set()
    for row in order:
        if key_of[row] not in seen and len(seen) < count:
            seen.add(key_of[row])
            yield row
    wanted = {parse_tuning(name)[1] for name in asked.player.tunings_used}
    for row in order:
        strings = tuple(field.strings_midi[row].tolist())
        if strings in wanted:
            wanted.discard(strings)
            yield row
    for row in order:
        if is_asked(field.strings_midi[row].tolist(), int(field.capo[row]), asked.settings):
            yield row
            break
