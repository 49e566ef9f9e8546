"""Task: write crooked bars on the page.

In: a Timeline whose short bars have holes (crooked) and its Form. Out: `agreed(...)`: the Timeline
    with the short bars that the passes agree on, None without any; `printed(...)`: the folded tune
    with the length of its bars, and which heard bars are the end of a longer one.
Method: a bar of the page is crooked when AGREE of its passes are, by the same number of beats; in
    a single pass crooked has asked for more. A short bar that makes a part of four or eight bars
    one too many is the end of a long one. A slip in one pass stays a break.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction

import numpy as np

from liltwright.notate.bars.passes import passes_of_bars
from liltwright.notate.bars.timeline import Timeline
from liltwright.notate.form.fold import Folded
from liltwright.notate.form.segments import Form
from liltwright.notate.metre.kind import TICKS
from liltwright.tune import Bar, Doubt, Ending, HeardBar, Part

Joined = dict[int, Fraction]
"""By bar that goes on the bar before it: the length of that one."""

AGREE = 2 / 3  # share of the passes
MOST_CROOKED = 1 / 8
"""With more than that share of crooked bars the metre is wrong and not the bars."""
BESIDE = 1
"""A pass tells of a crooked bar when so many full bars lie before it and after it."""
PHRASE = 4  # bars


def agreed(line: Timeline, form: Form) -> Timeline | None:
    """The timeline with only those short bars that the passes agree on. `form` counts bars from
    line.first_bar."""
    short = dict(line.short)
    first = line.first_bar + bool(line.ticks[0] % line.kind.bar_ticks)
    printed_bars = [[bar + line.first_bar for bar in same] for same in passes_of_bars(form)]
    kept: dict[int, int] = {}
    once = crooked = 0
    for bars in printed_bars:
        told = [bar for bar in bars if first + BESIDE <= bar <= line.last_bar - BESIDE]
        found = Counter(short[bar] for bar in told if bar in short)
        length, count = found.most_common(1)[0] if found else (0, 0)
        if count and count >= AGREE * len(told) and (count > 1 or len(bars) == 1):
            crooked += 1
            once += len(bars) == 1
            kept |= {bar: length for bar in bars if short.get(bar) == length}
    if not kept or once > 1 or crooked > MOST_CROOKED * len(printed_bars):
        return None
    if 2 * (len(short) - len(kept)) >= len(kept) or any(bar + 1 in kept for bar in kept):
        return None
    return _held_on(replace(line, short=tuple(sorted(kept.items()))))


def _held_on(line: Timeline) -> Timeline:
    """Notes before a hole last to its end less the hole; the beat does not wait after it."""
    bar = line.kind.bar_ticks
    number = line.ticks // bar
    length, broken = line.length.copy(), line.broken.copy()
    for which, ticks in line.short:
        last = int(np.searchsorted(number, which, side="right")) - 1
        after = int(line.ticks[last + 1]) if last + 1 < len(number) else (which + 1) * bar
        length[last] = min(length[last], max(after - line.ticks[last] - (bar - ticks), 3))
        if last + 1 < len(number):
            broken[last + 1] = False
    return replace(line, length=length, broken=broken)


def printed(folded: Folded, form: Form, line: Timeline) -> tuple[Folded, Joined]:
    """The folded tune with bar lengths, and the heard bars that go on the bar before them."""
    full = Fraction(line.kind.bar_ticks, TICKS)
    short = {bar - line.first_bar: Fraction(ticks, TICKS) for bar, ticks in line.short}
    parts: list[Part] = []
    joined: Joined = {}
    for number, part in enumerate(folded.parts):
        passes = [s for s in form.segments if s.part == number]
        bars = {(s.first + at, s.skipped + at) for s in passes for at in range(s.bars)}
        odd = {index: short[bar] for bar, index in bars if bar in short}
        size = len(part.bars) + (len(part.endings[0].bars) if part.endings else 0)
        part = _with_lengths(part, [odd.get(index, full) for index in range(size)], full)
        if size % PHRASE and (size - len(odd)) % PHRASE == 0:
            after = {max(index, 1): odd[0] if index == 0 else full for index in odd}
            after = {index: by for index, by in after.items() if index < len(part.bars)}
            part = _joined(part, after)
            joined |= {bar: after[index] for bar, index in bars if index in after}
        parts.append(part)
    return replace(folded, parts=tuple(parts)), joined


def _with_lengths(part: Part, lengths: list[Fraction], full: Fraction) -> Part:
    if all(length == full for length in lengths):
        return part
    body = len(part.bars)
    mine, closing = tuple(lengths[:body]), tuple(lengths[body:])
    endings = tuple(
        Ending(
            ending.times,
            tuple(_cut(bar, limit, full) for bar, limit in zip(ending.bars, closing, strict=True)),
            closing if any(length != full for length in closing) else (),
        )
        for ending in part.endings
    )
    bars = tuple(_cut(bar, limit, full) for bar, limit in zip(part.bars, mine, strict=True))
    odd = any(length != full for length in mine)
    return replace(part, bars=bars, endings=endings, bar_lengths=mine if odd else ())


def _cut(bar: Bar, limit: Fraction, full: Fraction) -> Bar:
    """The notes that begin in a short bar; one that a pass held to the full bar ends with it."""
    if limit == full:
        return bar
    return tuple(
        replace(n, length=limit - n.start) if n.start + n.length == full else n
        for n in bar
        if n.start < limit
    )


def _joined(part: Part, after: Joined) -> Part:
    """The part with the bars at these indices put on those before them."""
    bars: list[Bar] = []
    lengths: list[Fraction] = []
    for index, bar in enumerate(part.bars):
        if index in after:
            bars[-1] += later(bar, after[index])
            lengths[-1] += part.bar_lengths[index]
        else:
            bars.append(bar)
            lengths.extend(part.bar_lengths[index : index + 1])
    return replace(part, bars=tuple(bars), bar_lengths=tuple(lengths))


def later(bar: Bar, by: Fraction) -> Bar:
    """The notes of a bar moved on."""
    return tuple(replace(note, start=note.start + by) for note in bar)


def joined_bars(bars: tuple[HeardBar, ...], joined: Joined) -> tuple[HeardBar, ...]:
    """Heard bars with those put on the bars before them."""
    out: list[HeardBar] = []
    for index, bar in enumerate(bars):
        if index in joined and out:
            before = out[-1]
            notes = before.notes + later(bar.notes, joined[index])
            trust = (before.confidence + bar.confidence) / 2 if bar.notes else before.confidence
            out[-1] = HeardBar(before.start_s, bar.end_s, notes, round(trust, 3))
        else:
            out.append(bar)
    return tuple(out)


def joined_doubts(
    doubts: tuple[Doubt, ...], bars: tuple[HeardBar, ...], joined: Joined
) -> tuple[Doubt, ...]:
    """The doubts by the numbers of the joined bars, one to a bar. `bars` are not joined."""
    first = 0 if bars and bars[0].notes and bars[0].notes[0].start else 1
    found: dict[int, Doubt] = {}
    for doubt in doubts:
        index = doubt.bar - first
        number = doubt.bar - sum(one <= index for one in joined)
        start = bars[index - (index in joined)].start_s
        found.setdefault(number, replace(doubt, bar=number, start_s=start))
    return tuple(found.values())
