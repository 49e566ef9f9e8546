"""Ornaments that the tune type wants where none is written.

Task: suggest ornaments, sparingly.
In:   a Tune. Out: the Tune with more ornaments, and how many were added.
Method: a long note that begins on a beat, and a note that repeats the one before, ask for an
    ornament; which one depends on the tune type (models/ornaments). One in a bar at most, long
    notes first, none where the user wrote one and none on the note that closes a part.
References: counts of printed ornaments in models/ornaments/CARD.md; kinds are common practice.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from liltwright import models
from liltwright.tune import Bar, Ornament, Part, Tune

FILE = "ornaments/ornaments.json"


def with_suggestions(tune: Tune) -> tuple[Tune, int]:
    """The tune with suggested ornaments added, and how many."""
    added = 0
    parts: list[Part] = []
    for part in tune.parts:
        closing = len(part.bars) if part.endings else len(part.bars) - 1
        bars = [_bar(tune, bar, last=at == closing) for at, bar in enumerate(part.bars)]
        endings = [
            replace(
                one,
                bars=tuple(
                    _bar(tune, bar, last=at == len(one.bars) - 1) for at, bar in enumerate(one.bars)
                ),
            )
            for one in part.endings
        ]
        after = replace(part, bars=tuple(bars), endings=tuple(endings))
        added += _count(after) - _count(part)
        parts.append(after)
    return replace(tune, parts=tuple(parts)), added


def asking(tune: Tune, bar: Bar) -> Iterator[tuple[int, Ornament]]:
    """The notes of a bar that ask for an ornament, most urgent first, with the ornament."""
    table = models.read_json(FILE)
    kinds = table["suggested"][tune.tune_type]
    long_from = Fraction(table["long_from"])
    found: list[tuple[int, int, Ornament]] = []
    if bar and bar[0].start % tune.beat == 0 and bar[0].length >= long_from:
        found.append((0, 0, kinds["long"]))
    for at, (before, note) in enumerate(pairwise(bar), 1):
        touches = before.start + before.length == note.start
        if note.length >= long_from and note.start % tune.beat == 0:
            found.append((0, at, kinds["long"]))
        elif note.midi == before.midi and touches:
            found.append((1, at, kinds["repeated"]))
    yield from ((at, kind) for _, at, kind in sorted(found, key=lambda one: one[:2]))


def _bar(tune: Tune, bar: Bar, *, last: bool) -> Bar:
    left = models.read_json(FILE)["most_in_a_bar"] - sum(note.ornament is not None for note in bar)
    notes = list(bar)
    for at, kind in asking(tune, bar):
        closes = last and at == len(bar) - 1
        if left > 0 and notes[at].ornament is None and not closes:
            notes[at] = replace(notes[at], ornament=kind)
            left -= 1
    return tuple(notes)


def _count(part: Part) -> int:
    bars = [*part.bars, *(bar for one in part.endings for bar in one.bars)]
    return sum(note.ornament is not None for bar in bars for note in bar)
