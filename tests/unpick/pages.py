"""Pages to take apart: our own layers of a few tunes of the development split."""

from functools import cache

from liltwright.guitar.player import Player
from liltwright.options import GuitarOptions, LayerOptions
from liltwright.run import arrange_on, choose_setups
from liltwright.tab import Arrangement
from liltwright.tune import Tune
from tests.benchmark.collections import tunes

SETUPS = ((None, None), ("DADGAD", 5), ("standard", 0), ("drop D", 2))


@cache
def of_type(kind: str, place: int = 0) -> Tune:
    """A tune of the development split of this type."""
    return [item.tune for item in tunes("dev") if item.tune.tune_type == kind][place]


@cache
def page_of(kind: str, place: int = 0, setup: int = 1) -> tuple[Tune, Arrangement]:
    """A tune and its arrangement."""
    return arranged(of_type(kind, place), setup)


def arranged(tune: Tune, setup: int = 0) -> tuple[Tune, Arrangement]:
    """A tune arranged on one of SETUPS."""
    player = Player()
    tuning, capo = SETUPS[setup]
    chosen = choose_setups(tune, player, GuitarOptions(tuning=tuning, capo=capo), None)[0]
    return tune, arrange_on(tune, chosen, player, LayerOptions())
