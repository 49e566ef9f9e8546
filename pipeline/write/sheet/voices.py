"""Notes that ring as they like -> voices that can be written on a staff.

Task     give every voice of every bar notes and rests that fill it, with ties and tuplets
In       Frames: the notes of each printed bar, in the order of the page
Out      for each frame its voices (melody, bass, inner), each a tuple of Items without gaps
Method   In one voice a note is written until the next one begins, at most; what rings over the bar
         line is tied. The end of a bass or inner note that lies inside a tuplet of the melody is
         written at the sixteenth before it. Note values by values.py.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from liltwright.tab import TabNote, Technique
from liltwright.tune import Ornament
from liltwright.write.sheet.values import divided, is_binary, tuplet_of, tuplet_span, value_and_dots

VoiceName = Literal["melody", "bass", "inner"]
VOICE_NAMES: tuple[VoiceName, ...] = ("melody", "bass", "inner")
SIXTEENTH = Fraction(1, 16)  # of a whole note


@dataclass(frozen=True, slots=True)
class SheetNote:
    """One note as it sounds. `start` counts from the beginning of its printed bar."""

    midi: int
    start: Fraction
    length: Fraction
    voice: VoiceName = "melody"
    ornament: Ornament | None = None
    string: int = 0
    """1 (highest) to 6; 0 when the note is not on a guitar."""
    fret: int = 0
    finger: int = 0
    pluck: str = ""
    technique: Technique | None = None
    grace: bool = False

    @staticmethod
    def of_tab(note: TabNote) -> SheetNote:
        """The note of a layer."""
        return SheetNote(
            note.midi, note.start, note.length, note.part, None,
            note.string, note.fret, note.finger, note.pluck, note.technique, note.grace,
        )  # fmt: skip

    def moved(self, offset: Fraction) -> SheetNote:
        """The same `offset` later."""
        return replace(self, start=self.start + offset) if offset else self


@dataclass(frozen=True, slots=True)
class Tuplet:
    """Which tuplet an item belongs to: `actual` notes in the time of `normal`."""

    actual: int
    normal: int
    first: bool = False
    last: bool = False


@dataclass(frozen=True, slots=True)
class VoiceItem:
    """One note head's worth of a voice: a note, a chord or (without notes) a rest."""

    start: Fraction
    length: Fraction
    notes: tuple[SheetNote, ...] = ()
    tied_in: bool = False
    """Continues the note before it."""
    tied_out: bool = False
    graces: tuple[SheetNote, ...] = ()
    tuplet: Tuplet | None = None

    @property
    def written(self) -> Fraction:
        """The length that the note head shows, tuplets not counted."""
        if self.tuplet is None:
            return self.length
        return self.length * self.tuplet.actual / self.tuplet.normal


@dataclass(frozen=True, slots=True)
class Voice:
    """One voice of one bar; its items fill the bar."""

    name: VoiceName
    items: tuple[VoiceItem, ...]


@dataclass(frozen=True, slots=True)
class UnvoicedBar:
    """The notes of one printed bar before they are voices."""

    notes: tuple[SheetNote, ...]
    length: Fraction
    offset: Fraction
    rings_on: bool
    """Whether a note may be tied into the next frame."""


@dataclass(frozen=True, slots=True)
class _Event:
    """Notes of one voice that begin together; positions count from the first frame."""

    start: Fraction
    end: Fraction
    notes: tuple[SheetNote, ...]
    graces: tuple[SheetNote, ...]


def voices_of(frames: Sequence[UnvoicedBar], meter: str) -> list[tuple[Voice, ...]]:
    """The voices of each frame: the melody always, if only as one rest; others with notes."""
    found: list[list[Voice]] = [[] for _ in frames]
    for name in VOICE_NAMES:
        for index, items in enumerate(_one_voice(frames, name, meter)):
            if items:
                found[index].append(Voice(name, items))
    return [tuple(voices) for voices in found]


def _one_voice(
    frames: Sequence[UnvoicedBar], name: VoiceName, meter: str
) -> Iterator[tuple[VoiceItem, ...]]:
    begins = [Fraction(0)]
    for frame in frames:
        begins.append(begins[-1] + frame.length)
    events = _events(frames, begins, name)
    at = 0
    for index, frame in enumerate(frames):
        begin, end = begins[index], begins[index + 1]
        inside: list[VoiceItem] = []
        while at < len(events) and events[at].start < end:
            event = events[at]
            cut = min(event.end, end)
            start = max(event.start, begin)
            inside.append(
                VoiceItem(
                    start - begin,
                    cut - start,
                    event.notes,
                    tied_in=event.start < begin,
                    tied_out=event.end > end,
                    graces=event.graces if event.start >= begin else (),
                )
            )
            if event.end > end:
                break
            at += 1
        if inside:
            yield tuple(_written(_filled(inside, frame.length), frame.offset, meter))
        else:
            yield (VoiceItem(Fraction(0), frame.length),) if name == "melody" else ()


