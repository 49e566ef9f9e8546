"""Which bars stand on one line: whole phrases, never more notes than a line can hold.

In:  the bars of a Sheet. Out: for every line, the indices of its bars.
Method: each part begins a line and is cut every four full bars (a phrase of the dance tunes); a
    second ending stands beside the first when the line has room. Lines too full for their notes
    are halved. A page never breaks inside a line, so it never cuts a phrase.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from liltwright.write.sheet.bars import SheetBar

LINE_NOTES = 47
"""Moments (onsets, with a little for each bar line) that fit a line of an A4 page."""
ROOMY_NOTES = 32
"""Moments on a line where the page has room to spare: two bars of 12/8, not four."""


def lines_of(
    bars: Sequence[SheetBar], *, bars_per_line: int = 4, capacity: float = LINE_NOTES
) -> list[list[int]]:
    """Indices of `bars` line by line, in order."""
    weights = [_weight(bar) for bar in bars]
    lines: list[list[int]] = []
    for part in _parts(bars):
        lines += _split(part, bars, weights, bars_per_line, capacity)
    return lines


def line_weight(bars: Sequence[SheetBar], line: Sequence[int]) -> float:
    """How full a line is, to be held against LINE_NOTES."""
    return sum(_weight(bars[index]) for index in line)


def _weight(bar: SheetBar) -> float:
    onsets = {item.start for voice in bar.voices for item in voice.items}
    graces = sum(len(item.graces) for voice in bar.voices for item in voice.items)
    return len(onsets) + 0.6 * graces + 1.2


def _parts(bars: Sequence[SheetBar]) -> list[list[int]]:
    """Cut where a part or a round begins; a pick-up stays with the bar after it."""
    begins = [
        index for index, bar in enumerate(bars)
        if index and (bar.part or bar.heading) and not bars[index - 1].offset
    ]  # fmt: skip
    starts = [0, *begins, len(bars)]
    return [list(range(first, after)) for first, after in pairwise(starts) if after > first]


def _split(
    part: Sequence[int],
    bars: Sequence[SheetBar],
    weights: Sequence[float],
    per_line: int,
    capacity: float,
) -> list[list[int]]:
    phrases = _phrases(part, bars, per_line)
    merged: list[list[int]] = []
    for line in (half for phrase in phrases for half in _halved(phrase, weights, capacity)):
        again = bars[line[0]].ending and 1 not in bars[line[0]].ending
        fits = merged and sum(weights[i] for i in (*merged[-1], *line)) <= capacity
        if again and fits and len(line) <= per_line // 2:
            merged[-1] += line
        else:
            merged.append(line)
    return merged


def _phrases(part: Sequence[int], bars: Sequence[SheetBar], per_line: int) -> list[list[int]]:
    phrases: list[list[int]] = []
    full = 0
    for index in part:
        bar = bars[index]
        later_ending = bool(bar.ending) and 1 not in bar.ending
        if not phrases or later_ending or (full == per_line and not _lone_rest(part, index)):
            phrases.append([])
            full = 0
        phrases[-1].append(index)
        full += not bar.offset
    return phrases


def _lone_rest(part: Sequence[int], index: int) -> bool:
    """Whether only this bar is left: a single bar does not get a line of its own."""
    return index == part[-1] and len(part) > 1


def _halved(line: list[int], weights: Sequence[float], capacity: float) -> list[list[int]]:
    if len(line) < 2 or sum(weights[i] for i in line) <= capacity:
        return [line]
    middle = (len(line) + 1) // 2
    return [*_halved(line[:middle], weights, capacity), *_halved(line[middle:], weights, capacity)]
