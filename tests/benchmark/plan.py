"""Task: which renders a run makes. The same arguments give the same renders.

Families, tune types and conditions rotate with periods that share no factor, so that a short run
touches all of them; tunes are drawn by the render's number. Every fourth tune is put into
mixolydian or dorian where its key is beyond doubt; now and then somebody talks first, taps a foot,
or starts inside the first bar.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from liltwright.keys import signature_of
from liltwright.tune import Tune, TuneType
from tests.benchmark.collections import CollectedTune, Split, as_mode, tunes
from tests.benchmark.conditions import CONDITIONS, Condition
from tests.benchmark.manners import MANNERS, Family
from tests.benchmark.synth import Sound, sounds

TYPES: tuple[TuneType, ...] = (
    "jig", "reel", "hornpipe", "slip jig", "polka", "march", "reel", "waltz", "jig", "slide",
    "hornpipe", "strathspey", "reel", "jig", "polka", "air",
)  # fmt: skip
FAMILIES: tuple[Family, ...] = tuple(MANNERS)


@dataclass(frozen=True, slots=True)
class Job:
    """One render, or one performance without sound."""

    number: int
    tune_id: str
    tune: Tune
    key_sure: bool
    sound: Sound
    condition: Condition
    talk: bool
    taps: bool
    late_start: bool


def plan(
    split: Split,
    count: int,
    *,
    families: tuple[Family, ...] = FAMILIES,
    conditions: tuple[Condition, ...] = CONDITIONS,
    types: tuple[TuneType, ...] = TYPES,
    extras: bool = True,
) -> list[Job]:
    """`count` renders from the tunes of a split. `extras`: talk, taps and late starts too."""
    by_type: dict[str, list[CollectedTune]] = {}
    for item in tunes(split):
        if item.tune.tune_type == "march" and item.tune.meter == "6/8":
            continue  # nobody can tell it from a jig by ear
        by_type.setdefault(item.tune.tune_type, []).append(item)
    jobs = []
    for number in range(count):
        rng = np.random.default_rng([number, 4])
        family = families[number % len(families)]
        lap = number // len(families)
        choices = sounds(family)
        sound = choices[0] if lap % 2 == 0 else choices[(lap // 2 + number) % len(choices)]
        kind = types[(number + lap) % len(types)]
        item = by_type[kind][int(rng.integers(len(by_type[kind])))]
        tune = _modal(item) if number % 4 == 3 else item.tune
        jobs.append(
            Job(
                number, item.id, tune, item.key_sure, sound,
                conditions[(number + lap) % len(conditions)],
                talk=extras and number % 7 == 5, taps=extras and number % 9 == 7,
                late_start=extras and number % 10 == 8,
            )
        )  # fmt: skip
    return jobs


def _modal(item: CollectedTune) -> Tune:
    """A major tune made mixolydian, a minor one dorian, by altering one degree throughout.

    Left as it is where that degree is hardly ever played.
    """
    tune = item.tune
    if not item.key_sure or tune.mode not in ("major", "minor"):
        return tune
    mode = "mixolydian" if tune.mode == "major" else "dorian"
    changed = as_mode(tune, -1, 0) if tune.mode == "major" else as_mode(tune, 0, 1)
    pairs = zip(tune.written_bars(), changed.written_bars(), strict=True)
    if sum(one.notes != other.notes for one, other in pairs) < 4:
        return tune
    return replace(changed, mode=mode, signature=signature_of(tune.tonic, mode))  # type: ignore[arg-type]
