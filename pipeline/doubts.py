"""Bars to check by ear, in a guitarist's words: neighbours with the same reason as one.

In:  the doubts of a tune, one for each bar. Out: ranges of bars with what they have in common, so
     that a page stays readable where most bars are doubtful.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from liltwright.tune import Bar, Doubt, Tune

MOST_LOST = 7  # bars


@dataclass(frozen=True, slots=True)
class DoubtfulBars:
    """Performed bars one after another that are doubtful for the same reasons."""

    first: int
    last: int
    start_s: float
    why: str

    @property
    def words(self) -> str:
        """ "bars 12-15 at 0:12"."""
        return f"{bars_words([(self.first, self.last)])} at {clock(self.start_s)}"

    @property
    def count(self) -> int:
        """How many bars."""
        return self.last - self.first + 1


def grouped(doubts: Sequence[Doubt]) -> tuple[DoubtfulBars, ...]:
    """Doubts bar by bar -> ranges in the order played; reasons with the same bars are joined."""
    bars_of: dict[str, list[Doubt]] = defaultdict(list)
    for doubt in sorted(doubts, key=lambda doubt: doubt.bar):
        for why in doubt.why.split("; "):
            bars_of[why].append(doubt)
    reasons: dict[tuple[int, int], list[str]] = defaultdict(list)
    starts: dict[int, float] = {}
    for why, these in bars_of.items():
        for first, last in ranges(doubt.bar for doubt in these):
            reasons[first, last].append(why)
        starts |= {doubt.bar: doubt.start_s for doubt in these}
    return tuple(
        DoubtfulBars(first, last, starts[first], "; ".join(reasons[first, last]))
        for first, last in sorted(reasons)
    )


def by_reason(groups: Sequence[DoubtfulBars]) -> dict[str, list[DoubtfulBars]]:
    """The ranges of each reason, the reason with most bars first."""
    found: dict[str, list[DoubtfulBars]] = defaultdict(list)
    for group in groups:
        for why in group.why.split("; "):
            found[why].append(group)
    order = sorted(found, key=lambda why: -sum(group.count for group in found[why]))
    return {why: found[why] for why in order}


def printed_bars(tune: Tune) -> dict[int, int]:
    """Performed bar -> index of the written bar it is; performed bars count from 1, a pick-up 0.

    A lone last bar after the last whole round, such as a closing note, is no bar of the page. Of a
    performance whose first bars were not recorded the bars are those that they are most like.
    """
    written, order = tune.written_bars(), tune.performed_order()
    once = [index for index in order if written[index].kind != "pickup"]
    last = max((doubt.bar for doubt in tune.doubts), default=0)
    if not once:
        return {}
    lost = _not_recorded(tune, [_sung(written[index].notes) for index in once])
    bars = {0: order[0]} | {bar: once[(bar - 1 + lost) % len(once)] for bar in range(1, last + 1)}
    closing = _last_performed(tune)
    if closing + lost > len(once) > 1 and (closing + lost) % len(once) == 1:
        bars.pop(closing, None)
    return bars


def _not_recorded(tune: Tune, page: list[tuple[tuple[int, str], ...]]) -> int:
    """How many bars of the page were played before the recording began."""
    opening = tune.bars_heard[0].notes if tune.bars_heard else ()
    heard = [_sung(bar.notes) for bar in tune.bars_heard[bool(opening and opening[0].start) :]]

    def alike(lost: int) -> int:
        return sum(bar == page[(at + lost) % len(page)] for at, bar in enumerate(heard))

    return max(range(min(MOST_LOST + 1, len(page))), key=lambda lost: (alike(lost), -lost))


def _sung(bar: Bar) -> tuple[tuple[int, str], ...]:
    return tuple((note.midi, str(note.start)) for note in bar)


def _last_performed(tune: Tune) -> int:
    """The number of the last bar heard; 0 where nothing was."""
    bars = tune.bars_heard
    pickup = bool(bars and bars[0].notes and bars[0].notes[0].start)
    return len(bars) - pickup


def doubtful_indices(tune: Tune) -> set[int]:
    """Indices of the written bars on which a doubt falls."""
    printed = printed_bars(tune)
    return {printed[doubt.bar] for doubt in tune.doubts if doubt.bar in printed}


def doubtful_numbers(tune: Tune) -> list[int]:
    """The printed numbers of those bars, in order; a pick-up has none."""
    written = tune.written_bars()
    return sorted({number for i in doubtful_indices(tune) if (number := written[i].number)})


def ranges(numbers: Iterable[int]) -> list[tuple[int, int]]:
    """Numbers one after another as first and last: 3, 4, 5, 8 gives (3, 5), (8, 8)."""
    found: list[tuple[int, int]] = []
    for number in sorted(set(numbers)):
        if found and number == found[-1][1] + 1:
            found[-1] = (found[-1][0], number)
        else:
            found.append((number, number))
    return found


def bars_words(these: Sequence[tuple[int, int]]) -> str:
    """ "bar 3", "bars 3-5", "bars 3-5, 8 and 16", "pick-up"."""
    if list(these) == [(0, 0)]:
        return "pick-up"
    words = [str(first) if first == last else f"{first}-{last}" for first, last in these]
    joined = f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else words[0]
    return f"bar {joined}" if joined.isdigit() else f"bars {joined}"


def clock(seconds: float) -> str:
    """Minutes and seconds, "1:07"."""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"