def _events(
    frames: Sequence[UnvoicedBar], begins: Sequence[Fraction], name: VoiceName
) -> list[_Event]:
    notes: dict[Fraction, list[SheetNote]] = {}
    graces: dict[Fraction, list[SheetNote]] = {}
    limits: dict[Fraction, Fraction] = {}
    limit = begins[-1]
    for index in range(len(frames) - 1, -1, -1):
        frame = frames[index]
        if not frame.rings_on:
            limit = begins[index + 1]
        for note in frame.notes:
            if note.voice == name:
                start = begins[index] + note.start
                (graces if note.grace else notes).setdefault(start, []).append(note)
                limits[start] = limit
    starts = sorted(notes)
    events = []
    for place, start in enumerate(starts):
        following = starts[place + 1] if place + 1 < len(starts) else limits[start]
        ring = max(note.length for note in notes[start])
        end = min(start + ring, following, limits[start])
        if name != "melody":
            end = _plain_end(start, end)
        lowest_first = tuple(sorted(notes[start], key=lambda note: note.midi))
        before = starts[place - 1] if place else Fraction(-1)
        mine = [n for at in sorted(graces) if before < at <= start for n in graces[at]]
        events.append(_Event(start, end, lowest_first, tuple(mine)))
    return events


def _plain_end(start: Fraction, end: Fraction) -> Fraction:
    """The end of an accompanying note, off the melody's tuplets if it can be."""
    if is_binary(end) or not is_binary(start):
        return end
    plain = end // SIXTEENTH * SIXTEENTH
    return plain if plain > start else end


def _filled(items: Sequence[VoiceItem], length: Fraction) -> list[VoiceItem]:
    """The items with rests between them."""
    filled: list[VoiceItem] = []
    now = Fraction(0)
    for item in items:
        if item.start > now:
            filled.append(VoiceItem(now, item.start - now))
        filled.append(item)
        now = item.start + item.length
    if now < length:
        filled.append(VoiceItem(now, length - now))
    return filled


# ---------------------------------------------------------------- values


def _written(items: Sequence[VoiceItem], offset: Fraction, meter: str) -> list[VoiceItem]:
    """Items of one note value each.

    A tuplet opens with the first item that ends where halving does not reach, counted from its
    beginning, and closes with the first that ends where it does.
    """
    if len(items) == 1 and not items[0].notes and items[0].length == Fraction(meter):
        return list(items)  # a rest for the whole bar; in a short bar it would not say how long
    done: list[VoiceItem] = []
    group: list[VoiceItem] = []
    waiting = list(reversed(items))
    while waiting:
        item = waiting.pop()
        opening = group[0].start if group else item.start
        end = item.start + item.length
        cut = _tuplet_edge(item, opening, bool(group))
        if cut is not None:
            first, rest = _parts(item, [cut - item.start, end - cut])
            waiting += [rest, first]
        elif group or not is_binary(end - opening):
            group.append(item)
            if is_binary(end - opening):
                done += _tuplet(group)
                group = []
        else:
            done += _parts(item, divided(offset + item.start, item.length, meter))
    return done + (_tuplet(group) if group else [])


def _tuplet_edge(item: VoiceItem, opening: Fraction, inside: bool) -> Fraction | None:
    """Where inside an item a tuplet begins or ends; `opening` is where the open one began."""
    start, end = item.start - opening, item.start + item.length - opening
    if inside and not is_binary(start):
        span = tuplet_span(start)
        close = (start // span + 1) * span
        return opening + close if close < end else None
    if not inside and not is_binary(end):
        span = tuplet_span(end)
        begin = end // span * span
        return opening + begin if begin > start else None
    return None


def _parts(item: VoiceItem, lengths: Sequence[Fraction]) -> list[VoiceItem]:
    """The item as tied items of these lengths (the first ones, if they do not reach its end)."""
    pieces = []
    now = item.start
    end = item.start + item.length
    for length in lengths:
        after = now + length
        pieces.append(
            replace(
                item,
                start=now,
                length=length,
                tied_in=bool(item.notes) and (item.tied_in or now > item.start),
                tied_out=bool(item.notes) and (item.tied_out or after < end),
                graces=item.graces if now == item.start else (),
            )
        )
        now = after
    return pieces


def _tuplet(group: Sequence[VoiceItem]) -> list[VoiceItem]:
    """Items marked as one tuplet, each of one note value."""
    kinds = [tuplet_of(item.length) for item in group]
    ratio = next((kind for kind in kinds if kind), None) or (3, 2)
    actual, normal = ratio
    pieces: list[VoiceItem] = []
    for item in group:
        shown = item.length * actual / normal
        if value_and_dots(shown):
            pieces.append(item)
        else:
            lengths = [length * normal / actual for length in divided(Fraction(0), shown, "4/4")]
            pieces += _parts(item, lengths)
    last = len(pieces) - 1
    return [
        replace(item, tuplet=Tuplet(actual, normal, index == 0, index == last))
        for index, item in enumerate(pieces)
    ]
