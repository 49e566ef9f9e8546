"""Edits of bars and parts: where bars begin, pick-ups, metre, bars more or less, parts, repeats.

Task: move bar lines and parts about without losing a note.
In: a Tune and an edit. Out: the Tune; UsageError with one sentence where it cannot be done.
Method: a part is laid out as one stream of notes for each way through it (its endings), new bar
lines are drawn over the stream, and the ways are folded again: what they share is the body, the
rest endings.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from liltwright.errors import UsageError
from liltwright.limits import limit
from liltwright.page.notes import Edit, fraction, whole
from liltwright.tune import Bar, Ending, Part, ScoreNote, Tune, WrittenBar

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True, slots=True)
class _Way:
    """One way through a part: notes placed from its first sound, and how long it is."""

    times: tuple[int, ...]
    notes: Bar
    length: Fraction


def on_bars(tune: Tune, edit: Edit) -> Tune:
    """Apply an edit of bars or parts; `edit["op"]` is a name in BAR_OPS."""
    return BAR_OPS[edit["op"]](tune, edit)


def rebarred(part: Part, old: Fraction, new: Fraction, pickup: Fraction) -> Part:
    """A part with bars of another length, or that begin elsewhere; `pickup` is the new pick-up's.

    Raises UsageError for a part with bars of odd lengths.
    """
    if part.bar_lengths or any(ending.bar_lengths for ending in part.endings):
        raise UsageError(
            f"Part {part.name} has bars of odd lengths: its bar lines cannot be moved all at once."
        )
    ways = _ways(part, old)
    cut = [_cut(way, new, pickup) for way in ways]
    if len(cut) == 1:
        return replace(part, pickup=cut[0][0], bars=cut[0][1], endings=())
    shared = 0
    while (
        all(len(bars) > shared for _, bars in cut) and len({bars[shared] for _, bars in cut}) == 1
    ):
        shared += 1
    endings = tuple(
        Ending(way.times, bars[shared:]) for way, (_, bars) in zip(ways, cut, strict=True)
    )
    return replace(part, pickup=cut[0][0], bars=cut[0][1][:shared], endings=endings)


def _ways(part: Part, full: Fraction) -> list[_Way]:
    begin = full - part.pickup[0].start if part.pickup else Fraction(0)
    closings = [(end.times, end.bars) for end in part.endings] or [((), ())]
    ways = []
    for times, bars in closings:
        notes = [replace(note, start=note.start - full + begin) for note in part.pickup]
        body = (*part.bars, *bars)
        for place, bar in enumerate(body):
            notes += [replace(note, start=note.start + begin + place * full) for note in bar]
        ways.append(_Way(tuple(times), tuple(notes), begin + len(body) * full))
    return ways


def _cut(way: _Way, full: Fraction, pickup: Fraction) -> tuple[Bar, tuple[Bar, ...]]:
    """Pick-up and bars of a stream."""
    first = tuple(replace(note, start=note.start + full - pickup)
                  for note in way.notes if note.start < pickup)  # fmt: skip
    count = max(-(-(way.length - pickup) // full), 1)
    bars: list[list[ScoreNote]] = [[] for _ in range(count)]
    for note in way.notes:
        if note.start >= pickup:
            place, start = divmod(note.start - pickup, full)
            bars[place].append(replace(note, start=start))
    last = way.notes[-1].start + way.notes[-1].length if way.notes else Fraction(0)
    while len(bars) > 1 and not bars[-1] and last <= pickup + (len(bars) - 1) * full:
        bars.pop()  # what is left of the last bar when a pick-up went
    return first, tuple(tuple(bar) for bar in bars)


def _pickup_of(part: Part, full: Fraction) -> Fraction:
    return full - part.pickup[0].start if part.pickup else Fraction(0)


def _bar_here(tune: Tune, edit: Edit) -> Tune:
    """A bar begins with this note: all bar lines move with it, in its part or in all parts."""
    written = tune.written_bars()
    place, at = whole(edit, "bar"), whole(edit, "note")
    if not (0 <= place < len(written) and 0 <= at < len(written[place].notes)):
        raise UsageError("Choose the note with which a bar shall begin.")
    by = written[place].notes[at].start
    if not by:
        raise UsageError("A bar begins with this note already.")
    chosen = None if edit.get("all") else written[place].part
    return _shifted(tune, by, chosen)


def _shifted(tune: Tune, by: Fraction, chosen: int | None) -> Tune:
    full = tune.bar_length
    parts = [
        rebarred(part, full, full, (_pickup_of(part, full) + by) % full)
        if chosen in (None, index) else part
        for index, part in enumerate(tune.parts)
    ]  # fmt: skip
    return replace(tune, parts=tuple(parts))


def _pick_up(tune: Tune, edit: Edit) -> Tune:
    """The pick-up of a part gets a length; the bar lines after it move."""
    full = tune.bar_length
    length = fraction(edit, "length")
    if not 0 <= length < full:
        raise UsageError(f"A pick-up is shorter than a bar ({tune.meter}): give less than {full}.")
    part = whole(edit, "part") if edit.get("part") is not None else None
    if part is not None and not 0 <= part < len(tune.parts):
        raise UsageError(f"There is no part {part} here.")
    parts = [
        rebarred(one, full, full, length) if part in (None, index) else one
        for index, one in enumerate(tune.parts)
    ]
    return replace(tune, parts=tuple(parts))


def meter_changed(tune: Tune, meter: str) -> Tune:
    """The same notes in bars of another metre."""
    old, new = tune.bar_length, Fraction(meter)
    if old == new:
        return replace(tune, meter=meter)
    parts = tuple(rebarred(part, old, new, _pickup_of(part, old) % new) for part in tune.parts)
    return replace(tune, meter=meter, parts=parts)


def _place(tune: Tune, edit: Edit) -> tuple[int, WrittenBar, int]:
    """The written bar of an edit, and its place in Part.bars. Raises UsageError for another."""
    place, written = whole(edit, "bar"), tune.written_bars()
    if not 0 <= place < len(written) or written[place].kind != "bar":
        raise UsageError("Choose a whole bar of the body of a part, no pick-up and no ending.")
    bar = written[place]
    first = next(i for i, one in enumerate(written) if one.part == bar.part and one.kind == "bar")
    return place, bar, place - first


def _with_part(tune: Tune, index: int, *parts: Part) -> Tune:
    return lettered(replace(tune, parts=(*tune.parts[:index], *parts, *tune.parts[index + 1 :])))


def lettered(tune: Tune) -> Tune:
    """Parts named by letters in order, and the form that follows from them."""
    if len(tune.parts) > len(LETTERS):
        raise UsageError(f"A tune has at most {len(LETTERS)} parts.")
    parts = tuple(replace(part, name=LETTERS[i]) for i, part in enumerate(tune.parts))
    return replace(tune, parts=parts, form="".join(p.name * p.repeats for p in parts))


def _add_bar(tune: Tune, edit: Edit) -> Tune:
    place, bar, at = _place(tune, edit)
    if len(tune.written_bars()) >= limit("bars"):
        raise UsageError(f"A tune has at most {limit('bars')} bars.")
    part = tune.parts[bar.part]
    new = bar.notes if edit.get("copy") else ()
    lengths = part.bar_lengths
    return replace(
        _with_part(tune, bar.part, replace(
            part,
            bars=(*part.bars[: at + 1], new, *part.bars[at + 1 :]),
            bar_lengths=(*lengths[: at + 1], bar.length, *lengths[at + 1 :]) if lengths else (),
        )),
        chords_typed=tuple(
            replace(chord, bar=chord.bar + (chord.bar > place)) for chord in tune.chords_typed
        ),
    )  # fmt: skip


def _drop_bar(tune: Tune, edit: Edit) -> Tune:
    place, bar, at = _place(tune, edit)
    part = tune.parts[bar.part]
    if len(part.bars) == 1:
        raise UsageError(f"Part {part.name} has no other bar: join it with the next part instead.")
    lengths = part.bar_lengths
    return replace(
        _with_part(tune, bar.part, replace(
            part,
            bars=(*part.bars[:at], *part.bars[at + 1 :]),
            bar_lengths=(*lengths[:at], *lengths[at + 1 :]) if lengths else (),
        )),
        chords_typed=tuple(
            replace(chord, bar=chord.bar - (chord.bar > place))
            for chord in tune.chords_typed if chord.bar != place
        ),
    )  # fmt: skip


def _part_here(tune: Tune, edit: Edit) -> Tune:
    """A new part begins with this bar."""
    _, bar, at = _place(tune, edit)
    if not at:
        raise UsageError("A part begins with this bar already.")
    part, lengths = tune.parts[bar.part], tune.parts[bar.part].bar_lengths
    first = replace(part, bars=part.bars[:at], endings=(), bar_lengths=lengths[:at])
    second = replace(part, pickup=(), bars=part.bars[at:], bar_lengths=lengths[at:])
    return _with_part(tune, bar.part, first, second)


def _join_part(tune: Tune, edit: Edit) -> Tune:
    """This part and the next become one."""
    index = whole(edit, "part")
    if not 0 <= index < len(tune.parts) - 1:
        raise UsageError("There is no part after this one to join it with.")
    one, two = tune.parts[index], tune.parts[index + 1]
    if one.endings:
        raise UsageError(f"Part {one.name} has endings: take its repeat away before joining.")
    bars = list(one.bars)
    if two.pickup:
        room = all(note.start + note.length <= two.pickup[0].start for note in bars[-1])
        if not room:
            raise UsageError(
                f"The pick-up of part {two.name} has no room in the last bar of part {one.name}: "
                "shorten that bar's last note first."
            )
        bars[-1] = (*bars[-1], *two.pickup)
    full = tune.bar_length
    lengths: Sequence[Fraction] = ()
    if one.bar_lengths or two.bar_lengths:
        lengths = (*(one.bar_lengths or (full,) * len(one.bars)),
                   *(two.bar_lengths or (full,) * len(two.bars)))  # fmt: skip
    joined = replace(
        one,
        bars=(*bars, *two.bars),
        endings=two.endings,
        bar_lengths=tuple(lengths),
        repeats=max(one.repeats, two.repeats) if two.endings else one.repeats,
    )
    return lettered(replace(tune, parts=(*tune.parts[:index], joined, *tune.parts[index + 2 :])))


def _repeats(tune: Tune, edit: Edit) -> Tune:
    index, times = whole(edit, "part"), whole(edit, "times")
    if not 0 <= index < len(tune.parts):
        raise UsageError(f"There is no part {index} here.")
    if not 1 <= times <= limit("repeats"):
        raise UsageError(f"A part is played 1 to {limit('repeats')} times, not {times}.")
    part = tune.parts[index]
    if part.endings and times == 1:
        last = part.endings[-1]
        part = replace(part, bars=(*part.bars, *last.bars), endings=(), bar_lengths=())
    elif part.endings:
        firsts = part.endings[:-1]
        kept = tuple(replace(end, times=tuple(t for t in end.times if t < times)) for end in firsts)
        used = {time for end in kept for time in end.times}
        rest = tuple(time for time in range(1, times + 1) if time not in used)
        ends = (*(end for end in kept if end.times), replace(part.endings[-1], times=rest))
        part = replace(part, endings=ends)
    return _with_part(tune, index, replace(part, repeats=times))


BAR_OPS: dict[str, Callable[[Tune, Edit], Tune]] = {
    "bar-here": _bar_here, "pick-up": _pick_up, "add-bar": _add_bar, "drop-bar": _drop_bar,
    "part-here": _part_here, "join-part": _join_part, "repeats": _repeats,
}  # fmt: skip
