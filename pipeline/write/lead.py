"""The plain tune with the chords of its arrangement, as a lead sheet prints it.

In:  Tune, Arrangement. Out: the Tune with chords at its own pitch; a tune whose chords the user
     wrote keeps those.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from pipeline import keys
from pipeline.tab import Arrangement
from pipeline.tune import Tune, TypedChord

_ROOTS = re.compile(r"(?:^|(?<=/))([A-G][#b]?)")


def with_chords(tune: Tune, arrangements: Sequence[Arrangement]) -> Tune:
    """The tune with the chords of the first arrangement, moved back to where the tune stands."""
    if tune.chords_typed or not arrangements:
        return tune
    layers = [layer for layer in arrangements[0].layers if layer.chords]
    if not layers:
        return tune
    plain = next((layer for layer in layers if layer.name == "plain-bass"), layers[0])
    semitones = -arrangements[0].setup.transpose
    chords = tuple(
        TypedChord(chord.bar, chord.start, _moved(chord.symbol, semitones, tune.signature))
        for chord in plain.chords
    )
    return replace(tune, chords_typed=chords)


def _moved(symbol: str, semitones: int, signature: int) -> str:
    if semitones % 12 == 0:
        return symbol
    return _ROOTS.sub(
        lambda root: keys.note_name(keys.pitch_class(root[1]) + semitones + 120, signature), symbol
    )
