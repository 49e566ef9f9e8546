"""Edits of single notes: pitch, length, split, join, delete, insert, tie.

Task: do to one bar what a player asks for, so that the bar still adds up.
In: a Tune, the place of a note (bar: index into Tune.written_bars(); note: index in the bar).
Out: the Tune with the bar changed; UsageError with one sentence where the edit makes no sense.
Method: a note that grows takes from the notes after it, one that shrinks gives to the next, so no
bar ever has a wrong length; only `rest` leaves silence. Lengths lie on a grid of 1/192.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any, cast, get_args

from liltwright import keys
from liltwright.errors import UsageError
from liltwright.limits import ratio
from liltwright.tune import Bar, Ornament, ScoreNote, Tune, WrittenBar

Edit = Mapping[str, Any]
GRID = 192  # of a whole note: every note value and triplet that is written lies on it
LOWEST_MIDI, HIGHEST_MIDI = 36, 100
"""C2 to E7: beyond it no tune is written."""

MIDDLE_D = 62
"""Where a note is put in a tune that has none."""


def on_note(tune: Tune, edit: Edit) -> Tune:
    """Apply an edit of a note; `edit["op"]` is a name in NOTE_OPS."""
    place = whole(edit, "bar")
    written = tune.written_bars()
    if not 0 <= place < len(written):
        raise UsageError(f"There is no bar {place} here: the tune has {len(written)} bars.")
    return NOTE_OPS[edit["op"]](tune, written, place, edit)


def whole(edit: Edit, name: str) -> int:
    """A whole number of an edit. Raises UsageError."""
    value = edit.get(name)
    if not isinstance(value, int) or isinstance(value, bool) or abs(value) > 1_000_000:
        raise UsageError(f'The edit needs a whole number as "{name}".')
    return value


def fraction(edit: Edit, name: str) -> Fraction:
    """A fraction of a whole note on the grid. Raises UsageError."""
    try:
        value = ratio(str(edit.get(name, "")))
    except ValueError:
        raise UsageError(f'The edit needs a fraction such as 1/8 as "{name}".') from None
    if (value * GRID).denominator != 1 or value > 16:
        raise UsageError(f"{value} is no length that can be written: use 1/8, 1/4, 3/8 ...")
    return value


def span(tune: Tune, bar: WrittenBar) -> tuple[Fraction, Fraction]:
    """Where a bar begins and ends, counted from its bar line."""
    low = tune.bar_length - bar.length if bar.kind == "pickup" else Fraction(0)
    return low, low + bar.length


def with_bar(tune: Tune, place: int, notes: Bar) -> Tune:
    """The tune with other notes in one written bar."""
    bar = tune.written_bars()[place]
    part = tune.parts[bar.part]
    mine = [i for i, one in enumerate(tune.written_bars()) if one.part == bar.part]
    if bar.kind == "pickup":
        part = replace(part, pickup=notes)
    elif bar.kind == "bar":
        at = place - mine[0] - bool(part.pickup)
        part = replace(part, bars=(*part.bars[:at], notes, *part.bars[at + 1 :]))
    else:
        same = [i for i in mine if tune.written_bars()[i].kind == "ending"
                and tune.written_bars()[i].ending == bar.ending]  # fmt: skip
        ending = part.endings[bar.ending]
        at = place - same[0]
        ending = replace(ending, bars=(*ending.bars[:at], notes, *ending.bars[at + 1 :]))
        part = replace(part, endings=tuple(
            ending if i == bar.ending else one for i, one in enumerate(part.endings)
        ))  # fmt: skip
    return replace(tune, parts=tuple(
        part if i == bar.part else one for i, one in enumerate(tune.parts)
    ))  # fmt: skip


def _note(bar: WrittenBar, edit: Edit) -> tuple[int, ScoreNote]:
    at = whole(edit, "note")
    if not 0 <= at < len(bar.notes):
        raise UsageError(f"There is no note {at} in bar {bar.number}: choose a note first.")
    return at, bar.notes[at]


def _pitch(tune: Tune, written: tuple[WrittenBar, ...], place: int, edit: Edit) -> Tune:
    bar = written[place]
    at, note = _note(bar, edit)
    if "midi" in edit:
        midi = whole(edit, "midi")
    elif "semitones" in edit:
        midi = note.midi + whole(edit, "semitones")
    else:
        midi = stepped(tune, note.midi, whole(edit, "steps"))
    if not LOWEST_MIDI <= midi <= HIGHEST_MIDI:
        raise UsageError("No tune is written that high or low (C2 to E7): move it the other way.")
    return with_bar(tune, place, (*bar.notes[:at], replace(note, midi=midi), *bar.notes[at + 1 :]))


def stepped(tune: Tune, midi: int, steps: int) -> int:
    """A pitch so many steps of the tune's scale away; from outside it, first to its neighbour."""
    tonic = keys.pitch_class(tune.tonic)
    inside = {(tonic + step) % 12 for step in keys.scale_steps(tune.mode)}
    by = 1 if steps > 0 else -1
    for _ in range(min(abs(steps), 50)):
        midi += by
        while midi % 12 not in inside:
            midi += by
    return midi


