"""A short list of setups that really differ.

Task: from a ranking, the best few without near doubles.
In: ranked setups, best first. Out: some of them, in their order.
Method: a setup is left out when a better one that is listed already has open strings that sound
the same but for one string, or is the same tuning within a fret of capo in the same octave.
"""

from __future__ import annotations

from collections.abc import Sequence

from liltwright.tab import RankedSetup


def shortlist(setups: Sequence[RankedSetup], count: int = 5) -> tuple[RankedSetup, ...]:
    """At most `count` setups; the first is always the best."""
    chosen: list[RankedSetup] = []
    for setup in setups:
        if len(chosen) == count:
            break
        if not any(alike(setup, other) for other in chosen):
            chosen.append(setup)
    return tuple(chosen)


def alike(one: RankedSetup, other: RankedSetup) -> bool:
    """Whether a player would call two setups the same idea."""
    if one.transpose != other.transpose:
        return False
    if one.strings_midi == other.strings_midi and abs(one.capo - other.capo) <= 1:
        return True
    same = sum(
        a + one.capo == b + other.capo
        for a, b in zip(one.strings_midi, other.strings_midi, strict=True)
    )
    return same >= 5
