"""Ornaments: which notes are the tune and which decorate it.

Task   : notes as performed -> the same notes with role and kind of ornament.
In     : RawNotes in order of onset, not overlapping, concert pitch taken out.
Out    : NoteEvents in order of onset, in this representation:
  - A note of the tune has role "note". Notes with this role never overlap each other.
  - Everything that decorates has role "ornament" and in `ornament` its kind.
  - The plain note that is decorated carries the same kind in its own `ornament`.
  - cut, tap, grace: the short note has role "ornament" and ends where its plain note begins.
    A cut lies above its note. A tap lies below a note that is struck again; any other short note
    from below, and two or three short notes in a row, are grace notes.
  - roll (also a cran, and a long note with one cut in its middle where the player does that to
    nearly all of them): one plain note, from its first sound to the end of the whole roll. The
    cuts, taps and later pieces of the note inside it are events with role "ornament" and kind
    "roll"; they lie inside the plain note in time.
  - triplet (treble): three strokes on one pitch in the time of a crotchet: one plain note over all
    three, the second and third stroke inside it with role "ornament" and kind "triplet".
Method : rules on length, interval and neighbours. Lengths are judged against the recording's own
         usual short note (the quaver, in most dance tunes), found as the peak of the distribution
         of the times between onsets.
References: common practice of pipe, flute, whistle and fiddle players (cut, tap, roll, cran,
         treble); M. Köküer et al., "Automated detection of single-note ornaments", 2014, for
         lengths of cuts and taps (from memory: mostly 30 to 60 ms).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from liltwright.hear.ears.raw import RawNote
from liltwright.tune import NoteEvent, Ornament

SHORT_S = 0.062
"""Up to this length a note is taken for an ornament when the ear does not say."""
SHORT_BY_BELIEF = ((0.0, 0.03, 0.1, 0.25, 0.6), (0.0, 0.04, 0.068, 0.075, 0.095))
"""The ear's belief in an ornament, and the length up to which it is believed."""
UNKNOWN = 0.5  # the ear's word when it does not say whether a note is an ornament
ATTACHED_S = 0.035  # a note that follows this soon is joined on
SAME_SEMITONES = 0.6  # pitches nearer than this are one
WIDEST_CUT, WIDEST_TAP = 9.5, 5.5  # semitones above and below the note that it decorates
LONGEST_PIECE_S = 0.42  # a longer note is no piece of a roll
EVEN_PIECES = 2.3  # times the shortest piece that the longest piece of a run may last
LONG, EVEN_HALVES, FEWEST_CUT = (1.6, 2.6), 2.0, 4
"""A note of two usual ones, as shares of one; how uneven its halves may be; how many have to be
found before one cut is taken for a roll."""
TREBLE_STROKE = 0.8  # of a usual note that each of the two quick strokes of a treble may last
TREBLE_TOTAL = (1.3, 2.7)  # usual notes that a whole treble lasts, from and to


@dataclass(frozen=True, slots=True)
class _Mark:
    """What became of one raw note."""

    role: str = "note"
    kind: Ornament | None = None
    owner: int = -1
    """Index of the plain note that this one is part of, for pieces of a roll or treble."""


def label_ornaments(notes: list[RawNote]) -> list[NoteEvent]:
    """Give every note its role; see the module's text for the representation."""
    if not notes:
        return []
    marks = [_Mark()] * len(notes)
    short = [_is_short(notes, i) for i in range(len(notes))]
    _mark_rolls(notes, short, marks)
    _mark_graces(notes, short, marks)
    _mark_trebles(notes, marks)
    return _events(notes, marks)


def usual_gap_s(notes: list[RawNote]) -> float:
    """The commonest time between onsets in the recording, in seconds (0.2 when unknown)."""
    gaps = np.diff([note.onset_s for note in notes])
    gaps = gaps[(gaps > 0.09) & (gaps < 1.0)]
    if len(gaps) < 4:
        return 0.2
    grid = np.linspace(np.log(0.09), np.log(1.0), 120)
    density = np.exp(-0.5 * ((grid[:, None] - np.log(gaps)[None, :]) / 0.12) ** 2).sum(axis=1)
    return float(np.exp(grid[int(np.argmax(density))]))


