"""Rank every way to put a tune on six strings: tuning x capo x octave, on request x key.

Task: order the setups and say why.
In: a Tune; the player's profile; RankSettings.
Out: Ranking, every setup that holds the whole tune, best first, with named partial scores.
Method: enumerate, drop setups on which a note has no place, find each one's optimal melody path
(fingering.py; setups that differ only by moving tune and capo together share one), weigh the
parts of score.py. Nothing is guessed or left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.errors import PipelineError
from pipeline.guitar.candidates import RankSettings, enumerate_setups, fitting
from pipeline.guitar.exact import exact_parts
from pipeline.guitar.fingering import Search
from pipeline.guitar.free import KEPT, joined, search_freely, within
from pipeline.guitar.melody import line_of
from pipeline.guitar.player import Player
from pipeline.guitar.reasons import Explainer
from pipeline.guitar.robustness import stability
from pipeline.guitar.score import (
    Facts,
    Field,
    facts_of,
    part_names,
    weights,
)
from pipeline.guitar.setups import setup_of, what_does_not_fit
from pipeline.guitar.tension import cautions
from pipeline.guitar.tunings import catalogue, name_of
from pipeline.progress import Progress, silent
from pipeline.tune import RankedSetup, Ranking, Tune

EXPLAINED = 10
"""So many of the best setups get reasons in words."""


@dataclass(frozen=True, eq=False)
class Scored:
    """Setups side by side with their parts and scores, in the order of the search."""

    names: tuple[str, ...]
    field: Field
    parts: np.ndarray
    score: np.ndarray

    def order(self) -> np.ndarray:
        """Indices, best first; equal scores keep the order of the search."""
        return np.argsort(-np.round(self.score, 9), kind="stable")


def rank_setups(
    tune: Tune,
    *,
    player: Player | None = None,
    settings: RankSettings | None = None,
    progress: Progress = silent,
) -> Ranking:
    """Rank the setups. See the module's docstring.

    Raises UsageError for nonsense in the settings and PipelineError when no setup holds the tune.
    """
    player, settings = player or Player(), settings or RankSettings()
    facts = facts_of(tune, line_of(tune))
    weight = weights(settings.weights)
    progress("Trying tunings", 0.05)
    scored, searched = score_catalogue(tune, facts, player, settings, weight)
    if settings.free:
        scored, searched = add_free(tune, facts, scored, player, settings, weight, progress)
    if not len(scored.field):
        raise PipelineError(_nothing_fits(tune, searched, player, settings))
    progress("Weighing the best", 0.97)
    ranking = ranked(tune, facts, scored, player, settings, weight, searched=searched)
    progress("Tunings ranked", 1.0)
    return ranking


def score_catalogue(
    tune: Tune, facts: Facts, player: Player, settings: RankSettings, weight: np.ndarray
) -> tuple[Scored, int]:
    """Every setup of the catalogue (or of the tunings asked for) that holds the tune."""
    names, candidates = enumerate_setups(tune, player, settings)
    fits = fitting(facts.line, candidates, player)
    kept = tuple(name for name, ok in zip(names, fits, strict=True) if ok)
    return score_field(facts, kept, candidates.take(fits), player, weight), len(names)


def score_field(
    facts: Facts, names: tuple[str, ...], candidates: Field, player: Player, weight: np.ndarray
) -> Scored:
    """Exact parts and scores; an empty field gives an empty result."""
    if not len(candidates):
        return Scored(names, candidates, np.zeros((0, len(weight))), np.zeros(0))
    parts = exact_parts(facts, candidates, player, Search(facts.line, player))
    return Scored(names, candidates, parts, 100.0 * parts @ weight)


def add_free(
    tune: Tune,
    facts: Facts,
    scored: Scored,
    player: Player,
    settings: RankSettings,
    weight: np.ndarray,
    progress: Progress,
) -> tuple[Scored, int]:
    """The best of all tunings together with the setups that are scored already."""
    inside = np.sort(scored.score[within(scored.field.strings_midi, player, settings)])
    known = float(inside[-KEPT]) if len(inside) >= KEPT else 0.0
    best, searched = search_freely(
        tune, facts, player, settings, weight, known=known, progress=progress
    )
    field = joined([scored.field, best])
    keys = np.column_stack([field.strings_midi, field.capo, field.transpose])
    first = np.sort(np.unique(keys, axis=0, return_index=True)[1])
    field = field.take(first)
    known_names = {t.strings_midi: t.name for t in catalogue()}
    names = tuple(
        known_names.get(tuple(row)) or name_of(row) for row in field.strings_midi.tolist()
    )
    return score_field(facts, names, field, player, weight), searched


def ranked(
    tune: Tune,
    facts: Facts,
    scored: Scored,
    player: Player,
    settings: RankSettings,
    weight: np.ndarray,
    *,
    searched: int,
) -> Ranking:
    """The Ranking of scored setups, with reasons for the best."""
    order = scored.order()
    explainer = Explainer(tune, facts, scored.field, scored.parts, weight, player)
    setups = []
    for rank, row in enumerate(
        order[: min(settings.keep, KEPT) if settings.free else settings.keep], start=1
    ):
        strings = tuple(scored.field.strings_midi[row].tolist())
        setup = setup_of(
            tune,
            scored.names[row],
            strings,
            int(scored.field.capo[row]),
            int(scored.field.transpose[row]),
        )
        setups.append(
            RankedSetup(
                rank,
                setup.tuning,
                setup.strings_midi,
                setup.capo,
                setup.transpose,
                setup.sounds_in,
                setup.shapes_in,
                round(float(scored.score[row]), 2),
                {
                    name: round(float(value), 3)
                    for name, value in zip(part_names(), scored.parts[row], strict=True)
                },
                explainer.reasons(setup, int(row))
                if rank <= EXPLAINED
                else (explainer.keys(setup),),
                cautions(strings, scale_mm=player.scale_mm, string_set=player.string_set),
            )
        )
    return Ranking(
        searched,
        tuple(setups),
        lower=explainer.why_lower(tuple(setups), scored.names, order),
        robustness=stability(scored.parts, weight, tuple(setups[:3]), order),
    )


def _nothing_fits(tune: Tune, searched: int, player: Player, settings: RankSettings) -> str:
    _, candidates = enumerate_setups(tune, player, settings)
    fault = what_does_not_fit(
        tune,
        candidates.strings_midi[0].tolist(),
        int(candidates.capo[0]),
        int(candidates.transpose[0]),
        player,
    )
    return (
        f"None of the {searched} setups tried holds the whole tune ({fault}); "
        "allow more tunings, capos or keys."
    )
