"""Tiny tunes for the tests of this folder: letters with octave marks, one note value."""

from __future__ import annotations

from fractions import Fraction

from liltwright.tune import Mode, Part, ScoreNote, Source, Tune, TuneType

EIGHTH = Fraction(1, 8)


def tune_of(
    bars: list[list[int]],
    *,
    tonic: str = "D",
    mode: Mode = "major",
    signature: int = 2,
    tune_type: TuneType = "reel",
    meter: str = "4/4",
    beat: Fraction = Fraction(1, 2),
    beats_per_minute: float = 100.0,
    length: Fraction = EIGHTH,
) -> Tune:
    """A tune of one part; each bar is a list of written MIDI pitches of equal length."""
    part = Part(
        "A",
        2,
        bars=tuple(
            tuple(ScoreNote(midi, k * length, length) for k, midi in enumerate(bar)) for bar in bars
        ),
    )
    return Tune(
        Source("own", ""), tune_type, meter, beat, beats_per_minute,
        tonic, mode, signature, (part,), "AA",
    )  # fmt: skip


REEL_IN_D = tune_of(
    [
        [74, 69, 66, 69, 62, 66, 69, 73],
        [74, 76, 74, 73, 71, 69, 66, 69],
        [67, 71, 71, 69, 67, 66, 64, 66],
        [67, 69, 71, 73, 74, 73, 74, 69],
        [74, 69, 66, 69, 62, 66, 69, 73],
        [74, 76, 78, 79, 81, 78, 74, 78],
        [79, 78, 76, 74, 73, 69, 71, 73],
        [74, 73, 76, 73, 74, 69, 66, 62],
    ]
)
REEL_IN_G = tune_of(
    [
        [67, 71, 74, 71, 67, 71, 74, 76],
        [72, 76, 79, 76, 74, 71, 69, 66],
        [67, 71, 74, 71, 67, 71, 74, 79],
        [78, 76, 74, 72, 71, 69, 67, 66],
        [67, 71, 74, 71, 67, 71, 74, 76],
        [72, 76, 79, 76, 74, 71, 69, 72],
        [71, 74, 79, 74, 72, 76, 81, 78],
        [79, 76, 74, 72, 71, 69, 67, 62],
    ],
    tonic="G",
    signature=1,
)
