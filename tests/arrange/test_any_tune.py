"""Tunes that nobody would write: rests, ties over bar lines, odd metres, low and high notes.

Whatever comes, every layer is playable, keeps the melody and is no easier than the one below.
"""

import random
from fractions import Fraction
from itertools import pairwise

import pytest

from liltwright.arrange.layers import ArrangeSettings, arrange_layers
from liltwright.arrange.rounds import performance
from liltwright.errors import UsageError
from liltwright.guitar.setups import make_setup
from liltwright.tune import Bar, Ending, Part, ScoreNote, Source, Tune
from tests.arrange.checker import faults

METRES = (
    ("jig", "6/8"), ("reel", "4/4"), ("slip jig", "9/8"), ("slide", "12/8"), ("polka", "2/4"),
    ("waltz", "3/4"), ("air", "5/4"), ("march", "2/4"), ("strathspey", "4/4"), ("air", "7/8"),
)  # fmt: skip
LENGTHS = [Fraction(text) for text in ("1/16", "1/8", "1/8", "1/4", "1/12", "3/8", "1/2")]
SCALE = (62, 64, 66, 67, 69, 71, 73, 74, 76, 78, 79, 81)
ORNAMENTS = (None, None, None, "cut", "roll", "tap", "triplet", "slide")
SETUPS = (("DADGAD", 0), ("DADGAD", 5), ("standard", 0), ("CGDGCD", 0), ("open G", 0))


def random_bar(rng: random.Random, length: Fraction, start: Fraction = Fraction(0)) -> Bar:
    notes, now = [], start
    while now < length:
        long = rng.choice(LENGTHS)
        if rng.random() > 0.08:
            midi = rng.choice(SCALE) if rng.random() < 0.8 else rng.randint(60, 84)
            tied = rng.random() < 0.3
            sounds = long if tied else min(long, length - now)
            notes.append(ScoreNote(midi, now, sounds, rng.choice(ORNAMENTS)))  # type: ignore[arg-type]
        now += long
    return tuple(notes)


def random_tune(rng: random.Random) -> Tune:
    kind, meter = rng.choice(METRES)
    full = Fraction(meter)
    parts = []
    for name in "ABC"[: rng.randint(1, 3)]:
        pickup = random_bar(rng, full, full - Fraction(1, 8)) if rng.random() < 0.3 else ()
        bars = tuple(random_bar(rng, full) for _ in range(rng.choice((1, 4, 5, 8))))
        endings: tuple[Ending, ...] = ()
        if rng.random() < 0.3:
            endings = tuple(Ending((n,), (random_bar(rng, full),)) for n in (1, 2))
        parts.append(Part(name, 2, pickup, bars, endings))
    tempo = rng.choice((60.0, 120.0, 300.0))
    key = rng.choice((("D", "major"), ("E", "dorian"), ("A", "mixolydian"), ("Bb", "lydian")))
    return Tune(
        Source("none", ""),
        kind,
        meter,
        Fraction(1, 4),
        tempo,
        *key,
        2,
        tuple(parts),
        "A",  # type: ignore[arg-type]
    )


@pytest.mark.parametrize("seed", range(16))
def test_whatever_comes_is_playable(seed: int) -> None:
    rng = random.Random(seed)
    tune = random_tune(rng)
    tuning, capo = rng.choice(SETUPS)
    try:
        setup = make_setup(tune, tuning=tuning, capo=capo, transpose=rng.choice((-12, 0)))
    except UsageError:
        setup = make_setup(tune, tuning="CGDGCD", capo=0, transpose=-7)
    settings = ArrangeSettings(
        ornaments=seed % 2 == 0,
        effort=rng.choice(("easier", "as is", "harder")),
        rounds="melody drone fuller",
    )
    arrangement = arrange_layers(tune, setup, settings=settings)
    assert faults(tune, arrangement) == []
    for one, two in pairwise(arrangement.layers):
        assert all(two.difficulty[key] >= value for key, value in one.difficulty.items())
    assert len(performance(tune, arrangement)) == 3 * len(tune.performed_order()) + 1