def _length(tune: Tune, written: tuple[WrittenBar, ...], place: int, edit: Edit) -> Tune:
    bar = written[place]
    at, note = _note(bar, edit)
    length = fraction(edit, "to")
    high = span(tune, bar)[1]
    if length <= 0:
        raise UsageError("A note needs a length above nothing: delete it instead.")
    end, old_end = note.start + length, note.start + note.length
    if end > high:
        raise UsageError(
            f"A note of {length} does not fit before the bar line: tie it to the next bar instead."
        )
    after = list(bar.notes[at + 1 :])
    if length < note.length and after and after[0].start == old_end:
        first = after[0]
        after[0] = replace(first, start=end, length=first.length + old_end - end)
    trimmed = []
    for other in after:
        stop = other.start + other.length
        if other.start >= end:
            trimmed.append(other)
        elif stop > end:
            trimmed.append(replace(other, start=end, length=stop - end))
    return with_bar(tune, place, (*bar.notes[:at], replace(note, length=length), *trimmed))


def _split(tune: Tune, written: tuple[WrittenBar, ...], place: int, edit: Edit) -> Tune:
    bar = written[place]
    at, note = _note(bar, edit)
    into = whole(edit, "into") if "into" in edit else 2
    if into not in (2, 3):
        raise UsageError(f"A note is split into 2 or 3, not into {into}.")
    piece = note.length / into
    if (piece * GRID).denominator != 1 or piece < Fraction(1, 48):
        raise UsageError(f"A note of {note.length} is too short to split into {into}.")
    if note.start + note.length > span(tune, bar)[1]:
        raise UsageError("The note is tied over the bar line: cut the tie first.")
    pieces = tuple(replace(note, start=note.start + k * piece, length=piece, ornament=None)
                   for k in range(into))  # fmt: skip
    return with_bar(tune, place, (*bar.notes[:at], *pieces, *bar.notes[at + 1 :]))


def _join(tune: Tune, written: tuple[WrittenBar, ...], place: int, edit: Edit) -> Tune:
    bar = written[place]
    at, note = _note(bar, edit)
    if at + 1 == len(bar.notes):
        return _tie(tune, written, place, edit)
    other = bar.notes[at + 1]
    joined = replace(note, length=other.start + other.length - note.start)
    return with_bar(tune, place, (*bar.notes[:at], joined, *bar.notes[at + 2 :]))


def _tie(tune: Tune, written: tuple[WrittenBar, ...], place: int, edit: Edit) -> Tune:
    bar = written[place]
    at, note = _note(bar, edit)
    high = span(tune, bar)[1]
    if note.start + note.length > high:  # cut the tie
        over = note.start + note.length - high
        cut = with_bar(tune, place, (*bar.notes[:at], replace(note, length=high - note.start)))
        following = _next_bar(written, place)
        first = ScoreNote(note.midi, Fraction(0), over)
        return with_bar(cut, following, (first, *written[following].notes))
    if at + 1 != len(bar.notes) or note.start + note.length != high:
        raise UsageError("Only the last note of a bar can be tied over the bar line.")
    following = _next_bar(written, place)
    notes = written[following].notes
    if not notes or notes[0].start:
        raise UsageError("The next bar begins with a rest: there is nothing to tie to.")
    longer = replace(note, length=note.length + notes[0].length)
    return with_bar(with_bar(tune, place, (*bar.notes[:at], longer)), following, notes[1:])


