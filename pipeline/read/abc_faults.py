"""What in an ABC tune is not as it should be, in words with bar and line.

Task     say which bars do not add up, and what was not understood
In       the bars in the order of the page, with line and metre of each; what was passed over
Out      sentences for the user
Method   a short bar is as it should be as a pick-up, before a pick-up, or as half of a bar that
         a repeat sign or the end of a line cuts in two; whole bars without a bar line between
         them are cut later on. Every other bar must be as long as the metre says.
References  ABC notation standard 2.1, section 4.8 (bar lines and repeats).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from fractions import Fraction

from liltwright.read.bars import ReadBar

MOST = 8
"""So many of a kind are said one by one."""
LEFT = "it is passed over"

Place = tuple[int, Fraction]
"""The line on which a bar begins, and the length of a full bar there."""


def unknown_field(line: int, letter: str) -> str:
    """A sentence about a field that ABC does not know."""
    return f'Line {line}: "{letter}:" is no field of ABC; {LEFT}.'


def stray_words(bars: Sequence[ReadBar], strays: Sequence[tuple[int, int, str]]) -> tuple[str, ...]:
    """Sentences about what was passed over in the music: (line, index of the bar, text)."""
    numbers = [*_numbers(bars), 0]
    found: dict[tuple[int, int], list[str]] = {}
    for line, index, text in strays:
        found.setdefault((line, min(index, len(bars))), []).append(text)
    words = []
    for (line, index), texts in found.items():
        quoted = " and ".join(f'"{text}"' for text in dict.fromkeys(texts))
        are = "is" if len(set(texts)) == 1 else "are"
        bar = f", {_bar(numbers[index])}" if index < len(bars) else ""
        words.append(f"Line {line}{bar}: {quoted} {are} not understood and left out.")
    return _at_most(words, "more lines with signs that are not understood")


def odd_bars(
    bars: Sequence[ReadBar], places: Sequence[Place]
) -> list[tuple[int, int, Fraction, Fraction]]:
    """Of each bar that does not add up its line, its number, its length and that of a full one."""
    numbers = _numbers(bars)
    return [
        (line, numbers[index], bar.length, full)
        for index, (bar, (line, full)) in enumerate(zip(bars, places, strict=True))
        if not _fits(index, bars, full)
    ]


def odd_bar_words(
    bars: Sequence[ReadBar],
    places: Sequence[Place],
    meter: str,
    known: Collection[tuple[int, Fraction]] = (),
) -> tuple[str, ...]:
    """Sentences about the bars that do not add up; none about `known` ones (number, length)."""
    lower = int(meter.partition("/")[2])
    words = [
        f"Line {line}, {_bar(number)} does not add up: "
        f"{_length(length, lower)}, a full bar is {_length(full, lower)}."
        for line, number, length, full in odd_bars(bars, places)
        if (number, length) not in known
    ]
    return _at_most(words, "more bars that do not add up")


def _fits(index: int, bars: Sequence[ReadBar], full: Fraction) -> bool:
    length = bars[index].length
    if length == full or (length > full and (length / full).denominator == 1):
        return True
    if length > full:
        return False
    before = bars[index - 1].length if index else Fraction(0)
    after = bars[index + 1].length if index + 1 < len(bars) else Fraction(0)
    if full in (before + length, length + after):
        return True
    if _opens(index, bars):
        return length <= full / 2 or _until_close(index, bars) % 4 != 0
    return _closes(index, bars) and _leads_to_pickup(length, bars, full)


def _opens(index: int, bars: Sequence[ReadBar]) -> bool:
    """Whether a part begins with this bar."""
    bar = bars[index]
    after_sign = index == 0 or (bars[index - 1].closes and not bar.ending)
    return after_sign or bar.opens or bool(bar.label)


def _closes(index: int, bars: Sequence[ReadBar]) -> bool:
    """Whether a part, or an ending, ends with this bar."""
    last = index + 1 == len(bars)
    return last or bars[index].closes or bool(bars[index + 1].ending) or _opens(index + 1, bars)


def _until_close(index: int, bars: Sequence[ReadBar]) -> int:
    """How many bars the part that begins here has."""
    return next(
        (at - index + 1 for at in range(index, len(bars)) if _closes(at, bars)), len(bars) - index
    )


def _leads_to_pickup(length: Fraction, bars: Sequence[ReadBar], full: Fraction) -> bool:
    """Whether some part begins with the pick-up that this short last bar leaves room for."""
    return any(
        bar.length + length == full and _opens(index, bars) for index, bar in enumerate(bars)
    )


def _numbers(bars: Sequence[ReadBar]) -> list[int]:
    """The number of each bar as printed: pick-ups are 0, every ending counts from its first bar."""
    full = max((bar.length for bar in bars), key=[bar.length for bar in bars].count, default=1)
    numbers: list[int] = []
    number, ending_at = 1, 0
    for index, bar in enumerate(bars):
        if _opens(index, bars):
            ending_at = 0
        if bar.ending:
            number = ending_at or number
            ending_at = number
        if _opens(index, bars) and bar.length < full and _until_close(index, bars) > 1:
            numbers.append(0)
            continue
        numbers.append(number)
        number += not (
            index + 1 < len(bars)
            and not _opens(index + 1, bars)
            and bar.length < full == bar.length + bars[index + 1].length
        )
    return numbers


def _bar(number: int) -> str:
    return f"bar {number}" if number else "pick-up"


def _length(length: Fraction, lower: int) -> str:
    """ "5/8" in the lower number of the metre where that comes out even."""
    count = length * lower
    return f"{count}/{lower}" if count.denominator == 1 else str(length)


def _at_most(words: Sequence[str], more: str) -> tuple[str, ...]:
    if len(words) <= MOST + 1:
        return tuple(words)
    return (*words[:MOST], f"There are {len(words) - MOST} {more}.")
