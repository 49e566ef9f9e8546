"""Task: the type of a printed tune, and the tune as a player would write it plainly.

In: a Tune as read, its R: header, titles and place in the book. Out: TuneType and where it came
    from; the Tune with 2/4 semiquaver reels doubled to 4/4 and swung dotted pairs made even.
References: chapters of O'Neill 1903, from memory, confirmed by the R: headers in the files.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from pipeline.tune import Bar, Tune, TuneType
from tests.benchmark.families import deal

QUAVER = Fraction(1, 8)
TypeFrom = Literal["header", "title", "chapter", "motion"]

RHYTHMS: tuple[tuple[str, TuneType], ...] = (
    ("slip", "slip jig"), ("double jig", "jig"), ("slide", "slide"), ("jig", "jig"),
    ("reel", "reel"), ("hornpipe", "hornpipe"), ("clog", "hornpipe"),
    ("strathspey", "strathspey"), ("fling", "barn dance"), ("waltz", "waltz"),
    ("march", "march"), ("air", "air"), ("quick", "march"), ("minuet", "waltz"),
)  # fmt: skip
CHAPTERS: tuple[tuple[int, TuneType | None], ...] = (
    (700, "air"), (1115, "jig"), (1175, "slip jig"), (1555, "reel"), (1766, "hornpipe"),
    (1800, None), (1850, "march"),
)  # fmt: skip


def type_of(
    collection: str, name: str, tune: Tune, rhythm: str, titles: tuple[str, ...]
) -> tuple[TuneType, TypeFrom] | None:
    kind, source = _named(rhythm), "header"
    if kind is None:
        kind, source = _named(" ".join(titles).lower()), "title"
    if (kind is None or source == "title") and collection == "oneill":
        number = int(re.sub(r"\D", "", name.rsplit("/", 1)[1]) or 0)
        kind = next((kind for last, kind in CHAPTERS if number <= last), None)
        source = "chapter"
    if kind is None and collection == "aird":
        kind, source = _by_motion(tune), "motion"
    if kind == "air" and tune.meter == "3/4" and deal(name) < 0.5 and _density(tune) > 2.5:
        kind, source = "waltz", "motion"
    if kind in ("jig", "slide", "march") and tune.meter == "9/8":
        kind = "slip jig"
    if kind in ("jig", "slide") and tune.meter == "6/8":
        kind = "slide" if _crotchet_quaver(tune) > 0.6 else "jig"
    return (kind, source) if kind else None  # type: ignore[return-value]


def _named(text: str) -> TuneType | None:
    return next((kind for word, kind in RHYTHMS if word in text), None)


def _by_motion(tune: Tune) -> TuneType | None:
    density = _density(tune)
    if tune.meter == "6/8":
        return "jig"
    if tune.meter == "9/8":
        return "slip jig"
    if tune.meter == "3/4" and 2.5 < density < 6:
        return "waltz"
    if tune.meter == "2/4" and 3 < density < 6.5:
        return "polka"
    if tune.meter == "4/4" and density > 6:
        return "reel"
    return None


def _density(tune: Tune) -> float:
    """Notes per bar."""
    bars = [bar for part in tune.parts for bar in part.bars]
    return sum(map(len, bars)) / max(len(bars), 1)


def _crotchet_quaver(tune: Tune) -> float:
    """Share of the dotted-crotchet beats that hold at most two notes."""
    counts = Counter(
        (index, number, note.start // Fraction(3, 8))
        for index, part in enumerate(tune.parts)
        for number, bar in enumerate(part.bars)
        for note in bar
    )
    return sum(count <= 2 for count in counts.values()) / max(len(counts), 1)


def plainly(tune: Tune) -> Tune:
    if tune.tune_type in ("reel", "hornpipe", "strathspey", "barn dance") and tune.meter == "2/4":
        tune = _doubled(tune)
    if tune.tune_type in ("reel", "hornpipe", "barn dance"):
        parts = tuple(
            replace(
                part,
                pickup=_even(part.pickup),
                bars=tuple(map(_even, part.bars)),
                endings=tuple(
                    replace(ending, bars=tuple(map(_even, ending.bars))) for ending in part.endings
                ),
            )
            for part in tune.parts
        )
        tune = replace(tune, parts=parts)
    return tune


def _doubled(tune: Tune) -> Tune:
    def bars(these: tuple[Bar, ...], offset: Fraction = Fraction(0)) -> tuple[Bar, ...]:
        return tuple(
            tuple(replace(n, start=n.start * 2 - offset, length=n.length * 2) for n in bar)
            for bar in these
        )

    parts = tuple(
        replace(
            part,
            pickup=bars((part.pickup,))[0],
            bars=bars(part.bars),
            endings=tuple(replace(ending, bars=bars(ending.bars)) for ending in part.endings),
            bar_lengths=tuple(length * 2 for length in part.bar_lengths),
        )
        for part in tune.parts
    )
    return replace(tune, parts=parts, meter="4/4")


def _even(bar: Bar) -> Bar:
    """Dotted pairs that fill a crotchet of the metre become even quavers."""
    notes = list(bar)
    for at, (first, second) in enumerate(pairwise(bar)):
        if (
            first.start % (2 * QUAVER) == 0
            and first.length == QUAVER * 3 / 2
            and second.start == first.start + first.length
            and second.length == QUAVER / 2
        ):
            notes[at] = replace(first, length=QUAVER)
            notes[at + 1] = replace(second, start=first.start + QUAVER, length=QUAVER)
    return tuple(notes)