def _length(note: RawNote) -> float:
    return note.offset_s - note.onset_s


def _same(one: RawNote, other: RawNote) -> bool:
    return abs(one.midi - other.midi) < SAME_SEMITONES


def _attached(notes: list[RawNote], i: int) -> bool:
    """Note i runs straight into note i + 1."""
    return i + 1 < len(notes) and notes[i + 1].onset_s - notes[i].offset_s < ATTACHED_S


def _is_short(notes: list[RawNote], i: int) -> bool:
    """Whether note i can be a cut, tap or grace note of what follows."""
    note = notes[i]
    if note.ornament == UNKNOWN:
        limit_s = SHORT_S
    else:
        limit_s = float(np.interp(note.ornament, *SHORT_BY_BELIEF))
    return _attached(notes, i) and notes[i + 1].onset_s - note.onset_s <= limit_s


def _mark_graces(notes: list[RawNote], short: list[bool], marks: list[_Mark]) -> None:
    """Cuts, taps and groups of grace notes, with the plain note after them."""
    i = 0
    while i < len(notes):
        if not short[i] or marks[i].role == "ornament":
            i += 1
            continue
        last = i
        while last + 1 < len(notes) and short[last + 1] and last - i < 2:
            last += 1
        main = last + 1
        if main >= len(notes) or marks[main].role == "ornament" or not _decorates(notes, i, main):
            i = last + 1
            continue
        kind = _grace_kind(notes, i, main)
        for j in range(i, main):
            marks[j] = _Mark("ornament", kind)
        if marks[main].kind is None:
            marks[main] = replace(marks[main], kind=kind)
        i = main


def _decorates(notes: list[RawNote], first: int, main: int) -> bool:
    """Short notes first..main-1 are heard as part of note `main`, which must be longer."""
    interval = notes[main - 1].midi - notes[main].midi
    if abs(interval) < SAME_SEMITONES or not -WIDEST_TAP <= interval <= WIDEST_CUT:
        return False
    return _length(notes[main]) > 1.3 * _length(notes[main - 1])


def _grace_kind(notes: list[RawNote], first: int, main: int) -> Ornament:
    if main - first > 1:
        return "grace"
    if notes[first].midi > notes[main].midi:
        return "cut"
    repeated = first > 0 and _same(notes[first - 1], notes[main])
    return "tap" if repeated else "grace"


def _mark_rolls(notes: list[RawNote], short: list[bool], marks: list[_Mark]) -> None:
    """Note-cut-note-tap-note and cut-note-tap-note, likewise with cuts only (cran)."""
    divided_s = usual_gap_s(notes) if _cuts_long_notes(notes, short) else 0.0
    i = 0
    while i < len(notes):
        members = _roll_from(notes, short, i, divided_s)
        if not members:
            i += 1
            continue
        plain = next(j for j in members if not short[j])
        for j in members:
            marks[j] = _Mark("ornament", "roll", owner=plain)
        marks[plain] = _Mark("note", "roll")
        i = members[-1] + 1


def _roll_from(notes: list[RawNote], short: list[bool], start: int, divided_s: float) -> list[int]:
    """Indices of a roll that begins with note `start`, or an empty list.

    divided_s : usual length of a note where one cut makes a roll of a long one, else 0
    """
    leading = short[start]
    plain = start + 1 if leading else start
    if plain >= len(notes) or short[plain] or _length(notes[plain]) > LONGEST_PIECE_S:
        return []
    if leading and not SAME_SEMITONES <= notes[start].midi - notes[plain].midi <= WIDEST_CUT:
        return []
    pieces, graces, j = [plain], [start] if leading else [], plain
    while len(graces) < 3 and j + 2 < len(notes) and _flick(notes, short, j, plain):
        graces.append(j + 1)
        pieces.append(j + 2)
        j += 2
        if notes[graces[-1]].midi < notes[plain].midi:
            break  # the tap ends a roll
    lengths = [_length(notes[piece]) for piece in pieces]
    if (
        divided_s and len(graces) == 1 and not leading
        and notes[graces[0]].midi > notes[plain].midi
        and _is_divided(notes[plain], notes[pieces[-1]], divided_s)
    ):  # fmt: skip
        return list(range(start, pieces[-1] + 1))
    if len(graces) < 2 or max(lengths) > EVEN_PIECES * min(lengths):
        return []
    if notes[graces[0]].midi < notes[plain].midi:
        return []
    if notes[graces[-1]].midi > notes[plain].midi and len(graces) == 2 and max(lengths) > 0.16:
        return []  # two cuts on slow repeated notes, not a cran
    return list(range(start, pieces[-1] + 1))


