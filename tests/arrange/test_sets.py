"""Sets: the exact choice against trying everything, on small rankings made by hand."""

from dataclasses import replace
from itertools import pairwise, permutations, product

import numpy as np
import pytest

from liltwright.arrange import sets
from liltwright.arrange.sets import SetSettings, plan_set
from liltwright.errors import UsageError
from liltwright.tab import RankedSetup, Ranking
from liltwright.tune import KeyName, Tune
from tests.arrange.samples import own

STANDARD = (40, 45, 50, 55, 59, 64)
DADGAD = (38, 45, 50, 55, 57, 62)
OPEN_G = (38, 43, 50, 55, 59, 62)


def setup(
    strings: tuple[int, int, int, int, int, int],
    capo: int,
    tonic: str,
    score: float,
    transpose: int = -12,
) -> RankedSetup:
    key = KeyName(tonic, "major")
    return RankedSetup(1, str(strings), strings, capo, transpose, key, key, score, {}, (), ())


def random_rankings(seed: int, tunes: int, each: int) -> list[Ranking]:
    rng = np.random.default_rng(seed)
    tunings = (STANDARD, DADGAD, OPEN_G)
    return [
        Ranking(
            each,
            tuple(
                setup(
                    tunings[rng.integers(3)],
                    int(rng.integers(0, 8)),
                    "DGAEC"[rng.integers(5)],
                    float(rng.uniform(50, 90)),
                    int(rng.choice([-12, -14, -10])),
                )
                for _ in range(each)
            ),
        )
        for _ in range(tunes)
    ]


def tunes(count: int) -> list[Tune]:
    return [own("jig")] * count


def everything(rankings: list[Ranking], keep_order: bool) -> list[tuple[float, tuple]]:
    """Cost and tunings (by tune as given) of every order and choice."""
    costs = sets._Costs(rankings, True)
    count = len(rankings)
    orders = [tuple(range(count))] if keep_order else list(permutations(range(count)))
    found = []
    for choice in product(*(range(len(r.setups)) for r in rankings)):
        alone = sum(float(costs.alone[t][choice[t]]) for t in range(count))
        for order in orders:
            moves = sum(float(costs.pair(a, b)[choice[a], choice[b]]) for a, b in pairwise(order))
            strings = tuple(rankings[t].setups[choice[t]].strings_midi for t in range(count))
            found.append((alone + moves, strings))
    return found


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("keep_order", [True, False])
def test_the_plans_are_the_cheapest_of_all(seed: int, keep_order: bool) -> None:
    rankings = random_rankings(seed, 3, 7)
    plans = plan_set(tunes(3), rankings, settings=SetSettings(keep_order=keep_order, plans=3))
    cheapest: dict[tuple, float] = {}
    for cost, strings in everything(rankings, keep_order):
        cheapest[strings] = min(cost, cheapest.get(strings, np.inf))
    assert [plan.cost for plan in plans] == pytest.approx(sorted(cheapest.values())[:3], abs=2e-3)


def test_one_tuning_for_all_beats_a_little_more_comfort() -> None:
    rankings = [
        Ranking(2, (setup(DADGAD, 0, "D", 80.0), setup(STANDARD, 0, "D", 84.0))),
        Ranking(2, (setup(DADGAD, 5, "G", 82.0), setup(OPEN_G, 0, "G", 85.0))),
    ]
    best = plan_set(tunes(2), rankings, settings=SetSettings(keep_order=True))[0]
    assert [one.strings_midi for one in best.setups] == [DADGAD, DADGAD]
    assert (best.strings_retuned, best.capo_moves) == (0, 1)
    assert best.changes[0].capo == "capo from none to fret 5"
    assert best.changes[0].lift == 5


def test_the_order_lifts_from_key_to_key() -> None:
    rankings = [Ranking(1, (setup(DADGAD, 0, tonic, 80.0),)) for tonic in ("A", "D", "G")]
    best = plan_set(tunes(3), rankings)[0]
    assert [one.sounds_in.tonic for one in best.setups] == ["D", "G", "A"]
    assert best.order == (1, 2, 0)
    asked = plan_set(tunes(3), rankings, settings=SetSettings(keep_order=True))[0]
    assert asked.order == (0, 1, 2)


def test_what_is_retuned_is_said_string_by_string() -> None:
    rankings = [
        Ranking(1, (setup(STANDARD, 2, "E", 80.0),)),
        Ranking(1, (setup(DADGAD, 0, "D", 80.0),)),
    ]
    change = plan_set(tunes(2), rankings, settings=SetSettings(keep_order=True))[0].changes[0]
    assert change.strings == (
        "string 1 down 2, E to D", "string 2 down 2, B to A", "string 6 down 2, E to D",
    )  # fmt: skip
    assert change.semitones == 6
    assert change.capo == "capo from fret 2 to none"


def test_a_tune_moved_to_another_key_pays_for_it() -> None:
    heard, moved = setup(DADGAD, 2, "E", 80.0), setup(DADGAD, 0, "D", 80.0, transpose=-14)
    ranking = Ranking(2, (moved, heard))
    alone = Ranking(1, (replace(heard),))
    best = plan_set(tunes(2), [alone, ranking], settings=SetSettings(lift=False))[0]
    assert {one.capo for one in best.setups} == {2}


def test_too_few_too_many_or_unplayable_tunes_are_named() -> None:
    ranking = Ranking(1, (setup(DADGAD, 0, "D", 80.0),))
    with pytest.raises(UsageError, match="these are 1"):
        plan_set(tunes(1), [ranking])
    with pytest.raises(UsageError, match="these are 6"):
        plan_set(tunes(6), [ranking] * 6)
    with pytest.raises(UsageError, match="Tune 2"):
        plan_set(tunes(2), [ranking, Ranking(0, ())])
