"""Rank every way to put a tune on six strings: tuning x capo x octave, on request x key.

Task: order the setups and say why.
In: a Tune; the player's profile; RankSettings.
Out: Ranking, every setup that holds the whole tune, best first, with named partial scores.
Method: enumerate, drop setups on which a note has no place, find each one's optimal melody path
(fingering.py; setups that differ only by moving tune and capo together share one), weigh the
parts of score.py. Nothing is guessed or left out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from dataclasses import field as dataclass_field

import numpy as np

from liltwright.errors import PipelineError
from liltwright.guitar.arranged import (
    Promised,
    Weigh,
    Weighed,
    arrangement_points,
    near_ties,
    weighed_scores,
)
from liltwright.guitar.candidates import (
    Question,
    RankSettings,
    enumerate_setups,
    fitting,
    is_asked,
    question_of,
)
from liltwright.guitar.exact import exact_parts
from liltwright.guitar.free import KEPT, joined, search_freely, within
from liltwright.guitar.player import Player
from liltwright.guitar.reasons import Explainer
from liltwright.guitar.robustness import stability
from liltwright.guitar.score import (
    Field,
    part_names,
)
from liltwright.guitar.setups import setup_of, what_does_not_fit
from liltwright.guitar.shortlist import shortlist
from liltwright.guitar.tension import cautions
from liltwright.guitar.tunings import catalogue, name_of
from liltwright.progress import Progress, silent
from liltwright.tab import RankedSetup, Ranking, Setup
from liltwright.tune import Tune

EXPLAINED = 10
"""So many of the best setups, and of those on the short list, get reasons in words."""


@dataclass(frozen=True, eq=False)
class Scored:
    """Setups side by side with their parts and scores, in the order of the search."""

    names: tuple[str, ...]
    field: Field
    parts: np.ndarray
    score: np.ndarray
    arranged: dict[int, Weighed] = dataclass_field(default_factory=dict)
    """By index, how a quick arrangement sits, where it was tried."""
    promised: dict[int, Promised] = dataclass_field(default_factory=dict)
    """By index, what is heard in the whole arrangement, where it was made."""

    def order(self) -> np.ndarray:
        """Indices, best first; equal scores keep the order of the search."""
        return np.argsort(-np.round(self.score, 9), kind="stable")


def rank_setups(
    tune: Tune,
    *,
    player: Player | None = None,
    settings: RankSettings | None = None,
    weigh: Weigh | None = None,
    progress: Progress = silent,
) -> Ranking:
    """Rank the setups. See the module's docstring.

    weigh : arranges a setup quickly; without it the melody and the open strings alone count
    Raises UsageError for nonsense in the settings and PipelineError when no setup holds the tune.
    """
    asked = question_of(tune, player or Player(), settings or RankSettings())
    progress("Trying tunings", 0.05)
    scored, searched = score_catalogue(asked)
    if asked.settings.free:
        scored, searched = add_free(asked, scored, progress)
    if not len(scored.field):
        raise PipelineError(_nothing_fits(asked, searched))
    progress("Weighing the best", 0.5)
    if weigh is not None:
        moved, arranged = weighed_scores(asked, scored.names, scored.field, scored.score, weigh)
        scored = replace(scored, score=moved, arranged=arranged)
        scored = replace(scored, promised=_promises(asked, scored, weigh))
    ranking = ranked(asked, scored, searched)
    progress("Tunings ranked", 1.0)
    return ranking


def score_catalogue(asked: Question) -> tuple[Scored, int]:
    """Every setup of the catalogue (or of the tunings asked for) that holds the tune.

    Also how many were tried.
    """
    names, candidates = enumerate_setups(asked.tune, asked.player, asked.settings)
    fits = fitting(asked.facts.line, candidates, asked.player)
    kept = tuple(name for name, ok in zip(names, fits, strict=True) if ok)
    return score_field(asked, kept, candidates.take(fits)), len(names)


def score_field(asked: Question, names: tuple[str, ...], candidates: Field) -> Scored:
    """Exact parts and scores; an empty field gives an empty result."""
    if not len(candidates):
        return Scored(names, candidates, np.zeros((0, len(asked.weight))), np.zeros(0))
    parts = exact_parts(asked.facts, candidates, asked.player, asked.search)
    return Scored(names, candidates, parts, 100.0 * parts @ asked.weight)


def add_free(asked: Question, scored: Scored, progress: Progress) -> tuple[Scored, int]:
    """The best of all tunings together with the setups that are scored already."""
    inside = np.sort(scored.score[within(scored.field.strings_midi, asked)])
    known = float(inside[-KEPT]) if len(inside) >= KEPT else 0.0
    best, searched = search_freely(asked, known=known, progress=progress)
    field = joined([scored.field, best])
    keys = np.column_stack([field.strings_midi, field.capo, field.transpose])
    field = field.take(np.sort(np.unique(keys, axis=0, return_index=True)[1]))
    known_names = {tuning.strings_midi: tuning.name for tuning in catalogue()}
    names = tuple(
        known_names.get(tuple(row)) or name_of(row) for row in field.strings_midi.tolist()
    )
    return score_field(asked, names, field), searched


def ranked(asked: Question, scored: Scored, searched: int) -> Ranking:
    """The Ranking of scored setups, with reasons for the best and for those on the short list."""
    settings = asked.settings
    order = scored.order()
    explainer = Explainer(asked, scored.field, scored.parts)
    most = min(settings.keep, KEPT) if settings.free else settings.keep
    place = _place_asked(asked, scored, order)
    kept = [
        (rank, row) for rank, row in enumerate(order.tolist(), 1) if rank <= most or rank == place
    ]
    plain = [_ranked_setup(asked, scored, explainer, rank, row) for rank, row in kept]
    told = {place} | {setup.rank for setup in (*plain[:EXPLAINED], *shortlist(plain, EXPLAINED))}
    setups = tuple(
        replace(setup, reasons=_reasons(explainer, scored, setup, row))
        if setup.rank in told
        else setup
        for setup, (_, row) in zip(plain, kept, strict=True)
    )
    return Ranking(
        searched,
        setups,
        lower=explainer.why_lower(setups, scored.names, order, place),
        robustness=stability(*_columns(asked, scored), setups[:3], order),
        asked=place,
        near=near_ties([setup.score for setup in setups]),
    )


def _promises(asked: Question, scored: Scored, weigh: Weigh) -> dict[int, Promised]:
    """What is heard on the best setup, and on the one that the user named."""
    order = scored.order()
    places = sorted({1, _place_asked(asked, scored, order) or 1})
    setups = {int(order[place - 1]): _setup_at(asked, scored, int(order[place - 1]))
              for place in places}  # fmt: skip
    found = {row: weigh.promised(setup) for row, setup in setups.items()}
    return {row: one for row, one in found.items() if one is not None}


def _reasons(explainer: Explainer, scored: Scored, setup: RankedSetup, row: int) -> tuple[str, ...]:
    """The reasons, with what the arrangement shows after the first of them."""
    promised, tried = scored.promised.get(row), scored.arranged.get(row)
    said = explainer.reasons(setup.setup, row, promised)
    shown = promised or tried
    return said if shown is None else (*said[:2], shown.sentence, *said[2:])


def _columns(asked: Question, scored: Scored) -> tuple[np.ndarray, np.ndarray]:
    """Parts and weights with the arrangement as one more; where it was not tried, the mean."""
    if not scored.arranged:
        return scored.parts, asked.weight
    points = arrangement_points(asked) / 100.0
    moved = (scored.score - 100.0 * scored.parts @ asked.weight) / 100.0 / max(points, 1e-9)
    return np.column_stack([scored.parts, moved]), np.append(asked.weight, points)


def _place_asked(asked: Question, scored: Scored, order: np.ndarray) -> int:
    """Place of the best setup with the tuning and capo that the user named; 0 when none was.

    Raises PipelineError when the tune does not fit on it.
    """
    settings = asked.settings
    tuning, capo = settings.asked
    if tuning is None and capo is None:
        return 0
    for place, row in enumerate(order.tolist(), 1):
        strings = scored.field.strings_midi[row].tolist()
        if is_asked(strings, int(scored.field.capo[row]), settings):
            return place
    narrow = replace(
        settings,
        tunings=() if tuning is None else (tuning,),
        capos=() if capo is None else (capo,),
    )
    only = replace(asked, settings=narrow)
    tried, _ = enumerate_setups(asked.tune, asked.player, narrow)
    raise PipelineError(_nothing_fits(only, len(tried)))


def _ranked_setup(
    asked: Question, scored: Scored, explainer: Explainer, rank: int, row: int
) -> RankedSetup:
    player, setup = asked.player, _setup_at(asked, scored, row)
    parts = dict(zip(part_names(), scored.parts[row].tolist(), strict=True))
    if row in scored.arranged:
        parts["arrangement"] = scored.arranged[row].value
    return RankedSetup(
        rank,
        setup.tuning,
        setup.strings_midi,
        setup.capo,
        setup.transpose,
        setup.sounds_in,
        setup.shapes_in,
        round(float(scored.score[row]), 2),
        {name: round(float(value), 3) for name, value in parts.items()},
        (explainer.keys(setup),),
        cautions(setup.strings_midi, scale_mm=player.scale_mm, string_set=player.string_set),
    )


def _setup_at(asked: Question, scored: Scored, row: int) -> Setup:
    field = scored.field
    strings = tuple(field.strings_midi[row].tolist())
    capo, shift = int(field.capo[row]), int(field.transpose[row])
    return setup_of(asked.tune, scored.names[row], strings, capo, shift)


def _nothing_fits(asked: Question, searched: int) -> str:
    _, candidates = enumerate_setups(asked.tune, asked.player, asked.settings)
    fault = what_does_not_fit(
        asked.tune,
        candidates.strings_midi[0].tolist(),
        int(candidates.capo[0]),
        int(candidates.transpose[0]),
        asked.player,
    )
    return (
        f"None of the {searched} setups tried holds the whole tune ({fault}); "
        "allow more tunings, capos or keys."
    )
