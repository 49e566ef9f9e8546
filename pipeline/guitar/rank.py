"""Rank every way to put a tune on six strings: tuning x capo x octave, on request x key.

Task: order the setups and say why.
In: a Tune; the player's profile; RankSettings.
Out: Ranking, every setup that holds the whole tune, best first, with named partial scores.
Method: enumerate, drop setups on which a note has no place, find each one's optimal melody path
(fingering.py; setups that differ only by moving tune and capo together share one), weigh the
parts of score.py. Nothing is guessed or left out.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from pipeline.errors import PipelineError, UsageError
from pipeline.guitar.fingering import Paths, Problem, Search
from pipeline.guitar.melody import Line, line_of
from pipeline.guitar.player import Player
from pipeline.guitar.reasons import Explainer
from pipeline.guitar.robustness import stability
from pipeline.guitar.score import (
    Facts,
    Field,
    facts_of,
    part_names,
    path_parts,
    scale,
    setup_parts,
    weights,
)
from pipeline.guitar.setups import setup_of, what_does_not_fit
from pipeline.guitar.tension import cautions, near_breaking
from pipeline.guitar.tunings import Tuning, catalogue, parse_tuning
from pipeline.keys import pitch_class
from pipeline.progress import Progress, silent
from pipeline.tune import RankedSetup, Ranking, Tune

OCTAVES = (-12, -24, 0)
EXPLAINED = 10
"""So many of the best setups get reasons in words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RankSettings:
    """What to search.

    tunings : names or six notes; empty for the whole catalogue and the player's own
    capos : frets; empty for 0 to the player's highest
    keys : "as heard", "any", or tonics like ("G", "A")
    weights : factors on the parts of the score, e.g. {"flow": 2}
    force : also use tunings with a string near its breaking pitch
    keep : most setups to list
    """

    tunings: tuple[str, ...] = ()
    capos: tuple[int, ...] = ()
    keys: str | tuple[str, ...] = "as heard"
    weights: dict[str, float] = field(default_factory=dict)
    force: bool = False
    keep: int = 600


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
    line = line_of(tune)
    facts = facts_of(tune, line)
    weight = weights(settings.weights)
    names, candidates = enumerate_setups(tune, player, settings)
    progress("Trying tunings", 0.1)
    fits = fitting(line, candidates, player)
    if not fits.any():
        raise PipelineError(_nothing_fits(tune, candidates, player))
    kept_names = tuple(name for name, ok in zip(names, fits, strict=True) if ok)
    scored = score_all(facts, kept_names, candidates.take(fits), player, weight)
    progress("Weighing the best", 0.8)
    ranking = ranked(tune, facts, scored, player, settings, weight, searched=len(names))
    progress("Tunings ranked", 1.0)
    return ranking


def enumerate_setups(tune: Tune, player: Player, settings: RankSettings) -> tuple[list[str], Field]:
    """Every setup to try, whether the tune fits or not."""
    tunings = _tunings(player, settings)
    capos = _capos(player, settings)
    shifts = _transpositions(tune, settings)
    wishes = _wishes(player)
    rows = [(tuning, capo, shift) for tuning in tunings for capo in capos for shift in shifts]
    if not rows:
        raise UsageError("No tuning is left to try; allow more tunings or capos.")
    return [tuning.name for tuning, _, _ in rows], Field(
        np.array([tuning.strings_midi for tuning, _, _ in rows]),
        np.array([capo for _, capo, _ in rows]),
        np.array([shift for _, _, shift in rows]),
        np.array([wishes.get(tuning.strings_midi, _usual(tuning)) for tuning, _, _ in rows]),
    )


def _tunings(player: Player, settings: RankSettings) -> list[Tuning]:
    if settings.tunings:
        chosen = [Tuning(*parse_tuning(text)) for text in settings.tunings]
    else:
        own = [Tuning(*parse_tuning(text)) for text in player.tunings_used]
        chosen = [*catalogue(), *own]
    never = {parse_tuning(text)[1] for text in player.tunings_never}
    unique = {tuning.strings_midi: tuning for tuning in reversed(chosen)}
    return [
        tuning
        for tuning in reversed(unique.values())
        if tuning.strings_midi not in never and (settings.force or _holds(tuning, player))
    ]


def _holds(tuning: Tuning, player: Player) -> bool:
    return not any(
        near_breaking(string, tuning.strings_midi[6 - string], scale_mm=player.scale_mm)
        for string in range(1, 7)
    )


def _capos(player: Player, settings: RankSettings) -> Iterable[int]:
    for capo in settings.capos:
        if not 0 <= capo <= 11:
            raise UsageError(f"A capo at fret {capo} is no use; choose 0 (none) to 11.")
    return sorted(set(settings.capos)) or range(player.highest_capo + 1)


