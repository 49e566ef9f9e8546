"""The findings in a guitarist's words: sentences that screen, report and sheets share."""

from __future__ import annotations

from liltwright.counting import count
from liltwright.tab import RankedSetup, Ranking, Setup
from liltwright.tune import Tune

TIMES = {1: "once", 2: "twice", 3: "three times"}


def describe_tune(tune: Tune) -> str:
    """One line: "Jig in D mixolydian, 2 parts of 8 bars (AABB), played twice at 112"."""
    words = (
        f"{tune.tune_type.capitalize()} in {tune.tonic} {tune.mode}, {_parts(tune)} ({tune.form})"
    )
    if not tune.heard:
        return f"{words}, written for {tune.beats_per_minute:.0f} beats a minute"
    played = TIMES.get(tune.rounds, f"{tune.rounds} times")
    return f"{words}, played {played} at {tune.beats_per_minute:.0f}"


def describe_setup(setup: Setup | RankedSetup) -> str:
    """A few words: "DADGAD, capo 5 (sounds in G, D shapes)"."""
    capo = f"capo {setup.capo}" if setup.capo else "no capo"
    sounds, shapes = setup.sounds_in, setup.shapes_in
    keys = f"sounds in {sounds.tonic} {sounds.mode}"
    if setup.capo:
        keys += f", {shapes.tonic} shapes"
    return f"{setup.tuning}, {capo} ({keys})"


def best_words(ranking: Ranking, arranged: Setup | None = None) -> str:
    """Where the tune sits best and, where the user chose, what was chosen and its place.

    `arranged` is the setup that was arranged on, where one was.
    """
    best, chosen = ranking.setups[0], ranking.chosen
    if chosen is None:
        return f"Sits best in {describe_setup(best)}"
    if chosen.rank == 1 and arranged in (None, best.setup):
        return f"Sits best in {describe_setup(best)}, as you asked"
    if arranged is None:
        asked = f"{describe_setup(chosen)}, as you asked, has place {chosen.rank}"
    else:
        asked = f"Arranged in {describe_setup(arranged)}, as you asked"
        asked += f" (place {chosen.rank})" if arranged == chosen.setup else ""
    return f"{asked}; what sits best is {describe_setup(best)}"


def _parts(tune: Tune) -> str:
    sizes = {
        len(part.bars) + len(part.endings[0].bars if part.endings else ()) for part in tune.parts
    }
    parts = count(len(tune.parts), "part")
    return f"{parts} of {count(sizes.pop(), 'bar')}" if len(sizes) == 1 else parts


def near_words(ranking: Ranking) -> str:
    """ "places 1 to 3 are nearly alike"; empty where the first stands alone."""
    if ranking.near <= 1:
        return ""
    return f"places 1 to {ranking.near} are nearly alike: take the one that you like"
