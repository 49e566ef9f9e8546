"""Tunes with arrangements for the writers: one by hand, the others by the program itself."""

from __future__ import annotations

from functools import cache

from liltwright.arrange.layers import arrange_layers
from liltwright.guitar.setups import make_setup
from liltwright.read.abc import read_abc
from liltwright.tab import Arrangement
from liltwright.tune import Tune
from tests.write import hand_made

# A slip jig and a hornpipe of our own: triplets, ties, accidentals, endings, pick-ups.
SLIP_JIG = """X:1
T:The Slate Quay
R:slip jig
M:9/8
L:1/8
K:Edor
B|e2f gfe dBA|B2d A2F E2B|efg a2f ged|B3- BAF E2:|
|:F|E2G B2A BdB|A2F D2E FAd|[1 e2d B2A G^GA|B3 E3- E2:|[2 efg fed B^cd|e6- e2||
"""
HORNPIPE = """X:1
T:Lantern Lane
R:hornpipe
M:4/4
L:1/8
K:G
(3DEF|"G"GABG D2 (3ABc|"D7"d>^cd>e fd=cA|"G"GBdg "C"e2 z2|"D"fdcA "G"G2:|
|:d2|"Em"g2 fg e>fg>e|"D"(3fgf ed B2 AB|c2 ec BGAF|DGGF G2:|
"""


@cache
def arrangements() -> tuple[tuple[Tune, Arrangement], ...]:
    """Tune and arrangement; in DADGAD, and in open G with a capo."""
    jig = hand_made.jig()
    found = [(jig, hand_made.arrangement(jig))]
    for text, tuning, capo in ((SLIP_JIG, "DADGAD", 2), (HORNPIPE, "open G", 0)):
        tune = read_abc(text, name="own.abc")
        setup = make_setup(tune, tuning=tuning, capo=capo, transpose=None)
        found.append((tune, arrange_layers(tune, setup)))
    return tuple(found)


def layers() -> list[tuple[Tune, Arrangement, str]]:
    """Every layer and performance."""
    return [
        (tune, arrangement, name)
        for tune, arrangement in arrangements()
        for name in (*(layer.name for layer in arrangement.layers), "performance")
    ]
