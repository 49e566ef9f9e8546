"""A sheet as it is drawn: inner notes on the stem of the note they are struck with.

Task: notation and tablature that can be read at sight, where the exact ring of every note would
      crowd them.
In:   a Sheet. Out: the same Sheet with fewer voices and ties; the files keep every length exactly.
Method: an inner note that is struck with a note of the melody joins its stem, one that is struck
      with the bass joins the bass; both are written as long as the note they join, and ring on as
      open strings do anyway. Of a note held over a beat by no more than a sixteenth the rest is
      not written, and an accompanying note that is alone is written as an eighth at least.
References: common practice of guitar notation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from liltwright.write.sheet.bars import Sheet, SheetBar
from liltwright.write.sheet.voices import SheetNote, Voice, VoiceItem, VoiceName

CRUMB = Fraction(1, 16)  # of a whole note: a shorter rest is drawn into the note before
SHORTEST = Fraction(1, 8)  # of a whole note
_NAMES: tuple[VoiceName, ...] = ("melody", "bass", "inner")


def drawn(sheet: Sheet) -> Sheet:
    """The sheet as it is drawn."""
    if sheet.setup is None:
        return sheet
    gone: dict[VoiceName, bool] = {"melody": False, "bass": False}
    return replace(sheet, bars=tuple(_bar(bar, gone) for bar in sheet.bars))


def _bar(bar: SheetBar, gone: dict[VoiceName, bool]) -> SheetBar:
    """`gone`: whether the last inner note has joined the melody or the bass; carried on."""
    voices = {name: list[VoiceItem]() for name in _NAMES}
    for voice in bar.voices:
        voices[voice.name] = list(voice.items)
    alone = bar.written < 0 and not any(item.notes for item in voices["melody"])
    chord = _chord(voices) if alone else []
    if chord:
        return replace(bar, voices=(Voice("melody", tuple(chord)),))
    for name in gone:
        voices["inner"], gone[name] = _joined(voices[name], voices["inner"], gone[name])
    for name in _NAMES[1:]:
        voices[name] = _not_too_short(_without_crumbs(voices[name]))
    kept = tuple(
        Voice(name, tuple(voices[name]))
        for name in _NAMES
        if name == "melody" or any(item.notes for item in voices[name])
    )
    return replace(bar, voices=kept)


def _chord(voices: dict[VoiceName, list[VoiceItem]]) -> list[VoiceItem]:
    """The closing chord as one voice, that no melody rests over it; empty where it is more."""
    bass, inner = voices["bass"], voices["inner"] or voices["bass"]
    if [(item.start, item.length) for item in bass] != [(i.start, i.length) for i in inner]:
        return []
    return [
        replace(low, notes=tuple(sorted({*low.notes, *high.notes}, key=_pitch)))
        for low, high in zip(bass, inner, strict=True)
    ]


def _joined(
    items: list[VoiceItem], inner: Sequence[VoiceItem], gone: bool
) -> tuple[list[VoiceItem], bool]:
    """Move inner notes to the items struck with them, in place; the inner items that are left."""
    struck = {
        item.start: at for at, item in enumerate(items)
        if item.notes and not item.tied_in and not item.tied_out
    }  # fmt: skip
    left = []
    for item in inner:
        if not item.tied_in:
            at = struck.get(item.start)
            gone = bool(item.notes) and at is not None and not item.graces
            if gone and at is not None:
                notes = sorted((*items[at].notes, *item.notes), key=_pitch)
                items[at] = replace(items[at], notes=tuple(notes))
        left.append(VoiceItem(item.start, item.length) if gone else item)
    return left, gone


def _pitch(note: SheetNote) -> int:
    return note.midi


def _without_crumbs(items: Sequence[VoiceItem]) -> list[VoiceItem]:
    """The items without ends of ties that are a sixteenth or shorter."""
    done: list[VoiceItem] = []
    for item in items:
        before = done[-1] if done else None
        if (
            before is not None
            and item.tied_in
            and not item.tied_out
            and item.length <= CRUMB
            and before.length > item.length
        ):
            done[-1] = replace(before, tied_out=False)
            item = VoiceItem(item.start, item.length, tuplet=item.tuplet)
        done.append(item)
    return done


def _not_too_short(items: Sequence[VoiceItem]) -> list[VoiceItem]:
    """The items with short notes written as eighths where a rest leaves the room."""
    done = list(items)
    for at, (item, after) in enumerate(pairwise(items)):
        missing = SHORTEST - item.length
        plain = item.notes and not (item.tied_in or item.tied_out or item.tuplet or after.tuplet)
        if plain and not after.notes and 0 < missing <= after.length and done[at] is item:
            done[at] = replace(item, length=SHORTEST)
            done[at + 1] = VoiceItem(after.start + missing, after.length - missing)
    return [item for item in done if item.length]
