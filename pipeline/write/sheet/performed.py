"""The bars of a performance, one after the other as they are played.

Task     lay out every bar of every round; a short end of a part and the next pick-up are one bar
In       the page and the bars performed
Out      SheetBars
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from liltwright.arrange.rounds import PerformedBar, performance, round_words
from liltwright.tab import Arrangement
from liltwright.tune import Tune
from liltwright.write.sheet.bars import SheetBar
from liltwright.write.sheet.printed import SheetPage, chords_in, frame_of
from liltwright.write.sheet.voices import SheetNote, UnvoicedBar, voices_of


def performed_bars(tune: Tune, arrangement: Arrangement) -> tuple[SheetBar, ...]:
    """The rounds one after another; a pick-up joins the short bar before it."""
    played = performance(tune, arrangement)
    written = tune.written_bars()
    page = SheetPage(tune, written)
    bars: list[tuple[UnvoicedBar, SheetBar]] = []
    number = 1
    part = ""  # of a pick-up that joined the bar before it
    for place, bar in enumerate(played):
        frame, sheet = _performed_bar(page, arrangement, played, place)
        joins = bars and bars[-1][0].length + frame.length == tune.bar_length
        if bar.written >= 0 and written[bar.written].kind == "pickup" and joins:
            bars[-1] = _joined(bars[-1], (frame, sheet))
            part = sheet.part
            continue
        sheet = replace(sheet, part=part or sheet.part)
        part = ""
        if not frame.offset:
            sheet = replace(sheet, number=number)
            number += 1
        bars.append((frame, sheet))
    voices = voices_of([frame for frame, _ in bars], tune.meter)
    return tuple(
        replace(
            sheet,
            length=frame.length,
            offset=frame.offset,
            voices=voices[index],
            sounding=frame.notes,
            rings_on=frame.rings_on,
            last=index + 1 == len(bars),
            double_bar=sheet.double_bar or index + 1 == len(bars),
        )
        for index, (frame, sheet) in enumerate(bars)
    )


def _performed_bar(
    page: SheetPage, arrangement: Arrangement, played: Sequence[PerformedBar], place: int
) -> tuple[UnvoicedBar, SheetBar]:
    bar = played[place]
    notes = tuple(SheetNote.of_tab(note) for note in bar.notes)
    blank = SheetBar(0, Fraction(0), Fraction(0), (), (), written=bar.written)
    if bar.written < 0:
        return UnvoicedBar(notes, bar.length, Fraction(0), False), replace(
            blank, heading=arrangement.change if not place else ""
        )
    frame = frame_of(page, bar.written, notes, _pickup_after(page, played, place))
    layer = arrangement.layer(bar.layer)
    chords = [(chord.bar, chord.start, chord.symbol) for chord in layer.chords]
    before = played[place - 1] if place else None
    begins_round = _first_full_bar_of_round(page, played, place)
    begins_part = (
        before is None
        or _part_of(page, before) != _part_of(page, bar)
        or before.written >= bar.written
    )
    full = page.written[bar.written].kind != "pickup"
    changes = full and _last_dynamic(page, played, place) != bar.dynamic
    return replace(frame, rings_on=True), replace(
        blank,
        chords=chords_in(chords, bar.written, frame),
        part=page.tune.parts[_part_of(page, bar)].name if begins_part else "",
        heading=f"Round {bar.round}: {round_words(arrangement.rounds[bar.round - 1])}"
        if begins_round
        else "",
        dynamic=bar.dynamic if changes else "",
        double_bar=place + 1 < len(played) and played[place + 1].round != bar.round,
    )


def _last_dynamic(page: SheetPage, played: Sequence[PerformedBar], place: int) -> str:
    """The dynamic of the last full bar before; of none, nothing."""
    for bar in reversed(played[:place]):
        if bar.written >= 0 and page.written[bar.written].kind != "pickup":
            return bar.dynamic
    return ""


def _first_full_bar_of_round(page: SheetPage, played: Sequence[PerformedBar], place: int) -> bool:
    written = page.written
    bar = played[place]
    if bar.written < 0 or written[bar.written].kind == "pickup":
        return False
    earlier = [one for one in played[max(place - 2, 0) : place] if one.round == bar.round]
    return all(one.written < 0 or written[one.written].kind == "pickup" for one in earlier)


def _part_of(page: SheetPage, bar: PerformedBar) -> int:
    return page.written[bar.written].part if bar.written >= 0 else -1


def _pickup_after(page: SheetPage, played: Sequence[PerformedBar], place: int) -> Fraction:
    following = played[place + 1].written if place + 1 < len(played) else -1
    if following < 0:
        return Fraction(0)
    after = page.written[following]
    return after.length if after.kind == "pickup" else Fraction(0)


def _joined(
    short: tuple[UnvoicedBar, SheetBar], pickup: tuple[UnvoicedBar, SheetBar]
) -> tuple[UnvoicedBar, SheetBar]:
    frame, sheet = short
    after, marks = pickup
    return (
        replace(
            frame,
            notes=frame.notes + tuple(note.moved(frame.length) for note in after.notes),
            length=frame.length + after.length,
        ),
        replace(
            sheet,
            chords=sheet.chords + tuple((s + frame.length, symbol) for s, symbol in marks.chords),
        ),
    )
