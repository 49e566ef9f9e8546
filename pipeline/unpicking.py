"""The order of the stages for a finished page: read, take apart, rank the bare tune, write.

Task     a file with a finished arrangement -> every file of its folder
In       a path; what the user knows
Out      UnpickedFiles: the records and what to write
Method   The stages of the page are arrangement 1, so that every writer writes them as it writes the
         layers of an arrangement; the bare tune on its own best setup is arrangement 2, for
         comparison.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from liltwright import run
from liltwright.counting import count
from liltwright.doubts import bars_words, ranges
from liltwright.errors import PipelineError
from liltwright.options import GuitarOptions, LayerOptions, OutputOptions, TuneOptions
from liltwright.progress import Progress, silent
from liltwright.records import to_json
from liltwright.tab import Arrangement, Ranking

if TYPE_CHECKING:
    from collections.abc import Iterator

    from liltwright.guitar.player import Player
    from liltwright.unpick.compared import VariedRepeat
    from liltwright.unpick.unpicked import Unpicked

MOST_STAYS = 3
"""So many fingers that stay down are named; unpicked.json has all."""
UNSURE = "  what is tune and what is not is unsure in "
KIND_WORDS = {
    "none": "no bass",
    "drone": "a drone",
    "plain": "a plain bass on the beats",
    "moving": "a moving bass",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PageOptions:
    """What the user knows of the page."""

    tuning: str | None = None
    capo: int | None = None
    ignore_voices: bool = False
    said: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class UnpickedFiles:
    """What one run made."""

    found: Unpicked
    ranking: Ranking | None
    files: Mapping[str, bytes]


def unpick_file(
    source: Path,
    *,
    player: Player,
    known: TuneOptions,
    page: PageOptions,
    output: OutputOptions,
    other: bool = True,
    progress: Progress = silent,
) -> UnpickedFiles:
    """Take a finished page apart; nothing is written.

    other : also arrange the bare tune on the setup where it sits best, as arrangement 2
    Raises PipelineError when the page cannot be used, UsageError when an option does not fit.
    """
    from liltwright.write.files import render

    progress("taking the page apart", 0.0)
    found = unpicked_of(source, player=player, known=known, page=page)
    ranking = None
    arrangements: tuple[Arrangement, ...] = (found.stages,)
    if other:
        try:
            ranking = run.rank(found.tune, player, GuitarOptions(), progress)
            setups = run.choose_setups(found.tune, player, GuitarOptions(), ranking)
            arrangements += tuple(
                run.arrange_on(found.tune, setup, player, LayerOptions(), progress)
                for setup in setups
            )
        except PipelineError as fault:
            remark = f"The bare tune was not arranged anew: {fault}"
            found = replace(found, tune=replace(found.tune, remarks=(*found.tune.remarks, remark)))
    listed = ranking or Ranking(0, ())
    told = tuple(page_lines(found))
    files = dict(
        render(found.tune, listed, arrangements, None, output, player, progress, page=told)
    )
    if ranking is None:
        files.pop("tunings.json", None)
    files["unpicked.json"] = to_json(found.page).encode()
    return UnpickedFiles(found, ranking, files)


def unpicked_of(source: Path, *, player: Player, known: TuneOptions, page: PageOptions) -> Unpicked:
    """The page of a file, taken apart."""
    from liltwright.guitar.tunings import parse_tuning
    from liltwright.read.finished import read_finished
    from liltwright.unpick.finished import Known
    from liltwright.unpick.knowing import on_known_strings
    from liltwright.unpick.unpicked import UnpickSettings, unpick

    strings = parse_tuning(page.tuning)[1] if page.tuning is not None else None
    said = Known(
        meter=known.meter,
        kind=known.tune_type,
        strings=strings,
        capo=page.capo,
        beats_per_minute=known.beats_per_minute,
    )
    finished = on_known_strings(read_finished(source, said), said)  # its key is not the user's
    stated = finished.stated
    if known.key is not None:
        stated = replace(stated, key=known.key, signature=None)
    if known.title is not None:
        stated = replace(stated, title=known.title)
    elif not stated.title:
        stated = replace(stated, title=run.title_of(source))
    return unpick(
        replace(finished, stated=stated),
        player=player,
        settings=UnpickSettings(known=said, ignore_voices=page.ignore_voices, said=page.said),
    )


def page_lines(found: Unpicked) -> Iterator[str]:
    """What the page is made of, in a guitarist's words."""
    from liltwright.words import describe_setup

    made = found.page.made_of
    yield f"The page is in {describe_setup(found.page.setup)}, with {KIND_WORDS[made.bass]}"
    if made.walks:
        yield f"  the bass walks in {_bars(made.walks)}"
    if made.inner:
        yield f"  {count(made.inner, 'inner note')}"
    if made.ornament_kinds:
        kinds = ", ".join(count(number, kind) for kind, number in made.ornament_kinds.items())
        yield f"  ornaments: {kinds}"
    if made.held:
        yield f"  a finger stays down in {_bars(made.held)}"
        yield from (
            f"    finger {one.finger} on string {one.string}, fret {one.fret}: {_bars(one.bars)}"
            for one in made.stays[:MOST_STAYS]
        )
    grades = made.grades
    if grades.hard:
        yield f"  hard: {_bars(grades.hard)}; most to do in bar {grades.hardest}"
    elif grades.hardest:
        easy = f"no bar is hard, {_bars(grades.easy)} easy" if grades.easy else "no bar is hard"
        yield f"  {easy}; most to do in bar {grades.hardest}"
    yield from map(_change_words, made.changes)
    if made.least_sure:
        yield f"{UNSURE}{_bars(made.least_sure)}"
    names = ", ".join(layer.name for layer in found.stages.layers)
    yield f"Stages to learn it by: {names}"


def _bars(numbers: Sequence[int]) -> str:
    return bars_words(ranges(list(numbers)))


def _change_words(change: VariedRepeat) -> str:
    """ "bars 17-24 are bars 1-8 again, with another bass in bars 17-18"."""
    length = change.last - change.first
    differ = (("tune", change.tune), ("bass", change.bass), ("inner notes", change.inner))
    words = " and ".join(
        f"{'other' if what == 'inner notes' else 'another'} {what} in {_bars(numbers)}"
        for what, numbers in differ
        if numbers
    )
    here = _bars(range(change.first, change.last + 1))
    there = _bars(range(change.again, change.again + length + 1))
    return f"  {here} {'are' if length else 'is'} {there} again, with {words}"
