"""The parted page as tab: how long every note rings, and with which fingers.

Task     turn the notes of a page into TabNotes with part, confidence, fingers of both hands
In       Page with strings and frets; Parted
Out      one TabBar for every written bar
Method   A page without voices gives every note the length of its column: there a tune note lasts to
         the next tune note, a bass or inner note until its string or its voice goes on, none over
         the bar line. Elsewhere lengths are the file's own. No string sounds two notes. Fingers
         that the file names are kept; others follow from the position in which the hand must lie.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from liltwright.tab import TabBar, TabNote
from liltwright.unpick.page import Page, Struck
from liltwright.unpick.parting import Parted
from liltwright.unpick.placing import string_ends

COLUMNS = 0.9
"""Share of notes that end with their column from which lengths say nothing of ringing."""
FRAME = 4  # frets under four fingers
SHORTEST = Fraction(1, 64)  # of a whole note
_HOME = {1: "a", 2: "m", 3: "i"}


def tab_bars(page: Page, parted: Parted) -> tuple[TabBar, ...]:
    """Every note of the page, bar for bar like Page.tune.written_bars()."""
    lengths = _lengths(page, parted)
    fingers = _fingers(page)
    plucks = _plucks(page, parted)
    bars: list[list[TabNote]] = [[] for _ in page.begins]
    for one in page.notes:
        note = one.note
        bars[one.bar].append(
            TabNote(
                parted.parts[one.index], note.string, note.fret, note.midi, note.start,
                note.length if note.grace else lengths[one.index],
                fingers[one.index], plucks[one.index], note.technique, note.grace,  # type: ignore[arg-type]
                parted.confidence[one.index],
            )
        )  # fmt: skip
    for bar in bars:
        bar.sort(key=lambda note: (note.start, not note.grace, note.string))
    return tuple(map(tuple, bars))


def _lengths(page: Page, parted: Parted) -> dict[int, Fraction]:
    reused = string_ends(page.notes)
    columns = _is_columns(page)
    after: dict[str, Fraction] = {}
    found = {}
    for one in sorted(page.notes, key=lambda one: one.at, reverse=True):
        if one.note.grace:
            continue
        part = parted.parts[one.index]
        own = one.at + one.note.length
        end = own
        following = _following(page, parted, one, after)
        if columns:
            line = page.begins[one.bar] + _bar_end(page, one.bar)
            end = max(min(following, line), own if own > line else one.at)
        elif part == "melody":
            end = min(own, following)
        end = min(end, reused.get(one.index, end))
        found[one.index] = max(end - one.at, SHORTEST)
    return found


def _following(page: Page, parted: Parted, one: Struck, after: dict[str, Fraction]) -> Fraction:
    """When the note's part goes on; filled from the end of the page."""
    part = parted.parts[one.index]
    times = after.get(f"{part} {one.at}")
    if times is None:
        times = after.get(part, page.end)
        after[f"{part} {one.at}"] = times
    after[part] = one.at
    return times


def _bar_end(page: Page, bar: int) -> Fraction:
    following = page.begins[bar + 1] if bar + 1 < len(page.begins) else page.end
    written = page.tune.written_bars()[bar]
    if written.kind == "pickup":
        return page.tune.bar_length
    return min(written.length, max(following - page.begins[bar], written.length))


def _is_columns(page: Page) -> bool:
    """Whether every note just lasts to the next moment, as in tablature without voices."""
    ends = [*(moment.at for moment in page.moments[1:]), page.end]
    columns = voices = 0
    for moment, end in zip(page.moments, ends, strict=True):
        for one in moment.notes:
            voices += bool(one.note.voice)
            columns += one.at + one.note.length == end
    total = sum(len(moment.notes) for moment in page.moments)
    several = any(len({one.note.voice for one in m.notes}) > 1 for m in page.moments)
    return columns >= COLUMNS * total and not (voices and several)


# ---------------------------------------------------------------- hands


def positions(page: Page) -> list[int]:
    """Fret under the index finger at each moment: the hand moves only when it must."""
    frets = [[one.note.fret for one in moment.notes if one.note.fret] for moment in page.moments]
    found = []
    low = 1
    for at, here in enumerate(frets):
        if here and not (low <= min(here) and max(here) < low + FRAME):
            bottom, top = min(here), max(here)
            for later in frets[at + 1 : at + 9]:
                if not later:
                    continue
                if max(top, *later) - min(bottom, *later) >= FRAME:
                    break
                bottom, top = min(bottom, *later), max(top, *later)
            low = bottom
        found.append(low)
    return found


def _fingers(page: Page) -> list[int]:
    fingers = [one.note.finger if one.note.fret else 0 for one in page.notes]
    for moment, low in zip(page.moments, positions(page), strict=True):
        for one in moment.notes:
            if one.note.fret and not fingers[one.index]:
                fingers[one.index] = min(max(one.note.fret - low + 1, 1), FRAME)
    return [
        finger or (1 if one.note.fret else 0)
        for finger, one in zip(fingers, page.notes, strict=True)
    ]


def _plucks(page: Page, parted: Parted) -> list[str]:
    plucks = [one.note.pluck or "i" for one in page.notes]
    for moment in page.moments:
        bass = {one.index for one in moment.notes if parted.parts[one.index] == "bass"}
        upper = [one for one in moment.notes if one.index not in bass]
        fingers = _by_string(upper, thumb_free=not bass)
        for one in moment.notes:
            if not one.note.pluck:
                plucks[one.index] = "p" if one.index in bass else fingers[one.index]
    return plucks


def _by_string(notes: Sequence[Struck], *, thumb_free: bool) -> dict[int, str]:
    """A finger of its own for each note, each on its string where it can be."""
    order = "pima" if thumb_free else "ima"
    found: dict[int, str] = {}
    least = 0
    ordered = sorted(notes, key=lambda one: -one.note.string)
    for place, one in enumerate(ordered):
        wish = order.index(_HOME.get(one.note.string, order[0]))
        most = max(len(order) - (len(ordered) - place), 0)
        at = min(max(wish, least), max(most, least), len(order) - 1)
        found[one.index] = order[at]
        least = at + 1
    return found
