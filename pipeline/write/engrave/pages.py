"""Which lines of music stand on one page: parts whole where they can be, no line left alone.

In:  the heights of the lines and what stands above and below them. Out: where new pages begin.
Method: of all ways to turn the page, the one with fewest pages; among these one that turns between
    parts, leaves no single line over and fills its pages alike (a shortest path over the lines).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from math import inf

from liltwright.options import Paper

PAGE_MM: dict[Paper, float] = {"a4": 272.0, "letter": 254.0}
"""Height of what is printed on a page: paper less margins and footer."""
WIDTH_MM: dict[Paper, float] = {"a4": 180.0, "letter": 185.9}  # of the music, paper less margins
LINE_GAP_MM = 3.0  # between lines of music
_INSIDE_A_PART = 4.0  # price of turning inside a part
_LINE_ALONE = 6.0  # price of a line alone on its page
_UNEVEN = 2.0
"""What is to be avoided, against each other; a page more weighs more than all of them."""
_PAGE_MORE = 100.0  # price of a page, above all other prices together


def page_breaks(
    heights_mm: Sequence[float],
    begins_part: Sequence[bool],
    *,
    first_mm: float,
    page_mm: float,
    last_less_mm: float,
) -> tuple[int, ...]:
    """Lines that begin a page, the first line not counted.

    first_mm : room on the first page; page_mm : on a later one; last_less_mm : what the foot of the
        last page takes.
    """
    count = len(heights_mm)
    begins = [0.0]
    for height in heights_mm:
        begins.append(begins[-1] + height + LINE_GAP_MM)

    @cache
    def best(first: int) -> tuple[float, int]:
        """Cost of the pages from this line on, and where the next one begins."""
        found = (inf, count)
        for after in range(first + 1, count + 1):
            room = (page_mm if first else first_mm) - (last_less_mm if after == count else 0.0)
            used = begins[after] - begins[first] - LINE_GAP_MM
            if used > room and after > first + 1:
                break
            cost = _PAGE_MORE + _UNEVEN * max(0.0, 1.0 - used / room) ** 2
            if after < count:
                cost += best(after)[0] + (0.0 if begins_part[after] else _INSIDE_A_PART)
            if after == first + 1 < count + bool(first):
                cost += _LINE_ALONE
            found = min(found, (cost, after))
        return found

    breaks, at = [], best(0)[1]
    while at < count:
        breaks.append(at)
        at = best(at)[1]
    return tuple(breaks)
