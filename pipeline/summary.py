"""What the command line says at the end, in a guitarist's words."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from liltwright.cli_faults import typed_remark
from liltwright.counting import count
from liltwright.doubts import bars_words, by_reason, clock, grouped, ranges
from liltwright.tab import Ranking, Setup
from liltwright.tune import Tune
from liltwright.words import best_words, describe_setup, describe_tune, near_words
from liltwright.write.folder.ledger import some

if TYPE_CHECKING:
    from liltwright.arrange.compare import Comparison
    from liltwright.arrange.sets import SetPlan
    from liltwright.write.folder.save import Saved

SHOWN, RANGES = 5, 4
"""How many doubts, or reasons, are said, and how many ranges of bars for each reason."""


def tune_lines(tune: Tune, files: Collection[str] = ()) -> Iterator[str]:
    """The tune, second choices where they are close, and the bars to check by ear.

    `files` are those that were written: where there are many doubts, these hold the rest.
    """
    yield describe_tune(tune)
    yield from _second_choices(tune)
    yield from (f"  {typed_remark(remark)}" for remark in tune.remarks)
    yield from (f"  Warning: {typed_remark(warning)}" for warning in tune.warnings)
    yield from (
        f"  Left out {clock(piece.start_s)}-{clock(piece.end_s)}: {piece.why}"
        for piece in tune.left_out
    )
    yield from _doubts(tune, files)


def _doubts(tune: Tune, files: Collection[str]) -> Iterator[str]:
    """The bars to check by ear; where they are many, reason by reason."""
    if not tune.doubts:
        return
    bars = count(len(tune.bars_heard), "bar")
    yield f"Check by ear ({len(tune.doubts)} of {bars} played):"
    groups = grouped(tune.doubts)
    if len(groups) <= SHOWN:
        yield from (f"  {group.words}: {group.why}" for group in groups)
        return
    reasons = by_reason(groups)
    for why, these in list(reasons.items())[:SHOWN]:
        shown = ", ".join(group.words for group in these[:RANGES])
        more = sum(group.count for group in these[RANGES:])
        yield f"  {why}:"
        yield f"    {shown}" + (f" and {more} more" if more else "")
    if len(reasons) > SHOWN:
        yield f"  and {count(len(reasons) - SHOWN, 'reason')} more"
    holding = [name for name in ("report.html", "tune.json") if name in files]
    if holding:
        yield f"  all of them are in {' and '.join(holding)}"


def ranking_lines(
    ranking: Ranking, *, most: int = 5, arranged: Setup | None = None
) -> Iterator[str]:
    """The best setups, near doubles left out, with reasons; then why the usual ones came lower.

    What the user asked for is listed too, wherever its place is.
    """
    from liltwright.guitar.shortlist import shortlist

    if not ranking.setups:
        return
    yield best_words(ranking, arranged)
    listed = shortlist(ranking.setups, most)
    last, chosen = listed[-1].rank, ranking.chosen
    if chosen is not None and chosen not in listed:
        listed = tuple(sorted((*listed, chosen), key=lambda setup: setup.rank))
    for setup in listed:
        yield f"{setup.rank:3}. {describe_setup(setup)}   score {setup.score:.2f}"
        yield from (
            f"       + {reason}" for reason in setup.reasons[1 : 4 if setup.rank == 1 else 2]
        )
        yield from (f"       ! {caution}" for caution in setup.cautions)
    if near_words(ranking):
        yield f"     {near_words(ranking).capitalize()}."
    left_out = set(range(1, last)) - {setup.rank for setup in listed}
    if left_out:
        yield f"     Left out as nearly the same as a better one: {places_words(left_out)}"
    yield from (f"     - {reason}" for reason in ranking.lower)
    if ranking.robustness:
        share = min(ranking.robustness.values())
        yield f"     Moving every weight by 30 % keeps each of the first three there in {share:.0%}"


def places_words(places: Collection[int]) -> str:
    """ "place 3", "places 3-5, 8 and 16"."""
    return bars_words(ranges(places)).replace("bar", "place", 1)


def comparison_lines(comparison: Comparison) -> Iterator[str]:
    """Two setups bar by bar: moves of the hands, widest stretch, main beats with a bass."""
    from liltwright.arrange.compare import bar_label

    width = max(4, *(len(bar_label(pair)) for pair in comparison.bars))
    yield f"{comparison.layer}: {describe_setup(comparison.first)}"
    yield f"{'against':>{len(comparison.layer) + 1}} {describe_setup(comparison.second)}"
    yield f"{'bar':>{width}}   moves      stretch mm  bass beats  easier"
    for pair in comparison.bars:
        one, two = pair.first_grade, pair.second_grade
        yield (
            f"{bar_label(pair):>{width}}  {one.moves:3} {two.moves:3}  {one.stretch_mm:8.0f} "
            f"{two.stretch_mm:4.0f}  {pair.first_bass_beats:5} {pair.second_bass_beats:3}"
            f"     {pair.easier}"
        )
    if any(pair.ending for pair in comparison.bars):
        yield "In brackets: the times through for which an ending is played."
    yield from comparison.summary


def set_lines(number: int, plan: SetPlan, names: Sequence[str]) -> Iterator[str]:
    """One way to play a set: the tunes in order and what changes between them."""
    retuned = "no string retuned"
    if plan.strings_retuned:
        by = count(plan.semitones_retuned, "semitone")
        retuned = f"{count(plan.strings_retuned, 'string')} retuned by {by}"
    yield f"Plan {number}: {retuned}, {count(plan.capo_moves, 'capo move')}"
    for place, (index, setup) in enumerate(zip(plan.order, plan.setups, strict=True)):
        if place:
            change = plan.changes[place - 1]
            steps = [*change.strings, *([change.capo] if change.capo else [])]
            key = f"the key lifts by {count(change.lift, 'semitone')}"
            if not change.lift:
                key = "the key stays"
            yield f"     then {'; '.join(steps) or 'play straight on'} ({key})"
        yield f"  {place + 1}. {names[index]}: {describe_setup(setup)}"


def _second_choices(tune: Tune) -> Iterator[str]:
    types = [c for c in tune.candidates.tune_type if c.value != tune.tune_type]
    if types and types[0].probability >= 0.1 and "tune_type" not in tune.overridden:
        yield f"  might be a {types[0].value} instead ({types[0].probability:.0%}): --type"
    keys = [c for c in tune.candidates.key if (c.tonic, c.mode) != (tune.tonic, tune.mode)]
    if keys and keys[0].probability >= 0.1 and "key" not in tune.overridden:
        yield f"  might be in {keys[0].tonic} {keys[0].mode} ({keys[0].probability:.0%}): --key"


def saved_lines(folder: Path, saved: Saved) -> list[str]:
    """What stayed as it was in the folder, and how to have it otherwise."""
    lines = [
        f"  {name} is yours and stays as it is; the new version is {new}"
        for name, new in saved.beside.items()
    ]
    if saved.beside:
        lines.append(
            "    take a new version by renaming it over yours, or all with --replace; "
            "keep yours by leaving it so"
        )
    lines += [f"  {name} is new; yours is kept as {yours}" for name, yours in saved.aside.items()]
    if saved.stayed:
        lines.append(f"  from an earlier run, not made anew: {some(list(saved.stayed))}")
    if saved.replaced:
        lines.append(f"  what was replaced comes back with: liltwright restore {folder}")
    return lines
