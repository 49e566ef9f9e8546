"""The plucking hand on paper: p i m a in two rows under the tab staff.

In:  one bar's tab staff as drawn, the bar, whether a bass is drawn on this line.
Out: the letters, added in place; fingers in the upper row, the thumb in the lower one, both in one
    row where no bass is. A note that the fretting hand sounds has no letter.
Method: verovio draws the fretting hand's fingers of our MusicXML, but no `pluck`.
References: p i m a for thumb, index, middle and ring finger, as MusicXML 4.0 `pluck` has them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from liltwright.write.engrave.tab_marks import places_of, text_element
from liltwright.write.sheet.bars import SheetBar

_BELOW_STEMS, _ROW, _ALONE = 3.45, 1.0, 1.35
"""Of the first row with and without a bass, and from row to row; in gaps between strings."""
_SIZE = 330  # of a letter, in verovio's units


def mark_plucks(staff: Any, string_ys: Sequence[int], bar: SheetBar, *, bass: bool) -> int:
    """Add the letters; the lowest foot of one. string_ys : heights of strings 1 to 6."""
    gap = string_ys[1] - string_ys[0]
    upper = string_ys[-1] + round(gap * (_BELOW_STEMS if bass else _ALONE))
    lower = upper + round(gap * _ROW) if bass else upper
    at: dict[tuple[int, int], list[tuple[int, str]]] = {}
    for place in places_of(staff, string_ys, bar):
        note = place.note
        if note.pluck and note.technique is None and not note.grace:
            row = lower if note.pluck == "p" else upper
            at.setdefault((place.x, row), []).append((-note.string, note.pluck))
    for (x, y), letters in at.items():
        words = "".join(letter for _, letter in sorted(letters))
        staff.append(text_element(x, y, words, "pluck", _SIZE))
    return lower if at else 0
