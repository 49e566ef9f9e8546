"""The bars of a tune or layer as they are printed: repeats as signs, endings bracketed.

Task     lay the written bars out with their pick-ups, signs and chords
In       the tune, the notes of every bar, its chords
Out      SheetBars
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from liltwright.tune import Tune, WrittenBar
from liltwright.write.sheet.bars import SheetBar
from liltwright.write.sheet.voices import SheetNote, UnvoicedBar, voices_of


@dataclass(frozen=True, slots=True)
class SheetPage:
    """A tune with its written bars, worked out once."""

    tune: Tune
    written: tuple[WrittenBar, ...]

    @property
    def full(self) -> Fraction:
        return self.tune.bar_length


def printed_bars(
    tune: Tune,
    notes: Sequence[tuple[SheetNote, ...]],
    chords: Sequence[tuple[int, Fraction, str]],
) -> tuple[SheetBar, ...]:
    """Every written bar, with the signs that stand around it."""
    written = tune.written_bars()
    page = SheetPage(tune, written)
    frames = [
        frame_of(page, index, notes[index], _next_pickup(page, index))
        for index in range(len(written))
    ]
    voices = voices_of(frames, tune.meter)
    bars = []
    for index, bar in enumerate(written):
        signs = _signs(page, index)
        bars.append(
            replace(
                signs,
                number=bar.number,
                length=frames[index].length,
                offset=frames[index].offset,
                voices=voices[index],
                sounding=frames[index].notes,
                rings_on=frames[index].rings_on,
                chords=chords_in(chords, index, frames[index]),
            )
        )
    return tuple(bars)


def frame_of(
    page: SheetPage, index: int, notes: tuple[SheetNote, ...], pickup: Fraction
) -> UnvoicedBar:
    """A written bar as long as it is printed; `pickup` is the length of the pick-up after it."""
    bar, full = page.written[index], page.full
    offset = full - bar.length if bar.kind == "pickup" else Fraction(0)
    moved = tuple(note.moved(-offset) for note in notes)
    length = bar.length
    if pickup and length == full and _leaves_room(moved, full - pickup):
        length = full - pickup
    return UnvoicedBar(moved, length, offset, rings_on=not _ends_block(page, index))


def _leaves_room(notes: Sequence[SheetNote], end: Fraction) -> bool:
    """Whether the melody ends by `end` and nothing else begins after it (a bass may ring on)."""
    return all(
        note.start + (note.length if note.voice == "melody" else 0) <= end and note.start < end
        for note in notes
    )


def _ends_block(page: SheetPage, index: int) -> bool:
    """Whether the part, its body before endings, or an ending stops with this bar."""
    written = page.written
    if index + 1 == len(written):
        return True
    here, after = written[index], written[index + 1]
    return (here.part, here.kind == "ending", here.ending) != (
        after.part,
        after.kind == "ending",
        after.ending,
    )


def _next_pickup(page: SheetPage, index: int) -> Fraction:
    """Length of the pick-up that follows a bar when it is the last before one, else 0."""
    tune = page.tune
    bar = page.written[index]
    part = tune.parts[bar.part]
    if not _ends_block(page, index) or (bar.kind == "bar" and part.endings):
        return Fraction(0)
    times = part.endings[bar.ending].times if bar.kind == "ending" else (1,)
    leads_back = part.repeats > 1 and (bar.kind == "bar" or min(times) < part.repeats)
    after = part if leads_back else tune.parts[(bar.part + 1) % len(tune.parts)]
    return tune.bar_length - after.pickup[0].start if after.pickup else Fraction(0)


def _signs(page: SheetPage, index: int) -> SheetBar:
    """Repeat signs, endings and double bars around a written bar; the rest is filled in later."""
    written = page.written
    bar = written[index]
    part = page.tune.parts[bar.part]
    first = index == 0 or written[index - 1].part != bar.part
    last = index + 1 == len(written) or written[index + 1].part != bar.part
    times: tuple[int, ...] = ()
    starts_ending = ends_ending = False
    closes = 0
    if bar.kind == "ending":
        times = part.endings[bar.ending].times
        before = written[index - 1]
        starts_ending = before.kind != "ending" or before.ending != bar.ending
        ends_ending = _ends_block(page, index)
        if ends_ending and min(times, default=part.repeats) < part.repeats:
            closes = 2
    elif last and part.repeats > 1:
        closes = part.repeats
    return SheetBar(
        number=0,
        length=Fraction(0),
        offset=Fraction(0),
        voices=(),
        sounding=(),
        part=part.name if first else "",
        opens_repeat=first and part.repeats > 1,
        closes_repeat=closes,
        ending=times if starts_ending else (),
        ends_ending=ends_ending,
        double_bar=last,
        last=index + 1 == len(written),
        written=index,
    )


def chords_in(
    chords: Sequence[tuple[int, Fraction, str]], index: int, frame: UnvoicedBar
) -> tuple[tuple[Fraction, str], ...]:
    """The chord symbols of a written bar, at their places in the bar as it is printed."""
    found = [(start - frame.offset, symbol) for bar, start, symbol in chords if bar == index]
    return tuple(sorted((max(start, Fraction(0)), symbol) for start, symbol in found))
