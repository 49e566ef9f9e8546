"""Sets: keys, tunings and capos for two to five tunes that are played on without a stop.

Task: choose a setup for each tune so that little is retuned between them and each key lifts.
In:   the tunes and their rankings; SetSettings.
Out:  SetPlans, best first: the order, a setup for each tune, what changes between them, totals.
Method: exact. The cheapest order and choice over every setup in the rankings by dynamic
    programming over sets of tunes already played (Held and Karp 1962), or over the given order
    alone. Alternatives differ in the tuning of at least one tune; they are found by splitting
    what remains (Lawler 1972, Management Science 18(7)), so that none is missed.
References: costs in models/harmony/sets.json.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from liltwright import keys, models
from liltwright.errors import UsageError
from liltwright.tab import RankedSetup, Ranking
from liltwright.tune import Tune

FILE = "harmony/sets.json"
FEWEST, MOST = 2, 5  # tunes of a set; every order of five is tried
BRIGHTNESS = ("phrygian", "minor", "dorian", "mixolydian", "major", "lydian")


@dataclass(frozen=True, slots=True, kw_only=True)
class SetSettings:
    """How the set is planned."""

    keep_order: bool = False
    """Play the tunes in the order given; otherwise the best order is found."""
    lift: bool = True
    """Whether each next key should lift; otherwise keys do not count."""
    plans: int = 3
    """How many plans to return at most."""


@dataclass(frozen=True, slots=True)
class Transition:
    """What happens between two tunes."""

    strings: tuple[str, ...]
    """Strings to retune, those that move least first: "string 3 down 1, G to F#"."""
    semitones: int
    """Retuned in all."""
    capo: str
    """ "capo from 2 to 5", or empty."""
    lift: int
    """Semitones up from tonic to tonic, 0 to 11."""


@dataclass(frozen=True, slots=True)
class SetPlan:
    """One way to play the set."""

    order: tuple[int, ...]
    """Indices of the tunes as given, in playing order."""
    setups: tuple[RankedSetup, ...]
    """In playing order."""
    changes: tuple[Transition, ...]
    cost: float
    strings_retuned: int
    semitones_retuned: int
    capo_moves: int


def plan_set(
    tunes: Sequence[Tune], rankings: Sequence[Ranking], *, settings: SetSettings | None = None
) -> tuple[SetPlan, ...]:
    """Plans for a set, best first.

    rankings : of each tune, all setups that may be chosen; keys other than heard may be among them
    Raises UsageError for a wrong number of tunes, or a tune without a setup.
    """
    settings = settings or SetSettings()
    if not FEWEST <= len(tunes) <= MOST or len(rankings) != len(tunes):
        raise UsageError(f"A set has {FEWEST} to {MOST} tunes; these are {len(tunes)}.")
    for number, ranking in enumerate(rankings, start=1):
        if not ranking.setups:
            raise UsageError(f"Tune {number} of the set has no setup on which it can be played.")
    costs = _Costs(rankings, settings.lift)
    every = [np.ones(len(ranking.setups), dtype=bool) for ranking in rankings]
    open_spaces = [(*_best(costs, every, settings.keep_order), every, 0)]
    plans: list[SetPlan] = []
    while open_spaces and len(plans) < settings.plans:
        open_spaces.sort(key=lambda space: (space[0], space[1], space[2]))
        cost, order, chosen, allowed, fixed = open_spaces.pop(0)
        if not np.isfinite(cost):
            break
        plans.append(_plan(rankings, order, chosen, cost))
        open_spaces += _split(costs, rankings, chosen, allowed, fixed, settings.keep_order)
    return tuple(plans)


Space = tuple[float, tuple[int, ...], tuple[int, ...], list[np.ndarray], int]
"""Cost, order and choice (by tune as given) of the best plan in a space; the setups it allows;
how many tunes have their tuning fixed in it."""


def _split(
    costs: _Costs,
    rankings: Sequence[Ranking],
    chosen: tuple[int, ...],
    allowed: list[np.ndarray],
    fixed: int,
    keep_order: bool,
) -> list[Space]:
    """What is left of a space without the tunings of its best plan, in parts without overlap."""
    spaces: list[Space] = []
    same = list(allowed)
    for tune in range(fixed, len(rankings)):
        tunings = [setup.strings_midi for setup in rankings[tune].setups]
        like = np.array([tuning == tunings[chosen[tune]] for tuning in tunings])
        other = [*same[:tune], allowed[tune] & ~like, *allowed[tune + 1 :]]
        if other[tune].any():
            spaces.append((*_best(costs, other, keep_order), other, tune))
        same[tune] = allowed[tune] & like
    return spaces


# ---------------------------------------------------------------- costs


class _Costs:
    """Costs of setups and of going from setup to setup, as arrays; pairs are kept."""

    def __init__(self, rankings: Sequence[Ranking], lift: bool) -> None:
        table = models.read_json(FILE)
        self.table, self.lift = table, lift
        self.strings = [np.array([s.strings_midi for s in r.setups]) for r in rankings]
        self.capo = [np.array([s.capo for s in r.setups]) for r in rankings]
        self.tonic = [
            np.array([keys.pitch_class(s.sounds_in.tonic) for s in r.setups]) for r in rankings
        ]
        self.bright = [BRIGHTNESS.index(r.setups[0].sounds_in.mode) for r in rankings]
        self.alone = [self._alone(ranking) for ranking in rankings]
        self._pairs: dict[tuple[int, int], np.ndarray] = {}

    def _alone(self, ranking: Ranking) -> np.ndarray:
        score = np.array([setup.score for setup in ranking.setups])
        moved = np.array([(s.transpose + 6) % 12 - 6 for s in ranking.setups])
        away = self.table["key_moved"] + self.table["key_moved_semitone"] * np.abs(moved)
        return (score.max() - score) / self.table["score_points"] + np.where(moved, away, 0.0)

    def pair(self, one: int, two: int) -> np.ndarray:
        """Cost from each setup of a tune to each of another, shape (setups, setups)."""
        if (one, two) not in self._pairs:
            table = self.table
            turns = self.strings[two][None, :] - self.strings[one][:, None]
            cost = table["retune_string"] * (turns != 0).sum(axis=2)
            cost = cost + table["retune_semitone"] * np.abs(turns).sum(axis=2)
            cost = cost + table["retune_up_semitone"] * np.maximum(turns, 0).sum(axis=2)
            capo = np.abs(self.capo[two][None, :] - self.capo[one][:, None])
            cost = cost + table["capo_moved"] * (capo > 0) + table["capo_fret"] * capo
            if self.lift:
                steps = (self.tonic[two][None, :] - self.tonic[one][:, None]) % 12
                cost = cost + np.array([table["lift"][str(step)] for step in range(12)])[steps]
                brighter = self.bright[two] - self.bright[one]
                cost = cost + table["brighter_mode"] * (brighter > 0)
                cost = cost + table["darker_mode"] * (brighter < 0)
            self._pairs[one, two] = cost
        return self._pairs[one, two]


# ---------------------------------------------------------------- the search


def _best(
    costs: _Costs, allowed: Sequence[np.ndarray], keep_order: bool
) -> tuple[float, tuple[int, ...], tuple[int, ...]]:
    """Cost, order and chosen setup of each tune (as given) of the cheapest plan."""
    count = len(allowed)
    alone = [np.where(mask, cost, np.inf) for mask, cost in zip(allowed, costs.alone, strict=True)]
    # value[played, last]: cheapest cost by setup of the last tune; came: tune and setup before.
    value: dict[tuple[int, int], np.ndarray] = {}
    came: dict[tuple[int, int], tuple[np.ndarray, np.ndarray]] = {}
    for first in range(1 if keep_order else count):
        value[1 << first, first] = alone[first]
    for played in range(1, 1 << count):
        for last in range(count):
            if (played, last) not in value:
                continue
            for after in (last + 1,) if keep_order else range(count):
                if after >= count or played >> after & 1:
                    continue
                steps = value[played, last][:, None] + costs.pair(last, after)
                best = steps.argmin(axis=0)
                reached = steps[best, np.arange(steps.shape[1])] + alone[after]
                key = (played | 1 << after, after)
                if key not in value:
                    value[key] = np.full(len(reached), np.inf)
                    came[key] = (np.zeros(len(reached), int), np.zeros(len(reached), int))
                better = reached < value[key]
                value[key] = np.where(better, reached, value[key])
                came[key] = (
                    np.where(better, last, came[key][0]),
                    np.where(better, best, came[key][1]),
                )
    return _trace(value, came, count)


def _trace(
    value: dict[tuple[int, int], np.ndarray],
    came: dict[tuple[int, int], tuple[np.ndarray, np.ndarray]],
    count: int,
) -> tuple[float, tuple[int, ...], tuple[int, ...]]:
    everything = (1 << count) - 1
    ends = [last for last in range(count) if (everything, last) in value]
    last = min(ends, key=lambda end: (float(value[everything, end].min()), end))
    setup = int(value[everything, last].argmin())
    cost = float(value[everything, last][setup])
    order, chosen, played = [last], {last: setup}, everything
    while (played, last) in came:
        before, index = came[played, last]
        played, last, setup = played & ~(1 << last), int(before[setup]), int(index[setup])
        order.append(last)
        chosen[last] = setup
    return cost, tuple(reversed(order)), tuple(chosen[tune] for tune in range(count))


# ---------------------------------------------------------------- in words


def _plan(
    rankings: Sequence[Ranking], order: tuple[int, ...], chosen: tuple[int, ...], cost: float
) -> SetPlan:
    setups = tuple(rankings[tune].setups[chosen[tune]] for tune in order)
    changes = tuple(_change(one, two) for one, two in pairwise(setups))
    return SetPlan(
        order,
        setups,
        changes,
        round(cost, 3),
        sum(len(change.strings) for change in changes),
        sum(change.semitones for change in changes),
        sum(bool(change.capo) for change in changes),
    )


def _change(one: RankedSetup, two: RankedSetup) -> Transition:
    turns = [new - old for old, new in zip(one.strings_midi, two.strings_midi, strict=True)]
    moved = sorted((abs(turn), 6 - index) for index, turn in enumerate(turns) if turn)
    words = []
    for size, string in moved:
        old, new = one.strings_midi[6 - string], two.strings_midi[6 - string]
        way = "up" if new > old else "down"
        words.append(
            f"string {string} {way} {size}, {keys.note_name(old)} to {keys.note_name(new)}"
        )
    capo = ""
    if one.capo != two.capo:
        capo = f"capo from {_fret(one.capo)} to {_fret(two.capo)}"
    lift = keys.pitch_class(two.sounds_in.tonic) - keys.pitch_class(one.sounds_in.tonic)
    return Transition(tuple(words), sum(size for size, _ in moved), capo, lift % 12)


def _fret(capo: int) -> str:
    return f"fret {capo}" if capo else "none"