def _wishes(player: Player) -> dict[tuple[int, ...], float]:
    wishes = {parse_tuning(text)[1]: 0.0 for text in player.tunings_avoided}
    wishes.update({parse_tuning(text)[1]: 1.0 for text in player.tunings_used})
    return {tuple(strings): wish for strings, wish in wishes.items()}


def _usual(tuning: Tuning) -> float:
    """Wish for a tuning the player says nothing about: the more usual, the better."""
    return float(scale("wish_unknown") + scale("wish_common") * tuning.common)


def _transpositions(tune: Tune, settings: RankSettings) -> list[int]:
    """Semitones from the written tune to the sound, the usual octave first."""
    if settings.keys == "as heard":
        return list(OCTAVES)
    if settings.keys == "any":
        return sorted(range(-24, 1), key=lambda n: (abs(n + 12), n))
    tonics = (settings.keys,) if isinstance(settings.keys, str) else settings.keys
    try:
        wanted = {(pitch_class(tonic) - pitch_class(tune.tonic)) % 12 for tonic in tonics}
    except (KeyError, IndexError) as fault:
        raise UsageError(
            f'"{" ".join(tonics)}" are no keys; write "as heard", "any" or tonics like G and A.'
        ) from fault
    return sorted((n for n in range(-24, 1) if n % 12 in wanted), key=lambda n: (abs(n + 12), n))


def fitting(line: Line, candidates: Field, player: Player) -> np.ndarray:
    """Whether every note of the tune has a place, shape (n,)."""
    highest = player.body_fret + player.past_body - candidates.capo
    fits = np.ones(len(candidates), dtype=bool)
    for pitch in sorted(set(line.midi)):
        above = pitch + candidates.transpose - candidates.capo
        fret = above[:, None] - candidates.strings_midi
        fits &= ((fret >= 0) & (fret <= highest[:, None])).any(axis=1)
    return fits


def score_all(
    facts: Facts,
    names: tuple[str, ...],
    candidates: Field,
    player: Player,
    weight: np.ndarray,
    search: Search | None = None,
) -> Scored:
    """Exact parts and score of every setup; each must hold the tune."""
    search = search or Search(facts.line, player)
    paths = shared_paths(search, candidates, player)
    parts = setup_parts(facts, candidates, player, np.array(parse_tuning(player.present_tuning)[1]))
    parts += path_parts(facts, candidates, player, paths)
    return Scored(names, candidates, parts, 100.0 * parts @ weight)


def shared_paths(search: Search, candidates: Field, player: Player) -> Paths:
    """Optimal path of every setup.

    Setups with the same strings and the same transpose - capo have the same frets: they share the
    path found with the most room; where it goes above a setup's last fret, that setup is searched
    on its own.
    """
    highest = player.body_fret + player.past_body - candidates.capo
    shift = candidates.transpose - candidates.capo
    own = [
        Problem(tuple(strings), int(s), int(h))
        for strings, s, h in zip(candidates.strings_midi.tolist(), shift, highest, strict=True)
    ]
    widest: dict[tuple[tuple[int, ...], int], Problem] = {}
    for problem in own:
        key = (problem.strings_midi, problem.shift)
        if key not in widest or problem.highest > widest[key].highest:
            widest[key] = problem
    first = search.paths(list(widest.values()))
    row_of = {key: row for row, key in enumerate(widest)}
    rows = np.array([row_of[problem.strings_midi, problem.shift] for problem in own])
    top = first.table.fret[first.index].max(axis=1)
    ticks, index = first.ticks[rows], first.index[rows]
    again = np.flatnonzero(top[rows] > highest)
    if len(again):
        second = search.paths([own[row] for row in again])
        ticks[again], index[again] = second.ticks, second.index
    return Paths(first.table, ticks, index)


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
    for rank, row in enumerate(order[: settings.keep], start=1):
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
                explainer.reasons(setup, int(row)) if rank <= EXPLAINED else (),
                cautions(strings, scale_mm=player.scale_mm, string_set=player.string_set),
            )
        )
    return Ranking(
        searched,
        tuple(setups),
        lower=explainer.why_lower(tuple(setups), scored.names, order),
        robustness=stability(scored.parts, weight, tuple(setups[:3]), order),
    )


def _nothing_fits(tune: Tune, candidates: Field, player: Player) -> str:
    fault = what_does_not_fit(
        tune,
        candidates.strings_midi[0].tolist(),
        int(candidates.capo[0]),
        int(candidates.transpose[0]),
        player,
    )
    return (
        f"None of the {len(candidates)} setups tried holds the whole tune ({fault}); "
        "allow more tunings, capos or keys."
    )
