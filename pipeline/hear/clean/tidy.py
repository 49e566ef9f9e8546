"""Raw notes put in order before anything is measured in them.

Task   : RawNotes of any ear -> notes in order, none overlapping, false starts joined.
Method : a voice that glides or swells into a note, and a bow or breath that takes hold late, can
         look like a short note and then the note itself, both of one pitch. Such a false start is
         taken for part of the rest or glide before; the note begins where it takes hold. Two
         short strokes in a row (trebles) and short notes of other pitches stay.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from liltwright.hear.ears.raw import RawNote

SHORTEST_S = 0.015  # shorter is a slip of the network
GHOST_S, DOUBTED_S = 0.048, 0.06  # shorter notes go, sooner where the ear is in doubt
REST_S = 0.045  # a blip stays when what follows comes within this time
FALSE_START_S, DOUBTED_START_S = 0.09, 0.125
"""A beginning that is not held is dropped up to here, longer where in doubt."""
FLICK_S = 0.065  # a shorter note before is a piece of a roll
SAME_SEMITONES = 0.45  # pitches nearer than this are one


def tidy(notes: list[RawNote]) -> list[RawNote]:
    """In order of onset, none overlapping the next, none too short to be one."""
    return _without_false_starts(_without_ghosts(_in_order(notes)))


def _in_order(notes: list[RawNote]) -> list[RawNote]:
    notes = sorted(notes, key=lambda note: note.onset_s)
    kept = [one for one in notes if one.offset_s - one.onset_s >= SHORTEST_S]
    ends = [min(a.offset_s, b.onset_s) for a, b in pairwise(kept)]
    ends += [note.offset_s for note in kept[-1:]]
    cut = [replace(note, offset_s=end_s) for note, end_s in zip(kept, ends, strict=True)]
    return [one for one in cut if one.offset_s - one.onset_s >= SHORTEST_S]


def _without_ghosts(notes: list[RawNote]) -> list[RawNote]:
    """Without blips that are followed by nothing for a while."""
    followed = [b.onset_s - a.offset_s for a, b in pairwise(notes)] + [REST_S] * bool(notes)
    return [
        note
        for note, rest_s in zip(notes, followed, strict=True)
        if note.offset_s - note.onset_s >= (GHOST_S if note.confidence > 0.7 else DOUBTED_S)
        or rest_s < REST_S
    ]


def _without_false_starts(notes: list[RawNote]) -> list[RawNote]:
    kept = []
    for i, note in enumerate(notes):
        before = notes[i - 1] if i else None
        after = notes[i + 1] if i + 1 < len(notes) else None
        if after is None or not _is_false_start(before, note, after):
            kept.append(note)
    return kept


def _is_false_start(before: RawNote | None, note: RawNote, after: RawNote) -> bool:
    """A short note that runs into a longer one of the same pitch, after another pitch or a rest."""
    length_s = note.offset_s - note.onset_s
    attached = after.onset_s - note.offset_s < 0.03
    longer = after.offset_s - after.onset_s > 1.8 * length_s or after.ornament > 0.6
    longest_s = FALSE_START_S if note.confidence > 0.65 else DOUBTED_START_S
    if length_s > longest_s or not attached or not longer or not _same(note, after):
        return False
    if before is None or note.onset_s - before.offset_s > 0.03:
        return True
    flicked = before.offset_s - before.onset_s < FLICK_S  # a piece of a roll, after its tap
    return not _same(before, note) and not flicked


def _same(one: RawNote, other: RawNote) -> bool:
    return abs(one.midi - other.midi) < SAME_SEMITONES
