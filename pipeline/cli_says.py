"""What the command line prints when a job is done: one function a command.

What was found goes to stdout, a word on options without effect beside an output that is no place
for it to stderr.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from liltwright.cli_faults import typed_remark
from liltwright.counting import count
from liltwright.records import to_json
from liltwright.summary import (
    comparison_lines,
    ranking_lines,
    saved_lines,
    set_lines,
    tune_lines,
)
from liltwright.words import describe_setup

if TYPE_CHECKING:
    from liltwright import jobs, jobs_around
    from liltwright.arrange.compare import Comparison
    from liltwright.guitar.player import Player
    from liltwright.tab import Ranking
    from liltwright.tune import Tune
    from liltwright.write.folder.save import Saved


def arranged(made: jobs.Arranged, *, setups: int) -> None:
    """The tune, the ranking, the files. setups : how many arrangements were asked for."""
    done = made.done
    _say(tune_lines(done.tune, done.files))
    _say(ranking_lines(done.ranking, arranged=done.arrangements[0].setup))
    if len(done.arrangements) < setups:
        print(
            f"--setups {setups}: arranged for {len(done.arrangements)} only, "
            "no other setup differs enough."
        )
    _say_kept(made.kept)


def taken_apart(made: jobs.TakenApart) -> None:
    """The tune of a finished page, what the page is made of, the files."""
    from liltwright.unpicking import UNSURE, page_lines

    done = made.done
    _say(tune_lines(done.found.tune, done.files))
    _say(
        f"{line}: say it with --part-of" if line.startswith(UNSURE) else line
        for line in page_lines(done.found)
    )
    if done.ranking is not None:
        _say(ranking_lines(done.ranking, most=1))
    _say_kept(made.kept)


def listened(made: jobs.Listened, *, as_json: bool) -> None:
    """The tune; as ABC where no files were wanted."""
    from liltwright.write.formats.abc import tune_to_abc

    if as_json:
        print(to_json(made.tune), end="")
        return
    _say(tune_lines(made.tune, made.kept.files if made.kept else ()))
    if made.kept:
        _say_kept(made.kept)
    else:
        print(f"\n{tune_to_abc(made.tune)}", end="")


def ranked(tune: Tune, ranking: Ranking, *, as_json: bool) -> None:
    """The tune and its tunings and capos."""
    if as_json:
        print(to_json(ranking), end="")
        return
    _say(tune_lines(tune))
    _say(ranking_lines(ranking, most=10))


def tabbed(made: jobs.Tabbed, *, as_json: bool, hands: bool) -> None:
    """The layer as text, or where its files are."""
    from liltwright.write.formats.tablature import layer_to_text

    _say_effects(made.tune)
    if as_json:
        print(to_json(made.arrangement), end="")
    elif made.paths:
        for path in made.paths:
            print(f"{made.layer} on {describe_setup(made.arrangement.setup)} in {path}")
    else:
        print(layer_to_text(made.tune, made.arrangement, made.layer, hands=hands), end="")


def compared(tune: Tune, comparison: Comparison) -> None:
    """Two setups bar by bar."""
    _say_effects(tune)
    _say(comparison_lines(comparison))


def planned(made: jobs_around.Planned) -> None:
    """Ways to play a set, and the files of the one that was taken."""
    for number, plan in enumerate(made.plans, 1):
        _say(set_lines(number, plan, made.names))
    if made.kept:
        folder, saved = made.kept.folder, made.kept.saved
        print(f"{count(len(saved.written), 'file')} of plan {made.taken} in {folder}")
        _say(saved_lines(folder, saved))


def brought_back(folder: Path, saved: Saved) -> None:
    """What came back, and how that is undone."""
    print(f"{len(saved.written)} files in {folder} are as they were before the last change")
    _say(saved_lines(folder, saved))


def practised(made: jobs_around.Practised, *, speed: float) -> None:
    """What is in the sound file. speed : as a share of the recorded one."""
    print(f"{made.what} at {speed:.0%} in {made.path}")


def profile(player: Player) -> None:
    """Every setting of the player, as it would be typed."""
    from liltwright.ask import QUESTIONS, shown
    from liltwright.guitar.player import profile_path

    _say(f"{name:<16} {shown(player, name)}" for name, _ in QUESTIONS)
    print(f"kept in {profile_path()}")


def _say(lines: Iterable[str]) -> None:
    for line in lines:
        print(line)


def _say_effects(tune: Tune) -> None:
    from liltwright.notate.effects import effects_words

    for words in effects_words(tune.remarks):
        print(f"liltwright: {typed_remark(words)}", file=sys.stderr)


def _say_kept(kept: jobs.Kept) -> None:
    first = "report.html" if "report.html" in kept.files else "tune.abc"
    first = kept.saved.beside.get(first, first)
    written = count(len(kept.saved.written), "file")
    print(f"{written} in {kept.folder}; open {kept.folder / first} first")
    _say(saved_lines(kept.folder, kept.saved))
