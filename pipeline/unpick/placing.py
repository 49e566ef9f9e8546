"""Where on the neck the notes of a page are played, where the file does not say.

Task     strings and frets for notes that are pitches only (MIDI, ABC, a page without tablature)
In       Page; a tuning and capo, or none
Out      Page with strings and frets; what cannot be played is left out and said
Method   At every moment the struck notes lie on strings of their own under one hand; the cheapest
         chain of such holds by height on the neck, shifts and strings that still ring. Without a
         tuning the catalogue's is taken on which most low notes are open, standard when equal.
References  Sayegh 1989, Computer Music Journal 13(3).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice

from liltwright.counting import count
from liltwright.errors import PipelineError, to_type
from liltwright.guitar.fretboard import Place, places
from liltwright.guitar.tunings import Strings, catalogue
from liltwright.unpick.finished import Finished
from liltwright.unpick.likings import costs
from liltwright.unpick.page import Moment, Page, Struck, with_notes

HIGHEST_FRET = 15  # above the capo, as in the ranking
REACH = 4
"""Frets under one hand."""
MOST_HOLDS = 24  # of one moment that the path chooses from, cheapest first
MOST_TRIED = 4000  # ways to hold a moment, for bounded time


@dataclass(frozen=True, slots=True)
class _Hold:
    """Places of the struck notes, in their order; position is the lowest fretted fret, or 0."""

    places: tuple[Place, ...]
    position: int
    cost: float


def placed(page: Page, strings: Strings | None, capo: int) -> Page:
    """The page with a string and a fret for every note.

    Raises PipelineError when hardly anything can be played.
    """
    chosen = strings or likely_tuning(page)
    board = {
        midi: places(chosen, capo, midi, HIGHEST_FRET)
        for midi in {one.note.midi for one in page.notes}
    }
    where: dict[int, Place] = {}
    holds = [_holds(moment, board) for moment in page.moments]
    for (kept, _), hold in zip(holds, _chain(page.moments, holds), strict=True):
        where |= {one.index: place for one, place in zip(kept, hold.places, strict=True)}
    for one in page.notes:
        if one.note.grace and board[one.note.midi]:
            where[one.index] = board[one.note.midi][0]
    lost = [one for one in page.notes if one.index not in where]
    if len(lost) * 2 > len(page.notes):
        raise PipelineError(
            f"{page.finished.source.file} cannot be played on this tuning: "
            f"{len(lost)} of {count(len(page.notes), 'note')} have no place; name another"
            f"{to_type('tuning and capo')}."
        )
    remarks = page.finished.remarks
    if lost:
        remarks += (
            f"{count(len(lost), 'note')} could not be held with the others and "
            f"{'is' if len(lost) == 1 else 'are'} left out.",
        )
    finished: Finished = replace(
        page.finished, strings_midi=tuple(chosen), capo=capo, remarks=remarks
    )
    notes = [
        replace(one, note=replace(one.note, string=place.string, fret=place.fret))
        for one in page.notes
        if (place := where.get(one.index)) is not None
    ]
    return with_notes(replace(page, finished=finished), notes)


def likely_tuning(page: Page) -> Strings:
    """The tuning of the catalogue that suits the low notes of a page best."""
    lowest = [moment.notes[0].note.midi for moment in page.moments]
    best = (-1e9, catalogue()[0].strings_midi)
    for tuning in catalogue():
        below = sum(midi < tuning.strings_midi[0] for midi in lowest)
        opened = sum(midi in tuning.strings_midi[:3] for midi in lowest)
        worth = opened + tuning.common * len(lowest) / 8 - 50 * below
        if worth > best[0] + 1e-9:
            best = (worth, tuning.strings_midi)
    return best[1]


def _holds(
    moment: Moment, board: Mapping[int, Sequence[Place]]
) -> tuple[tuple[Struck, ...], list[_Hold]]:
    """The notes of a moment that can be held together, and the best ways to hold them."""
    kept = [one for one in moment.notes if board[one.note.midi]]
    seen: set[int] = set()
    kept = [one for one in kept if one.note.midi not in seen and not seen.add(one.note.midi)]  # type: ignore[func-returns-value]
    while kept:
        found = list(islice(_ways([board[one.note.midi] for one in kept]), MOST_TRIED))
        if found:
            found.sort(key=lambda hold: (hold.cost, hold.places))
            return tuple(kept), found[:MOST_HOLDS]
        middle = len(kept) // 2 if len(kept) > 2 else 0
        del kept[middle]
    return (), [_Hold((), 0, 0.0)]


def _ways(options: Sequence[Sequence[Place]]):  # type: ignore[no-untyped-def]
    """Every hold with the notes on strings of their own within reach of one hand."""
    table = costs()

    def extend(at: int, chosen: tuple[Place, ...], low: int, high: int):  # type: ignore[no-untyped-def]
        if at == len(options):
            height = sum(place.fret for place in chosen)
            cost = table["place_fret"] * height + table["place_span"] * max(0, high - low - 2)
            yield _Hold(chosen, 0 if high == 0 else low, cost)
            return
        for place in options[at]:
            if any(place.string == other.string for other in chosen):
                continue
            lower, upper = low, high
            if place.fret:
                lower = min(low or place.fret, place.fret)
                upper = max(high, place.fret)
                if upper - lower > REACH:
                    continue
            yield from extend(at + 1, (*chosen, place), lower, upper)

    yield from extend(0, (), 0, 0)


def _chain(
    moments: Sequence[Moment], holds: Sequence[tuple[tuple[Struck, ...], list[_Hold]]]
) -> list[_Hold]:
    """The cheapest chain of holds."""
    table = costs()
    values = [0.0]
    before = [_Hold((), 0, 0.0)]
    back: list[list[int]] = []
    for moment, (_, options) in zip(moments, holds, strict=True):
        del moment
        now, sources = [], []
        for hold in options:
            best, source = min(
                (value + _move(old, hold, table), place)
                for place, (value, old) in enumerate(zip(values, before, strict=True))
            )
            now.append(best + hold.cost)
            sources.append(source)
        values, before = now, options
        back.append(sources)
    chain = []
    at = values.index(min(values))
    for (_, options), sources in zip(reversed(holds), reversed(back), strict=True):
        chain.append(options[at])
        at = sources[at]
    return chain[::-1]


def _move(old: _Hold, new: _Hold, table: Mapping[str, float]) -> float:
    cost = 0.0
    if old.position and new.position:
        cost += table["place_shift"] * abs(new.position - old.position)
    used = {place.string: place.fret for place in old.places}
    again = sum(used.get(place.string, place.fret) != place.fret for place in new.places)
    return cost + table["place_same_string"] * again


def string_ends(notes: Sequence[Struck]) -> dict[int, Fraction]:
    """When each note's string is struck again, by index; notes without one after are left out."""
    ends: dict[int, Fraction] = {}
    last: dict[int, Struck] = {}
    for one in sorted(notes, key=lambda one: one.at):
        if one.note.grace:
            continue
        before = last.get(one.note.string)
        if before is not None and one.note.string:
            ends[before.index] = one.at
        last[one.note.string] = one
    return ends
