"""Free search: every tuning near standard, not only those that have a name.

Task: find the best setups over all tunings within a few semitones of standard per string.
In: a Tune; the player; RankSettings. Out: the best setups, proven, as Scored.
Method: best first with an upper bound (bounds.py). Setups are searched exactly in the order of
their bounds until the next bound does not reach the worst of the best found; so no setup that was
left out can be better than one that is listed.
References: Land and Doig 1960, Econometrica 28(3) (branch and bound).
"""

from __future__ import annotations

from itertools import product

import numpy as np

from liltwright.guitar.bounds import Bounds
from liltwright.guitar.candidates import (
    WISH,
    Question,
    RankSettings,
    capos_of,
    fitting,
    transpositions,
    wishes_of,
)
from liltwright.guitar.exact import exact_parts
from liltwright.guitar.player import Player
from liltwright.guitar.score import Field
from liltwright.guitar.tension import near_breaking
from liltwright.guitar.tunings import parse_tuning, standard
from liltwright.progress import Progress

KEPT = 40
"""So many of the best are proven and listed."""
CHUNK = 1024  # setups looked at together, for bounded memory
SLACK = 1e-6
"""Score points by which sums of floating-point numbers may differ from their bound."""
DOWN, UP = 4, 2
"""Semitones that a string may go down and up; above two up a string is not to be trusted."""


def all_tunings(player: Player, *, force: bool = False) -> np.ndarray:
    """Every tuning within DOWN and UP of standard whose strings rise, shape (n, 6).

    force : up to DOWN semitones up and near breaking as well
    """
    choices = [
        [
            midi + step
            for step in range(-DOWN, (DOWN if force else UP) + 1)
            if force or not near_breaking(6 - index, midi + step, scale_mm=player.scale_mm)
        ]
        for index, midi in enumerate(standard())
    ]
    every = np.array(list(product(*choices)), dtype=np.int16)
    return every[(np.diff(every, axis=1) >= 0).all(axis=1)]


def within(strings_midi: np.ndarray, asked: Question) -> np.ndarray:
    """Which tunings, shape (n, 6), a free search covers; shape (n,)."""
    every = {tuple(row) for row in all_tunings(asked.player, force=asked.settings.force).tolist()}
    return np.array([tuple(row) in every for row in strings_midi.tolist()], dtype=bool)


def search_freely(asked: Question, *, known: float, progress: Progress) -> tuple[Field, int]:
    """The KEPT best setups over all tunings, best first, and how many setups there are.

    known : a score that at least KEPT setups among them reach
    """
    field, upper, searched = bounded(asked, known, progress)
    best = np.zeros(0)
    kept: list[Field] = []
    scores: list[np.ndarray] = []
    for begin in range(0, len(field), CHUNK):
        least = max(known, best[0]) if len(best) == KEPT else known
        count = int((upper[begin : begin + CHUNK] >= least - SLACK).sum())
        if not count:
            break
        chunk = field.take(np.arange(begin, begin + count))
        parts = exact_parts(asked.facts, chunk, asked.player, asked.search)
        score = 100.0 * parts @ asked.weight
        kept.append(chunk)
        scores.append(score)
        best = np.sort(np.append(best, score))[-KEPT:]
        gap = (upper[begin] - least) / max(upper[0] - known, 1e-9)
        progress("Searching all tunings", 0.4 + 0.55 * (1.0 - min(gap, 1.0)))
    if not kept:
        return field.take(np.zeros(0, dtype=int)), searched
    order = np.argsort(-np.concatenate(scores), kind="stable")[:KEPT]
    return joined(kept).take(order), searched


def bounded(asked: Question, least: float, progress: Progress) -> tuple[Field, np.ndarray, int]:
    """Setups whose bound reaches `least`, best bound first, their bounds, and how many in all."""
    tunings, wish = _tunings_and_wishes(asked.player, asked.settings)
    bounds = Bounds(asked)
    present = np.array(parse_tuning(asked.player.present_tuning)[1])
    pairs = [
        (capo, transpose)
        for capo in capos_of(asked.player, asked.settings)
        for transpose in transpositions(asked.tune, asked.settings)
    ]
    found, uppers = [], []
    for done, (capo, transpose) in enumerate(pairs):
        progress("Bounding all tunings", 0.05 + 0.35 * done / len(pairs))
        whole = Field(tunings, np.full(len(tunings), capo), np.full(len(tunings), transpose), wish)
        field = whole.take(fitting(asked.facts.line, whole, asked.player))
        if len(field):
            upper = bounds.upper(field, present)
            good = upper >= least - SLACK
            found.append(field.take(good))
            uppers.append(upper[good])
    if not found:
        return whole.take(np.zeros(0, dtype=int)), np.zeros(0), len(tunings) * len(pairs)
    field = joined(found)
    upper = bounds.closer(field, np.concatenate(uppers))
    order = np.argsort(-upper, kind="stable")
    order = order[upper[order] >= least - SLACK]
    return field.take(order), upper[order], len(tunings) * len(pairs)


def _tunings_and_wishes(player: Player, settings: RankSettings) -> tuple[np.ndarray, np.ndarray]:
    tunings = all_tunings(player, force=settings.force)
    never = {parse_tuning(text)[1] for text in player.tunings_never}
    rows = [tuple(row) for row in tunings.tolist()]
    wishes = wishes_of(player)
    wish = np.array([wishes.get(row, WISH) for row in rows])
    allowed = np.array([row not in never for row in rows])
    return tunings[allowed], wish[allowed]


def joined(fields: list[Field]) -> Field:
    """Several fields one after the other."""
    return Field(
        np.concatenate([part.strings_midi for part in fields]),
        np.concatenate([part.capo for part in fields]),
        np.concatenate([part.transpose for part in fields]),
        np.concatenate([part.wish for part in fields]),
    )
