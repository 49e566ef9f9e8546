"""Everything that happens in a tune, moment by moment: melody onsets and places for the bass.

Task: cut the written tune at every melody onset and at every place where a bass may fall.
In:   a Tune, its Harmony as it sounds.
Out:  TuneEvents: Events in written order.
Method: a bass never rings over a bar line, so that bars may follow one another in any order; a
    melody note rings over it only where the next bar played is always the next one written.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from liltwright.arrange.harmony import ChordSpan, Harmony
from liltwright.bassbeats import Pulse, pulse_of
from liltwright.errors import PipelineError
from liltwright.guitar.melody import MelodyLine, line_of
from liltwright.tune import Tune, WrittenBar
from liltwright.units import whole_notes_to_seconds

Slot = Literal["main", "walk", ""]


@dataclass(frozen=True, slots=True)
class MelodyNote:
    """One note of the tune; `end` may lie beyond the bar when the note is tied over."""

    bar: int
    start: Fraction
    end: Fraction
    midi: int
    """As written."""


@dataclass(frozen=True, slots=True)
class Event:
    """One moment of the written tune and what begins there."""

    bar: int
    start: Fraction
    length: Fraction
    """To the next event, or to the bar line."""
    seconds: float
    note: int
    """Index of the melody note that sounds, or that sounded last (0 before the first)."""
    onset: bool
    """The melody note begins here."""
    sounding: bool
    """A melody note sounds here."""
    slot: Slot
    """Whether a bass may fall here."""
    span: ChordSpan | None
    """The chord in force; None in a pick-up."""
    opens_bar: bool
    """First event of its bar: nothing of the bass rings on into it."""
    closes: bool
    """A main beat on which a part comes to rest."""


@dataclass(frozen=True, slots=True)
class TuneEvents:
    """The tune's melody and its events, in written order."""

    line: MelodyLine
    notes: tuple[MelodyNote, ...]
    events: tuple[Event, ...]
    beat: Fraction


def timeline(
    tune: Tune, harmony: Harmony, also: Collection[tuple[int, Fraction]] = ()
) -> TuneEvents:
    """The events of a tune.

    also : further places for a bass, as written bar and start
    Raises PipelineError when the tune has no notes, or two melody notes at once.
    """
    notes = _melody(tune)
    pulse = pulse_of(tune)
    onsets: dict[int, dict[Fraction, int]] = {}
    for index, note in enumerate(notes):
        onsets.setdefault(note.bar, {})[note.start] = index
    spans: dict[int, list[ChordSpan]] = {}
    for span in harmony.spans:
        spans.setdefault(span.bar, []).append(span)
    closing = _closing_bars(tune)
    events: list[Event] = []
    current = 0
    held: Fraction | None = None  # end of a note tied over, in this bar's time
    ends = _ends(tune)
    for bar_index, bar in enumerate(tune.written_bars()):
        end = ends[bar_index]
        mine, slots = onsets.get(bar_index, {}), _slots(bar, end, pulse)
        for start in sorted(start for at, start in also if at == bar_index and start < end):
            slots.setdefault(start, "walk")
        begin = bar.notes[0].start if bar.kind == "pickup" else Fraction(0)
        last_main = max((place for place, slot in slots.items() if slot == "main"), default=None)
        times = sorted({begin, *slots, *mine})
        for start, stop in zip(times, [*times[1:], end], strict=True):
            if start in mine:
                current, held = mine[start], None
            note = notes[current]
            inside = note.bar == bar_index and note.start <= start < note.end
            chords = [span for span in spans.get(bar_index, ()) if span.start <= start]
            length = max(stop - start, Fraction(1, 64))
            events.append(
                Event(
                    bar=bar_index,
                    start=start,
                    length=length,
                    seconds=whole_notes_to_seconds(length, tune.beat, tune.beats_per_minute),
                    note=current,
                    onset=start in mine,
                    sounding=inside or (held is not None and held > start),
                    slot=slots.get(start, ""),
                    span=chords[-1] if chords else None,
                    opens_bar=start == times[0],
                    closes=bar_index in closing and start == last_main,
                )
            )
        over = notes[current].end - end if notes[current].bar == bar_index else Fraction(0)
        held = over if over > 0 else None
    return TuneEvents(line_of(tune), notes, tuple(events), pulse.beat)


def _slots(bar: WrittenBar, end: Fraction, pulse: Pulse) -> dict[Fraction, Slot]:
    """Where a bass may fall in a bar; nowhere in a pick-up."""
    if bar.kind == "pickup":
        return {}
    slots: dict[Fraction, Slot] = {place: "walk" for place in pulse.walk if place < end}
    return slots | {place: "main" for place in pulse.main if place < end}


def _ends(tune: Tune) -> list[Fraction]:
    """Where each written bar ends: earlier by the pick-up that is played after it.

    A bar whose melody fills that room keeps its full length.
    """
    written = tune.written_bars()
    ends: list[Fraction] = []
    for bar, followers in zip(written, _followers(tune), strict=True):
        if bar.kind == "pickup":
            ends.append(tune.bar_length)
            continue
        pickup = max(
            (written[i].length for i in followers if written[i].kind == "pickup"), default=0
        )
        short = min(bar.length, tune.bar_length - pickup)
        melody = max((note.start + note.length for note in bar.notes), default=Fraction(0))
        ends.append(short if melody <= short else bar.length)
    return ends


def _melody(tune: Tune) -> tuple[MelodyNote, ...]:
    """The melody, never two notes at once: a note ends where the next begins at the latest."""
    written = tune.written_bars()
    followers = _followers(tune)
    found: list[MelodyNote] = []
    for index, bar in enumerate(written):
        end = tune.bar_length if bar.kind == "pickup" else bar.length
        for place, note in enumerate(bar.notes):
            stop = note.start + note.length
            if place + 1 < len(bar.notes):
                following = bar.notes[place + 1].start
                if following <= note.start:
                    raise PipelineError(
                        f"Bar {bar.number} has two melody notes at once; leave one in the tune."
                    )
                stop = min(stop, following)
            elif stop > end:
                stop = min(stop, end + _room(written, index, followers[index]))
            found.append(MelodyNote(index, note.start, stop, note.midi))
    return tuple(found)


def _room(written: Sequence[WrittenBar], index: int, followers: set[int]) -> Fraction:
    """How far a last note may ring into the next bar: not at all where playing jumps."""
    if followers != {index + 1}:
        return Fraction(0)
    following = written[index + 1]
    if following.kind == "pickup":
        return Fraction(0)
    return following.notes[0].start if following.notes else following.length


def _followers(tune: Tune) -> list[set[int]]:
    order = tune.performed_order()
    found: list[set[int]] = [set() for _ in tune.written_bars()]
    for here, there in zip(order, (*order[1:], order[0] if order else 0), strict=True):
        found[here].add(there)
    return found


def _closing_bars(tune: Tune) -> set[int]:
    """The last bar of each part and of each of its endings."""
    written = tune.written_bars()
    return {
        index
        for index, bar in enumerate(written)
        if index + 1 == len(written)
        or written[index + 1].part != bar.part
        or (bar.kind == "ending" and written[index + 1].ending != bar.ending)
    }