def _cuts_long_notes(notes: list[RawNote], short: list[bool]) -> bool:
    """Whether the player puts a cut into the middle of nearly every long note.

    Two notes of one pitch with a cut between them are then one long note: more of them are found
    than pairs without a cut and than long notes that are left whole.
    """
    usual_s = usual_gap_s(notes)
    cut = pairs = 0
    for i in range(len(notes) - 1):
        flicked = i + 2 < len(notes) and _flick(notes, short, i, i)
        if short[i] or (short[i + 1] and not flicked):
            continue
        if short[i + 1]:
            cut += _is_divided(notes[i], notes[i + 2], usual_s)
        elif _same(notes[i], notes[i + 1]):
            pairs += _is_divided(notes[i], notes[i + 1], usual_s)
    whole = sum(LONG[0] * usual_s <= _length(note) <= LONG[1] * usual_s for note in notes)
    return cut >= FEWEST_CUT and cut > pairs and cut > whole


def _is_divided(first: RawNote, last: RawNote, usual_s: float) -> bool:
    """Two even pieces that fill the time of two usual notes."""
    pieces = (_length(first), _length(last))
    total_s = last.offset_s - first.onset_s
    fills = LONG[0] * usual_s <= total_s <= LONG[1] * usual_s
    return fills and max(pieces) <= EVEN_HALVES * min(pieces)


def _flick(notes: list[RawNote], short: list[bool], j: int, plain: int) -> bool:
    """Note j + 1 is a flick between note j and its continuation j + 2."""
    interval = notes[j + 1].midi - notes[plain].midi
    return (
        _attached(notes, j)
        and short[j + 1]
        and not short[j + 2]
        and _same(notes[j + 2], notes[plain])
        and _length(notes[j + 2]) <= LONGEST_PIECE_S
        and -WIDEST_TAP <= interval <= WIDEST_CUT
        and abs(interval) >= SAME_SEMITONES
    )


def _mark_trebles(notes: list[RawNote], marks: list[_Mark]) -> None:
    """Three quick strokes on one pitch; a stroke is quick against the recording's usual note."""
    usual_s = usual_gap_s([note for note, mark in zip(notes, marks, strict=True) if mark.owner < 0])
    for i in range(len(notes) - 2):
        if any(marks[j].role == "ornament" or marks[j].kind for j in (i, i + 1, i + 2)):
            continue
        if not (_same(notes[i], notes[i + 1]) and _same(notes[i], notes[i + 2])):
            continue
        first_s = notes[i + 1].onset_s - notes[i].onset_s
        second_s = notes[i + 2].onset_s - notes[i + 1].onset_s
        third_s = _length(notes[i + 2])
        if max(first_s, second_s) > TREBLE_STROKE * usual_s or third_s < 0.7 * second_s:
            continue
        if min(first_s, second_s) < SHORT_S or max(first_s, second_s) > 1.8 * min(
            first_s, second_s
        ):
            continue
        low, high = TREBLE_TOTAL
        if not low * usual_s <= first_s + second_s + third_s <= high * usual_s:
            continue
        marks[i] = _Mark("note", "triplet")
        for j in (i + 1, i + 2):
            marks[j] = _Mark("ornament", "triplet", owner=i)


def _events(notes: list[RawNote], marks: list[_Mark]) -> list[NoteEvent]:
    ends = [note.offset_s for note in notes]
    for j, mark in enumerate(marks):
        if mark.owner >= 0:
            ends[mark.owner] = max(ends[mark.owner], notes[j].offset_s)
    return [
        NoteEvent(
            note.onset_s,
            end_s,
            note.midi,
            note.confidence,
            "ornament" if mark.role == "ornament" else "note",
            mark.kind,
            note.again,
        )
        for note, end_s, mark in zip(notes, ends, marks, strict=True)
    ]
