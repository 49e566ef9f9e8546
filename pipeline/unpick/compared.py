"""What in a finished page is hard, and what changes when a stretch of the tune comes again.

Task     grade the bars of a page; find stretches that are played again otherwise
In       the page's tune and tab bars
Out      Grades; Changes
Method   A bar is graded by the limits that arrangements keep to (models/bass/effort.json): easy
         when an easier arrangement might have it, middle when a usual one might, hard otherwise.
         For changes each part is cut into stretches of eight bars, a part of another length is one
         stretch. A stretch is compared with the earlier one whose tune is most like it; when most
         bars have the same tune, the bars that differ in tune, bass or inner notes are named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from liltwright.arrange.grades import grade_bar, within_limit
from liltwright.guitar.hand import Hand
from liltwright.tab import PartName, Setup, TabBar
from liltwright.tune import Tune

STRETCH = 8
"""Bars of a stretch, as in most dance tunes (common practice)."""
ALIKE = 0.6
"""Share of bars with the same tune from which a stretch counts as played again."""
EFFORTS = {"easy": "easier", "middle": "as is"}


@dataclass(frozen=True, slots=True)
class Grades:
    """How hard every bar is; bars are numbers as printed, a pick-up is left out."""

    easy: tuple[int, ...] = ()
    middle: tuple[int, ...] = ()
    hard: tuple[int, ...] = ()
    hardest: int = 0
    """The bar with most notes plucked and fingers put down a second; 0 for a page of no bar."""
    moves_per_second: float = 0.0
    """Of that bar."""


@dataclass(frozen=True, slots=True)
class VariedRepeat:
    """A stretch that comes again, and the bars in it that differ; numbers as printed."""

    first: int
    last: int
    again: int
    """First bar of the stretch that it repeats."""
    tune: tuple[int, ...] = ()
    bass: tuple[int, ...] = ()
    inner: tuple[int, ...] = ()


def grades_of(tune: Tune, bars: Sequence[TabBar], setup: Setup, hand: Hand) -> Grades:
    """Every bar as easy, middle or hard."""
    found: dict[str, list[int]] = {"easy": [], "middle": [], "hard": []}
    hardest, most = 0, 0.0
    for bar, written in zip(bars, tune.written_bars(), strict=True):
        if not written.number or not bar:
            continue
        alone = tuple(note for note in bar if note.part == "melody")
        whole, melody = (grade_bar(one, written.length, tune, setup, hand) for one in (bar, alone))
        name = next(
            (name for name, effort in EFFORTS.items() if within_limit(whole, melody, effort, hand)),
            "hard",
        )
        found[name].append(written.number)
        speed = whole.moves / max(whole.seconds, 0.01)
        if speed > most:
            hardest, most = written.number, speed
    easy, middle, hard = (tuple(sorted(set(numbers))) for numbers in found.values())
    return Grades(easy, middle, hard, hardest, round(most, 2))


def changes_of(tune: Tune, bars: Sequence[TabBar]) -> tuple[VariedRepeat, ...]:
    """Every stretch that comes again with something else in it."""
    written = tune.written_bars()
    cut = _stretches(tune)
    found = []
    for place, mine in enumerate(cut):
        best: list[int] | None = None
        most = 0.0
        for other in cut[:place]:
            if len(other) != len(mine):
                continue
            same = sum(
                _part(bars[one], "melody") == _part(bars[two], "melody")
                for one, two in zip(mine, other, strict=True)
            )
            if same / len(mine) >= ALIKE and same / len(mine) > most:
                best, most = other, same / len(mine)
        if best is None:
            continue
        differ = {
            part: tuple(
                written[one].number
                for one, two in zip(mine, best, strict=True)
                if _part(bars[one], part) != _part(bars[two], part)
            )
            for part in ("melody", "bass", "inner")
        }
        if any(differ.values()):
            first, last, again = (written[i].number for i in (mine[0], mine[-1], best[0]))
            found.append(
                VariedRepeat(first, last, again, differ["melody"], differ["bass"], differ["inner"])
            )
    return tuple(found)


def _stretches(tune: Tune) -> list[list[int]]:
    """Indices of the bars of every stretch; pick-ups and endings belong to none."""
    written = tune.written_bars()
    found: list[list[int]] = []
    for part in range(len(tune.parts)):
        mine = [i for i, one in enumerate(written) if one.part == part and one.kind == "bar"]
        step = STRETCH if len(mine) % STRETCH == 0 else max(len(mine), 1)
        found += [mine[at : at + step] for at in range(0, len(mine), step)]
    return found


def _part(bar: TabBar, part: PartName) -> list[tuple[object, ...]]:
    return sorted((note.start, note.midi) for note in bar if note.part == part and not note.grace)
