"""Tunes for the tests: four of our own in ABC, and public-domain ones that music21 packages."""

from __future__ import annotations

import importlib.util
from functools import cache
from pathlib import Path

from liltwright.guitar.setups import make_setup
from liltwright.read.abc import read_abc
from liltwright.tab import Setup
from liltwright.tune import Tune

JIG = """X:1
T:Lamp in the Byre
R:jig
M:6/8
L:1/8
K:D
|:DFA dcd|BAF AFD|EFG BAF|EDE FED|DFA dcd|BAF AFD|EFG AFE|FDD D3:|
|:d2f edc|Bcd AFD|GAB AGF|EFG EAc|d2f edc|Bcd AFD|GBA GFE|FDD D3:|
"""
REEL = """X:2
T:Salt on the Sill
R:reel
M:4/4
L:1/8
K:Dmix
|:A2|D2FA DAFA|cAGE C2EC|D2FA d2cA|GEcE EDFG|A2FA DAFA|cAGE CDEG|F2AF GEcE|1 EDDC D2:|2 EDDC D4|]
|:d2fd ecAB|c2ec gcec|d2fd efge|dcAG EDD2|d2fd ecAB|c2ec gcec|dcAG FGAc|dGEC D4:|
"""
SLIP_JIG = """X:3
T:Nine Stone Steps
R:slip jig
M:9/8
L:1/8
K:Edor
|:E2B BAB E2F|GFE EFG A2F|E2B BAB dBA|F2A AFD E3:|
|:e2f gfe dBA|B2e edB A2F|e2f gfe dBA|F2A AFD E3:|
"""
WALTZ = """X:4
T:Candle for the Ferry
R:waltz
M:3/4
L:1/8
K:Bm
B2|:B4d2|f4e2|d4c2|B4A2|F4A2|B4d2|c2A2F2|B4-B2:|
|:f4e2|d4f2|e4d2|c4A2|F4A2|B4d2|c2A2F2|B4-B2:|
"""
OWN = {"jig": JIG, "reel": REEL, "slip jig": SLIP_JIG, "waltz": WALTZ}
RYAN = (
    "HoleInTheWallJig", "RocksOfCashelReel", "EbbTideHornpipe", "LadyMontgomerysReel",
    "AnnieHughesJig", "AbithaMugginsFavoriteReel", "AWillieWeHaveMissdYouStrathspey",
    "FleeAsABird",
)  # fmt: skip
"""From Ryan's Mammoth Collection (1883), in the public domain; files of music21's corpus."""


def own(name: str) -> Tune:
    """One of our own tunes."""
    return read_abc(OWN[name], name=f"{name}.abc")


@cache
def ryan(name: str) -> Tune:
    """One tune of Ryan's Mammoth Collection."""
    found = importlib.util.find_spec("music21")
    assert found is not None
    assert found.origin is not None
    path = Path(found.origin).parent / "corpus" / "ryansMammoth" / f"{name}.abc"
    return read_abc(path.read_text(encoding="utf-8", errors="replace"), name=path.name)


def somewhere(tune: Tune) -> Setup:
    """A setup on which the tune fits: DADGAD with the capo on a friendly fret, or standard."""
    from liltwright.errors import UsageError

    for tuning, capo, transpose in (
        ("DADGAD", 2, -12), ("DADGAD", 0, -12), ("standard", 0, -12), ("DADGAD", 0, 0),
        ("DADGAD", 0, -7), ("DADGAD", 0, -5),
    ):  # fmt: skip
        try:
            return make_setup(tune, tuning=tuning, capo=capo, transpose=transpose)
        except UsageError:
            continue
    raise AssertionError(f"no setup for {tune.title}")
