"""Which setups to try, and which of them hold the whole tune.

Task: enumerate tuning x capo x transposition.
In: a Tune, the player's profile, RankSettings. Out: names and a Field of setups side by side.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from liltwright.errors import UsageError
from liltwright.guitar.fingering import Search
from liltwright.guitar.melody import MelodyLine, line_of
from liltwright.guitar.player import Player
from liltwright.guitar.score import Facts, Field, facts_of, scale, weights
from liltwright.guitar.tension import near_breaking, refuse_breaking
from liltwright.guitar.tunings import Tuning, catalogue, parse_tuning, tuning_of
from liltwright.keys import pitch_class
from liltwright.tune import Tune

OCTAVES = (-12, -24, 0)
"""Semitones from the page to the sound: an octave lower first, as guitars are written."""
WISH = 0.5
"""In a free search, the wish for a tuning of which the player said nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RankSettings:
    """What to search.

    tunings : names or six notes; empty for the whole catalogue and the player's own
    capos : frets; empty for 0 to the player's highest
    asked : a tuning and a capo (either may be None) to be found among all the others
    keys : "as heard", "any", or tonics like ("G", "A")
    weights : factors on the parts of the score, e.g. {"flow": 2}
    force : also use tunings with a string near its breaking pitch
    free : search every tuning near standard instead of the catalogue; names then count for nothing
    keep : most setups to list
    """

    tunings: tuple[str, ...] = ()
    capos: tuple[int, ...] = ()
    asked: tuple[str | None, int | None] = (None, None)
    keys: str | tuple[str, ...] = "as heard"
    weights: dict[str, float] = field(default_factory=dict)
    force: bool = False
    free: bool = False
    keep: int = 600


@dataclass(frozen=True, eq=False)
class Question:
    """One search: what is asked, and what of it is worked out once.

    weight : of each part of the score, summing to 1; search : step tables of the tune's line
    """

    tune: Tune
    player: Player
    settings: RankSettings
    facts: Facts
    weight: np.ndarray
    search: Search


def question_of(tune: Tune, player: Player, settings: RankSettings) -> Question:
    """Prepare a search. Raises UsageError for nonsense in the weights."""
    weight = weights(settings.weights)
    facts = facts_of(tune, line_of(tune))
    return Question(tune, player, settings, facts, weight, Search(facts.line, player))


def enumerate_setups(tune: Tune, player: Player, settings: RankSettings) -> tuple[list[str], Field]:
    """Every setup to try, whether the tune fits or not."""
    tunings = _tunings(player, settings)
    capos = capos_of(player, settings)
    shifts = transpositions(tune, settings)
    wishes = wishes_of(player)
    rows = [
        (tuning, capo, shift)
        for tuning in tunings
        for capo in capos
        if capo <= player.highest_capo
        or settings.capos
        or is_asked(tuning.strings_midi, capo, settings)
        for shift in shifts
    ]
    if not rows:
        raise UsageError("No tuning is left to try; allow more tunings or capos.")
    wish = [wishes.get(tuning.strings_midi, _usual(tuning, settings)) for tuning, _, _ in rows]
    return [tuning.name for tuning, _, _ in rows], Field(
        np.array([tuning.strings_midi for tuning, _, _ in rows]),
        np.array([capo for _, capo, _ in rows]),
        np.array([shift for _, _, shift in rows]),
        np.array(wish),
    )


def _tunings(player: Player, settings: RankSettings) -> list[Tuning]:
    if settings.tunings:
        chosen = [tuning_of(text) for text in settings.tunings]
        for tuning in [] if settings.force else chosen:
            refuse_breaking(tuning.strings_midi, scale_mm=player.scale_mm)
    else:
        own = [tuning_of(text) for text in player.tunings_used]
        asked = [tuning_of(settings.asked[0])] if settings.asked[0] is not None else []
        for tuning in [] if settings.force else asked:
            refuse_breaking(tuning.strings_midi, scale_mm=player.scale_mm)
        chosen = [*catalogue(), *own, *asked]
    never = {parse_tuning(text)[1] for text in player.tunings_never}
    unique = {tuning.strings_midi: tuning for tuning in reversed(chosen)}
    return [
        tuning
        for tuning in reversed(unique.values())
        if tuning.strings_midi not in never and (settings.force or _holds(tuning, player))
    ]


def is_asked(strings_midi: Sequence[int], capo: int, settings: RankSettings) -> bool:
    """Whether the user named this tuning and this capo, or the one of them that was named."""
    tuning, fret = settings.asked
    if tuning is None and fret is None:
        return False
    return (tuning is None or parse_tuning(tuning)[1] == tuple(strings_midi)) and (
        fret is None or fret == capo
    )


def _holds(tuning: Tuning, player: Player) -> bool:
    return not any(
        near_breaking(string, tuning.strings_midi[6 - string], scale_mm=player.scale_mm)
        for string in range(1, 7)
    )


def capos_of(player: Player, settings: RankSettings) -> Iterable[int]:
    """Capo frets to try, lowest first. Raises UsageError beyond 0 to 11."""
    fret = settings.asked[1]
    asked = () if fret is None else (fret,)
    for capo in (*settings.capos, *asked):
        if not 0 <= capo <= 11:
            raise UsageError(f"A capo at fret {capo} is no use; choose 0 (none) to 11.")
    return sorted(set(settings.capos) or {*range(player.highest_capo + 1), *asked})


def wishes_of(player: Player) -> dict[tuple[int, ...], float]:
    """Wish by strings for the tunings that the player uses (1) or avoids (0)."""
    wishes = {parse_tuning(text)[1]: 0.0 for text in player.tunings_avoided}
    wishes.update({parse_tuning(text)[1]: 1.0 for text in player.tunings_used})
    return {tuple(strings): wish for strings, wish in wishes.items()}


def _usual(tuning: Tuning, settings: RankSettings) -> float:
    """Wish for a tuning the player says nothing about: the more usual, the better."""
    if settings.free:
        return WISH
    return float(scale("wish_unknown") + scale("wish_common") * tuning.common)


def transpositions(tune: Tune, settings: RankSettings) -> list[int]:
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


def fitting(line: MelodyLine, candidates: Field, player: Player) -> np.ndarray:
    """Whether every note of the tune has a place, shape (n,)."""
    highest = player.body_fret + player.past_body - candidates.capo
    opened = (candidates.strings_midi + (candidates.capo - candidates.transpose)[:, None]).T.copy()
    fits = np.ones(len(candidates), dtype=bool)
    for pitch in sorted(set(line.midi)):
        holds = np.zeros(len(candidates), dtype=bool)
        for string in opened:
            fret = pitch - string
            holds |= (fret >= 0) & (fret <= highest)
        fits &= holds
    return fits
