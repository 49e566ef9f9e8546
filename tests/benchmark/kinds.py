"""Task: the type of a printed tune, and the tune as a player would write it plainly.

In: a Tune as read, its R: header, titles and place in the book. Out: TuneType and where it came
    from; the Tune with 2/4 semiquaver reels doubled to 4/4, swung dotted pairs made even, and
    trebles (three repeated notes in a crotchet) written as the note they decorate.
References: chapters of O'Neill 1903, from memory, confirmed by the R: headers in the files.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from liltwright.tune import Bar, ScoreNote, Tune, TuneType
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


TREBLED = ("reel", "hornpipe", "jig", "slip jig", "slide")
"""Types in which three notes on one pitch within a crotchet are decoration; in the others, whose
crotchet is the beat or nearly, they are the tune."""


def plainly(tune: Tune) -> Tune:
    """The tune as a player would write it; see the head of the module."""
    if tune.tune_type in ("reel", "hornpipe", "strathspey", "barn dance") and tune.meter == "2/4":
        tune = _doubled(tune)
    if tune.tune_type in ("reel", "hornpipe", "barn dance"):
        tune = _each_bar(tune, _even)
    if tune.tune_type in TREBLED:
        tune = _each_bar(tune, _untrebled)
    return tune


def _each_bar(tune: Tune, change: Callable[[Bar], Bar]) -> Tune:
    parts = tuple(
        replace(
            part,
            pickup=change(part.pickup),
            bars=tuple(map(change, part.bars)),
            endings=tuple(
                replace(ending, bars=tuple(map(change, ending.bars))) for ending in part.endings
            ),
        )
        for part in tune.parts
    )
    return replace(tune, parts=parts)


def _untrebled(bar: Bar) -> Bar:
    """Three repeated notes that fill a crotchet become one, marked as a triplet."""
    notes: list[ScoreNote] = []
    at = 0
    while at < len(bar):
        three = bar[at : at + 3]
        if (
            len(three) == 3
            and len({note.midi for note in three}) == 1
            and three[0].start % QUAVER == 0
            and three[2].start + three[2].length - three[0].start == 2 * QUAVER
            and sum(note.length for note in three) == 2 * QUAVER
        ):
            notes.append(replace(three[0], length=2 * QUAVER, ornament="triplet"))
            at += 3
        else:
            notes.append(bar[at])
            at += 1
    return tuple(notes)


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
