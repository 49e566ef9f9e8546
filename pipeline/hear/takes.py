"""Several tunes in one recording.

Task   : find long gaps between tunes (or takes of one tune) and split there.
In     : Heard.
Out    : one Heard per tune, times unchanged; the user picks one.
Method : a rest far longer than any inside a tune, with enough notes on both sides. Of a band,
         which plays sets, also where the melody changes for good (changes.py); tunes that one
         player plays without a gap stay together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from liltwright.counting import count
from liltwright.errors import UsageError, to_type
from liltwright.hear.changes import changes
from liltwright.tune import Heard, NoteEvent

GAP_S = 2.5  # a longer rest parts tunes
FEWEST_NOTES = 16  # of a tune
SHORTEST_S = 6.0  # of a tune


def split_takes(heard: Heard) -> tuple[Heard, ...]:
    """The tunes of a recording, one Heard each; the whole as the only one when there is no gap."""
    groups = _groups(heard.notes)
    if heard.band:
        groups = [tune for group in groups for tune in _tunes_of(group)]
    if len(groups) < 2:
        return (heard,)
    takes = []
    for i, group in enumerate(groups):
        after_s = groups[i - 1][-1].offset_s if i else 0.0
        before_s = groups[i + 1][0].onset_s if i + 1 < len(groups) else float("inf")
        near = tuple(
            one for one in heard.left_out if one.end_s > after_s and one.start_s < before_s
        )
        warnings = tuple(one for one in heard.warnings if one not in takes_warning(heard.notes))
        takes.append(replace(heard, notes=tuple(group), left_out=near, warnings=warnings))
    return tuple(takes)


def choose_take(heard: Heard, take: int | None) -> Heard:
    """One tune of a recording with several: the one asked for, else the one with most notes.

    Raises UsageError when there is none with this number.
    """
    takes = split_takes(heard)
    if take is not None and take > len(takes):
        raise UsageError(
            f"{to_type('take', 'tune')} {take} is out of range: the recording has "
            f"{count(len(takes), 'tune')}."
        )
    if len(takes) == 1:
        return heard
    longest = max(range(len(takes)), key=lambda i: len(takes[i].notes))
    chosen = take - 1 if take is not None else longest
    said = f"Tune {chosen + 1} of {len(takes)} is written down; choose another by its number."
    return replace(takes[chosen], warnings=(*heard.warnings, said))


def _tunes_of(group: list[NoteEvent]) -> list[list[NoteEvent]]:
    """The tunes of a set."""
    bounds = [0.0, *changes(group), float("inf")]
    return [
        [note for note in group if low <= note.onset_s < high] for low, high in pairwise(bounds)
    ]


def takes_warning(notes: Sequence[NoteEvent]) -> tuple[str, ...]:
    """A sentence that names the tunes found, or nothing when there is one."""
    groups = _groups(notes)
    if len(groups) < 2:
        return ()
    spans = ", ".join(f"{_clock(one[0].onset_s)}-{_clock(one[-1].offset_s)}" for one in groups)
    return (f"There seem to be {len(groups)} tunes or takes in this recording: {spans}.",)


def _groups(notes: Sequence[NoteEvent]) -> list[list[NoteEvent]]:
    """Notes between long gaps; a group too small to be a tune goes to its nearest neighbour."""
    groups: list[list[NoteEvent]] = []
    end_s = 0.0
    for note in notes:
        if groups and note.onset_s - end_s <= GAP_S:
            groups[-1].append(note)
        else:
            groups.append([note])
        end_s = max(end_s, note.offset_s)
    while len(groups) > 1:
        small = [i for i, group in enumerate(groups) if not _is_tune(group)]
        if not small:
            break
        i = small[0]
        before_s = groups[i][0].onset_s - groups[i - 1][-1].offset_s if i else float("inf")
        last = i + 1 == len(groups)
        after_s = float("inf") if last else groups[i + 1][0].onset_s - groups[i][-1].offset_s
        at = i - 1 if before_s <= after_s else i
        groups[at : at + 2] = [groups[at] + groups[at + 1]]
    return groups


def _is_tune(group: list[NoteEvent]) -> bool:
    plain = [note for note in group if note.role == "note"]
    long_enough = group[-1].offset_s - group[0].onset_s >= SHORTEST_S
    return len(plain) >= FEWEST_NOTES and long_enough


def _clock(seconds: float) -> str:
    return f"{int(seconds // 60)}:{int(seconds % 60):02d}"
