"""A tune written out with every repeat -> bars as a tune book prints them.

Task     find the parts of a tune that is played through, as MIDI files hold it
In       ReadBars in playing order; those of this program's own files name parts and endings
Out      ReadBars with repeat signs and endings, for folding.py
Method   Where part names stand, every pass of a part begins at one. Elsewhere blocks of eight bars
         are compared: equal neighbours are one part repeated, neighbours that differ in their last
         bars only have a first and second ending, and a sequence of parts that comes again is
         another round. What leads into a block at the end of the one before is its pick-up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from liltwright.read.bars import ReadBar
from liltwright.tune import Bar

BLOCK = 8  # bars, the usual part
LONGEST_ENDING = 2  # bars


@dataclass(slots=True)
class _Pass:
    """Once through a part."""

    body: list[ReadBar]
    times: tuple[int, ...] = ()
    ending: list[ReadBar] = field(default_factory=list)
    label: str = ""


def printed_bars(bars: Sequence[ReadBar], full: Fraction) -> list[ReadBar]:
    """The bars with repeats folded; `full` is the length of a bar."""
    if any(bar.label for bar in bars):
        passes = _named_passes(bars)
    else:
        passes = _with_endings(_one_round(_blocks(list(bars), full)))
    printed: list[ReadBar] = []
    group: list[_Pass] = []
    for one in passes:
        if group and not _same_part(group[-1], one):
            printed += _printed(group)
            group = []
        group.append(one)
    return printed + (_printed(group) if group else [])


def _printed(group: Sequence[_Pass]) -> list[ReadBar]:
    """The passes of one part with repeat signs around them."""
    first = group[0]
    bars = list(first.body)
    count = len(group)
    bars[0] = replace(bars[0], label=first.label, opens=count > 1)
    endings: dict[tuple[int, ...], list[ReadBar]] = {}
    for one in group:
        if one.ending:
            endings.setdefault(one.times, one.ending)
    if not endings:
        bars[-1] = replace(bars[-1], times=count, closes=True)
    for times, ending in endings.items():
        closes = min(times) < count
        marked = [replace(ending[0], ending=times), *ending[1:]]
        marked[-1] = replace(marked[-1], closes=True, times=2 if closes else 1)
        bars += marked
    return bars


def _same_part(one: _Pass, other: _Pass) -> bool:
    return (
        one.label == other.label
        and _notes(one.body) == _notes(other.body)
        and bool(one.ending) == bool(other.ending)
        and (bool(one.ending) or _notes(one.ending) == _notes(other.ending))
    )


def _notes(bars: Sequence[ReadBar]) -> list[Bar]:
    return [bar.notes for bar in bars]


def _named_passes(bars: Sequence[ReadBar]) -> list[_Pass]:
    passes: list[_Pass] = []
    for bar in bars:
        if bar.label or not passes:
            passes.append(_Pass([], label=bar.label))
        if bar.ending:
            passes[-1].times = bar.ending
        plain = replace(bar, label="", ending=())
        (passes[-1].ending if passes[-1].times else passes[-1].body).append(plain)
    return [one for one in passes if one.body]


# ---------------------------------------------------------------- without names


def _blocks(bars: list[ReadBar], full: Fraction) -> list[_Pass]:
    """Blocks of eight bars, each with the pick-up that leads into it."""
    pickup = Fraction(0)
    first = bars[0]
    if first.notes and first.notes[0].start >= full / 2 and len(bars) > BLOCK:
        pickup = full - first.notes[0].start
        before: ReadBar | None = _tail(first, pickup)
        bars = bars[1:]
    else:
        before = None
    if len(bars) % BLOCK or len(bars) == BLOCK:
        return [_Pass(([before] if before else []) + bars)]
    blocks = []
    for at in range(0, len(bars), BLOCK):
        body = bars[at : at + BLOCK]
        after = None
        if pickup and at + BLOCK < len(bars) and _tail(body[-1], pickup).notes:
            after = _tail(body[-1], pickup)
            body[-1] = _without_tail(body[-1], pickup)
        blocks.append(_Pass(([before] if before else []) + body))
        before = after
    return blocks


def _tail(bar: ReadBar, length: Fraction) -> ReadBar:
    """The last `length` of a bar as a bar of its own."""
    at = bar.length - length
    return ReadBar(
        tuple(replace(note, start=note.start - at) for note in bar.notes if note.start >= at),
        length,
    )


def _without_tail(bar: ReadBar, length: Fraction) -> ReadBar:
    at = bar.length - length
    return ReadBar(tuple(note for note in bar.notes if note.start < at), at)


def _one_round(blocks: list[_Pass]) -> list[_Pass]:
    """The blocks of one round where the same sequence of blocks comes again."""
    kinds: list[int] = []
    for place, block in enumerate(blocks):
        same = next((i for i in range(place) if _similar(blocks[i], block)), None)
        kinds.append(kinds[same] if same is not None else place)
    for period in range(2, len(blocks) // 2 + 1):
        rounds, left = divmod(len(blocks), period)
        if not left and kinds == kinds[:period] * rounds and len(set(kinds[:period])) > 1:
            return blocks[:period]
    return blocks


def _similar(one: _Pass, other: _Pass) -> bool:
    ones, others = _notes(one.body)[-BLOCK:], _notes(other.body)[-BLOCK:]
    return len(ones) == len(others) and ones[:-LONGEST_ENDING] == others[:-LONGEST_ENDING]


def _with_endings(blocks: list[_Pass]) -> list[_Pass]:
    """Neighbours that differ in their last one or two bars only, with those as endings."""
    done: list[_Pass] = []
    for block in blocks:
        before = done[-1] if done else None
        if before is None or before.times or len(before.body) != len(block.body):
            done.append(block)
            continue
        differ = [a.notes != b.notes for a, b in zip(before.body, block.body, strict=True)]
        first = differ.index(True) if any(differ) else len(differ)
        if len(differ) - LONGEST_ENDING <= first < len(differ):
            done[-1] = _Pass(before.body[:first], (1,), before.body[first:])
            done.append(_Pass(block.body[:first], (2,), block.body[first:]))
        else:
            done.append(block)
    return done