def _next_bar(written: tuple[WrittenBar, ...], place: int) -> int:
    """The bar that follows on the page. Raises UsageError where a part or an ending ends."""
    bar = written[place]
    after = written[place + 1] if place + 1 < len(written) else None
    same = after is not None and (after.part, after.kind == "ending", after.ending) == (
        bar.part, bar.kind == "ending", bar.ending
    )  # fmt: skip
    if not same:
        raise UsageError("A part or an ending stops here: no note can be tied over its end.")
    return place + 1


def _delete(tune: Tune, written: tuple[WrittenBar, ...], place: int, edit: Edit) -> Tune:
    bar = written[place]
    at, note = _note(bar, edit)
    rest = bool(edit.get("rest"))
    before, after = list(bar.notes[:at]), list(bar.notes[at + 1 :])
    end = note.start + note.length
    if not rest and before and before[-1].start + before[-1].length == note.start:
        before[-1] = replace(before[-1], length=end - before[-1].start)
    elif not rest and after and after[0].start == end:
        after[0] = replace(after[0], start=note.start, length=after[0].length + note.length)
    if bar.kind == "pickup" and not (before or after):
        return with_bar(tune, place, ())
    if bar.kind == "pickup" and not before and after and after[0].start > note.start:
        return with_bar(tune, place, tuple(after))
    return with_bar(tune, place, (*before, *after))


def _insert(tune: Tune, written: tuple[WrittenBar, ...], place: int, edit: Edit) -> Tune:
    """After a note (-1: at the beginning): into the rest that is there, else half of the note."""
    bar = written[place]
    at = whole(edit, "note")
    low, high = span(tune, bar)
    if not -1 <= at < len(bar.notes):
        raise UsageError(f"There is no note {at} in bar {bar.number}: choose a note first.")
    begin = bar.notes[at].start + bar.notes[at].length if at >= 0 else low
    end = bar.notes[at + 1].start if at + 1 < len(bar.notes) else high
    midi = whole(edit, "midi") if "midi" in edit else _near(tune, bar.notes, at)
    if not LOWEST_MIDI <= midi <= HIGHEST_MIDI:
        raise UsageError("No tune is written that high or low (C2 to E7).")
    if end > begin:
        most = fraction(edit, "length") if "length" in edit else tune.beat
        new = ScoreNote(midi, begin, min(end - begin, most))
        return with_bar(tune, place, (*bar.notes[: at + 1], new, *bar.notes[at + 1 :]))
    target = max(at, 0)
    halves = _split(tune, written, place, {"note": target})
    notes = halves.written_bars()[place].notes
    which = target + (at >= 0)
    return with_bar(halves, place, (
        *notes[:which], replace(notes[which], midi=midi), *notes[which + 1 :]
    ))  # fmt: skip


def _near(tune: Tune, notes: Bar, at: int) -> int:
    if notes:
        return notes[max(at, 0)].midi
    found = [note.midi for bar in tune.written_bars() for note in bar.notes]
    return sorted(found)[len(found) // 2] if found else MIDDLE_D


def _ornament(tune: Tune, written: tuple[WrittenBar, ...], place: int, edit: Edit) -> Tune:
    bar = written[place]
    at, note = _note(bar, edit)
    kind = edit.get("kind") or None
    if kind is not None and kind not in get_args(Ornament):
        raise UsageError(f"No such ornament; choose {', '.join(get_args(Ornament))} or none.")
    changed = replace(note, ornament=cast(Ornament, kind))
    return with_bar(tune, place, (*bar.notes[:at], changed, *bar.notes[at + 1 :]))


NOTE_OPS: dict[str, Callable[[Tune, tuple[WrittenBar, ...], int, Edit], Tune]] = {
    "pitch": _pitch, "length": _length, "split": _split, "join": _join, "tie": _tie,
    "delete": _delete, "insert": _insert, "ornament": _ornament,
}  # fmt: skip
