"""Bars as they stand on the page -> the parts of a tune.

Task     find the parts, their repeats, endings and pick-ups
In       ReadBars in the order of the page; the metre
Out      parts, form ("AABB") and chord symbols by written bar
Method   A part begins at a start-repeat sign or after a double bar or end-repeat sign; an
         end-repeat without a start goes back to the latest of these. An incomplete first bar is a
         pick-up. Half bars around a sign inside a bar are put together again, and bars without
         their bar line are cut. A part played twice in a row is written once with a repeat.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from liltwright.read.bars import PIN_BAR, PIN_NOTE, ReadBar, is_pin
from liltwright.read.sections import Section, ordered, sections_of
from liltwright.tune import Bar, Ending, Part, TypedChord

NAMES = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True, slots=True)
class WrittenForm:
    """The form of a tune."""

    parts: tuple[Part, ...]
    form: str
    chords: tuple[TypedChord, ...]
    pins: tuple[tuple[int, Fraction | None, str], ...] = ()
    """Index into the written bars, where in the bar (None: all of it), and the wish."""


def printed_form(bars: Sequence[ReadBar], meter: str, order: str = "") -> WrittenForm:
    """Fold bars into parts. An empty sequence gives no parts.

    `order` is the order of labelled parts as ABC's header field P states it, e.g. "ABA".
    """
    full = Fraction(meter)
    named: list[tuple[Part, list[tuple[int, Fraction, str]]]] = []
    sections = ordered(_lone_pickups(sections_of(bars), full), order)
    labels = [section.body[0].label for section in sections]
    for section, label in zip(sections, labels, strict=True):
        _mend(section, full)
        part, chords = _part(section, full)
        if not any(part.bars) and not any(any(ending.bars) for ending in part.endings):
            continue
        name = next((p.name for p, _ in named if _same(p, part)), "")
        if section.again and named:
            name = name or named[-1][0].name
        if all(labels):
            name = label
        if named and _same(named[-1][0], part) and not part.endings and len(part.bars) > 2:
            before, old_chords = named[-1]
            both = old_chords + [one for one in chords if is_pin(one[2])]
            named[-1] = (replace(before, repeats=before.repeats + part.repeats), both)
            continue
        new = NAMES[min(len({p.name for p, _ in named}), len(NAMES) - 1)]
        named.append((replace(part, name=name or new), chords))
    form = "".join(part.name * part.repeats for part, _ in named)
    typed = _typed(named)
    return WrittenForm(
        tuple(part for part, _ in named),
        form,
        tuple(chord for chord in typed if not is_pin(chord.symbol)),
        tuple(_pin(chord) for chord in typed if is_pin(chord.symbol)),
    )


def _pin(over: TypedChord) -> tuple[int, Fraction | None, str]:
    whole_bar = over.symbol.startswith(PIN_BAR)
    wish = over.symbol.removeprefix(PIN_BAR).removeprefix(PIN_NOTE)
    return over.bar, None if whole_bar else over.start, wish


def _same(one: Part, other: Part) -> bool:
    endings = [[(e.times, len(e.bars)) for e in part.endings] for part in (one, other)]
    return endings[0] == endings[1] and _plain(one) == _plain(other)


def _plain(part: Part) -> list[list[tuple[int, Fraction, Fraction]]]:
    """Pitches, starts and lengths of a part, bar by bar: ornaments do not make another part."""
    bars = [part.pickup, *part.bars, *(bar for ending in part.endings for bar in ending.bars)]
    return [[(note.midi, note.start, note.length) for note in bar] for bar in bars]


# ---------------------------------------------------------------- sections


def _lone_pickups(sections: list[Section], full: Fraction) -> list[Section]:
    """Give a short bar that stands alone before a repeat sign to the part after it."""
    done: list[Section] = []
    for index, section in enumerate(sections):
        alone = done[-1].body[0] if done and len(done[-1].body) == 1 else None
        if (
            alone is None
            or done[-1].endings
            or done[-1].repeats > 1
            or alone.length >= full
            or section.body[0].length != full
        ):
            done.append(section)
            continue
        after = sections[index + 1] if index + 1 < len(sections) else None
        stays_full = after is not None and after.body[0].length == full
        done[-1:] = _with_pickup(alone, section, full, stays_full)
    return done


def _with_pickup(
    pickup: ReadBar, section: Section, full: Fraction, stays_full: bool
) -> list[Section]:
    """A part after its lone pick-up: the pick-up is played every time if the last bars lead to it.

    `stays_full` says that the last bar is needed in full where the tune goes on.
    """
    section.body.insert(0, replace(pickup, opens=True))
    rest = full - pickup.length
    if section.repeats == 1 or (not section.endings and section.body[-1].length <= rest):
        return [section]
    final = section.repeats  # its ending leads on to the next part and need not lead back
    closing = [bars for times, bars in section.endings if min(times) < final] or [section.body]
    if not all(_leads_back(bars[-1], pickup, full) for bars in closing):
        return _written_out(section)
    if not section.endings and stays_full and section.body[-1].notes[-1:] != ():
        last = section.body.pop()
        again = tuple(range(1, section.repeats))
        section.endings = [(again, [_shortened(last, rest)]), ((section.repeats,), [last])]
        return [section]
    closing += [bars for times, bars in section.endings if min(times) >= final]
    for bars in closing:
        if _leads_back(bars[-1], pickup, full):
            bars[-1] = _shortened(bars[-1], rest)
    return [section]


def _leads_back(last: ReadBar, pickup: ReadBar, full: Fraction) -> bool:
    """Whether the end of a last bar says the same as the pick-up, or nothing, or is not there."""
    rest = full - pickup.length
    if last.length <= rest:
        return True
    tail = tuple(note for note in last.notes if note.start + note.length > rest)
    same = tuple(replace(note, start=note.start + rest) for note in pickup.notes)
    return last.length == full and tail in ((), same)


def _shortened(bar: ReadBar, length: Fraction) -> ReadBar:
    if bar.length <= length:
        return bar
    return replace(
        bar,
        notes=tuple(note for note in bar.notes if note.start < length),
        length=length,
        chords=tuple(chord for chord in bar.chords if chord[0] < length),
    )


def _written_out(section: Section) -> list[Section]:
    """A part whose pick-up is played the first time only, as one section for each time."""
    out = []
    for time in range(1, section.repeats + 1):
        ending = next((bars for times, bars in section.endings if time in times), [])
        body = section.body if time == 1 else section.body[1:]
        out.append(Section([*body, *ending], again=time > 1))
    return out


# ---------------------------------------------------------------- bars of a section


def _mend(section: Section, full: Fraction) -> None:
    section.body = _halves_joined(_cut_all(section.body, full), full)
    section.endings = [(times, _cut_all(bars, full)) for times, bars in section.endings]
    section.endings = [(times, bars) for times, bars in section.endings if bars]
    if section.repeats == 1:  # a lone first ending is no ending
        section.body += [bar for _, bars in section.endings for bar in bars]
        section.endings = []
    if not section.endings or len(section.body) < 2:
        return
    last = section.body[-1]
    firsts = [bars[0] for _, bars in section.endings]
    if last.length < full == last.length + firsts[0].length and all(
        last.length + first.length <= full for first in firsts
    ):
        section.body.pop()
        for _, bars in section.endings:
            bars[0] = last.joined(bars[0])


def _cut_all(bars: Iterable[ReadBar], full: Fraction) -> list[ReadBar]:
    """Bars with a bar line put in where a whole number of bars stand without one."""
    return [piece for bar in bars for piece in _cut(bar, full)]


def _cut(bar: ReadBar, full: Fraction) -> list[ReadBar]:
    count = bar.length / full
    if count < 2 or count.denominator != 1:
        return [bar]
    pieces = []
    for index in range(int(count)):
        low, high = index * full, (index + 1) * full
        inside = ReadBar(
            notes=tuple(note for note in bar.notes if low <= note.start < high),
            length=full,
            chords=tuple(chord for chord in bar.chords if low <= chord[0] < high),
        ).moved(-low)
        pieces.append(inside)
    pieces[-1] = replace(pieces[-1], closes=bar.closes, times=bar.times)
    return pieces


def _halves_joined(bars: list[ReadBar], full: Fraction) -> list[ReadBar]:
    """Bars with two neighbours that fill one bar together made one, the outermost left alone."""
    joined = bars[:1]
    for index, bar in enumerate(bars[1:], 1):
        before = joined[-1]
        inner = len(joined) > 1 and index < len(bars) - 1
        if inner and before.length < full and before.length + bar.length == full:
            joined[-1] = before.joined(bar)
        else:
            joined.append(bar)
    return joined


def _part(section: Section, full: Fraction) -> tuple[Part, list[tuple[int, Fraction, str]]]:
    """The part, and its chords by written bar of the part."""
    body = list(section.body)
    pickup: Bar = ()
    shown: list[ReadBar] = []
    if _is_pickup(section, full):
        first = body.pop(0)
        first = first.moved(full - first.length)
        pickup = first.notes
        if pickup:
            shown.append(first)
    endings = []
    for times, bars in section.endings:
        endings.append(Ending(times, tuple(bar.notes for bar in bars), _lengths(bars, full, True)))
    shown += body + [bar for _, bars in section.endings for bar in bars]
    chords = [(i, start, symbol) for i, bar in enumerate(shown) for start, symbol in bar.chords]
    part = Part(
        name="",
        repeats=section.repeats,
        pickup=pickup,
        bars=tuple(bar.notes for bar in body),
        endings=tuple(endings),
        bar_lengths=_lengths(body, full, not section.endings),
    )
    return part, chords


def _is_pickup(section: Section, full: Fraction) -> bool:
    first, others = section.body[0], len(section.body) - 1
    if not others:
        return False
    others += len(section.endings[0][1]) if section.endings else 0
    if first.length < full:
        return first.length <= full / 2 or others % 4 != 3
    written_out = bool(first.notes) and first.notes[0].start >= full / 2
    return first.length == full and written_out and others % 4 == 0


def _lengths(bars: Sequence[ReadBar], full: Fraction, closing: bool) -> tuple[Fraction, ...]:
    """Lengths of the bars if any is irregular; a short closing bar counts as a full one."""
    lengths = [bar.length for bar in bars]
    if closing and lengths and lengths[-1] < full:
        lengths[-1] = full
    return tuple(lengths) if any(length != full for length in lengths) else ()


def _typed(
    named: Sequence[tuple[Part, list[tuple[int, Fraction, str]]]],
) -> tuple[TypedChord, ...]:
    first = 0
    typed = []
    for part, chords in named:
        typed += [TypedChord(first + index, start, symbol) for index, start, symbol in chords]
        count = len(part.bars) + sum(len(ending.bars) for ending in part.endings)
        first += count + bool(part.pickup)
    return tuple(typed)
