"""The plain tune with the chords of its arrangement, as a lead sheet prints it.

In:  Tune, Arrangement. Out: the Tune with chords at its own pitch; a tune whose chords the user
     wrote keeps those.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from liltwright.arrange.chords import transpose_symbol
from liltwright.tab import Arrangement
from liltwright.tune import Tune, TypedChord


def with_chords(tune: Tune, arrangements: Sequence[Arrangement]) -> Tune:
    """The tune with the chords of the first arrangement, moved back to where the tune stands."""
    if tune.chords_typed or not arrangements:
        return tune
    layers = [layer for layer in arrangements[0].layers if layer.chords]
    if not layers:
        return tune
    plain = next((layer for layer in layers if layer.name == "plain-bass"), layers[0])
    up, signature = -arrangements[0].setup.transpose, tune.signature
    chords = tuple(
        TypedChord(chord.bar, chord.start, transpose_symbol(chord.symbol, up, signature))
        for chord in plain.chords
    )
    return replace(tune, chords_typed=chords)
