"""Which notes of a voice are joined by beams.

Method   notes shorter than a quarter are joined inside the metre's beam group (half bars in 4/4,
         dotted quarters in 6/8); rests and longer notes break a beam. A single short note beside
         longer ones gets a hook that points into the group.
References  MusicXML 4.0, beam-value; common practice of music engraving.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from liltwright.write.sheet.values import beam_group, value_and_dots
from liltwright.write.sheet.voices import VoiceItem


def flags(item: VoiceItem) -> int:
    """Flags of the item's note head: 1 for an eighth, 2 for a sixteenth, 0 for longer and rests."""
    value = value_and_dots(item.written)
    if value is None or not item.notes:
        return 0
    return max(0, (Fraction(1) / value[0]).numerator.bit_length() - 3)


def beams_of(items: Sequence[VoiceItem], offset: Fraction, meter: str) -> list[tuple[str, ...]]:
    """For each item its MusicXML beam values, level 1 first; empty where there is no beam."""
    marks: list[tuple[str, ...]] = [()] * len(items)
    for group in _groups(items, offset, beam_group(meter)):
        counts = [flags(items[index]) for index in group]
        for place, index in enumerate(group):
            levels = range(1, counts[place] + 1)
            marks[index] = tuple(_mark(counts, place, level) for level in levels)
    return marks


def _groups(items: Sequence[VoiceItem], offset: Fraction, size: Fraction) -> list[list[int]]:
    groups: list[list[int]] = []
    current: list[int] = []
    which = None
    for index, item in enumerate(items):
        here = (offset + item.start) // size
        if current and (not flags(item) or here != which):
            groups.append(current)
            current = []
        if flags(item):
            current.append(index)
            which = here
    groups.append(current)
    return [group for group in groups if len(group) > 1]


def _mark(counts: Sequence[int], place: int, level: int) -> str:
    before = place > 0 and counts[place - 1] >= level
    after = place + 1 < len(counts) and counts[place + 1] >= level
    if before and after:
        return "continue"
    if before or after:
        return "end" if before else "begin"
    return "backward hook" if place else "forward hook"
