"""Commands around the one tune: sets, archives, the page, practising, the player's profile.

cli.py puts them on the command line, behind its own.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from liltwright import cli_words as words
from liltwright import options
from liltwright.screen import progress_on_stderr


def plan_set(
    sources: Annotated[list[Path], typer.Argument(help="Two to five tunes or recordings.")],
    out: words.SetOut = None,
    replace: words.Replace = False,
    keep_order: words.KeepOrder = False,
    any_lift: words.AnyLift = False,
    sound_in: words.SoundIn = None,
    tuning: words.SetTuning = None,
    capo: words.SetCapo = None,
    plans: words.Plans = 3,
    take: words.TakePlan = 1,
    effort: words.Effort = "as is",
    rounds: words.Rounds = None,
    sheets: words.Sheets = True,
    sound: words.Sound = True,
    paper: words.Paper = "a4",
) -> None:
    """Fit tunes into a set: keys that lift, little retuning, few capo moves."""
    from liltwright import cli_says, jobs_around

    wanted = options.guitars(tuning, capo, sound_in, len(sources))
    with progress_on_stderr() as progress:
        made = jobs_around.plan_set(
            sources,
            wanted,
            keep_order=keep_order,
            lift=not any_lift,
            plans=plans,
            out=out,
            replace=replace,
            take=take,
            layers=options.LayerOptions(effort=effort, rounds=rounds),
            output=options.OutputOptions(sheets, sound, paper=paper),
            progress=progress,
        )
    cli_says.planned(made)


def gather(
    inputs: words.Inputs,
    out: words.GatherOut,
    shard: words.ShardName = None,
    engine: words.Engine = "local",
    scheduler: words.Scheduler = None,
    level: words.Level = "everything",
    ear: words.Ear = "own",
    processes: words.Processes = None,
    seconds: words.Seconds = 900.0,
    memory: words.Memory = 6.0,
    batch: words.Batch = 50,
    retry: words.Retry = False,
    relatives: words.Relatives = False,
    results: words.Results = None,
) -> None:
    """Work through a whole archive: a folder per tune and one table; stop and go on at will."""
    from liltwright.gather import job

    job.run(
        inputs,
        out,
        shard=shard,
        engine=engine,
        scheduler=scheduler,
        level=level,
        ear=ear,
        processes=processes,
        seconds=seconds,
        memory=memory,
        batch=batch,
        retry=retry,
        relatives=relatives,
        results=results,
    )


def page(
    folder: words.PageFolder = Path("tunes"),
    port: words.Port = 0,
    no_browser: words.NoBrowser = False,
    share: words.Share = False,
) -> None:
    """Open the local page over a folder of tunes: hum, look, mend, choose, listen, print."""
    from liltwright.page.serve import serve

    serve(folder, port=port, browser=not no_browser, share=share)


def restore(
    folder: Annotated[Path, typer.Argument(help="A folder that an earlier run wrote into.")],
) -> None:
    """Bring back the files that the last run replaced; once more undoes it."""
    from liltwright import cli_says, jobs_around

    cli_says.brought_back(folder, jobs_around.bring_back(folder))


def practise(
    recording: words.Recording,
    out: words.SoundFile = None,
    speed: words.Speed = 75.0,
    bars: words.Bars = None,
    part: words.PartName = None,
    times: words.Times = 4,
    two_ears: words.TwoEars = False,
) -> None:
    """Slow a recording down at the same pitch, and loop a part or some bars of it."""
    from liltwright import cli_says, jobs_around

    wanted = options.PracticeOptions(speed / 100.0, options.bars(bars), part, times, two_ears)
    with progress_on_stderr() as progress:
        made = jobs_around.practise(recording, out, wanted, progress=progress)
    cli_says.practised(made, speed=wanted.speed)


def player(
    change: Annotated[
        list[str] | None,
        typer.Option("--set", help='Change one setting: "highest_capo=7", "tunings_used=DADGAD".'),
    ] = None,
    show: Annotated[bool, typer.Option("--show", help="Only show what is kept.")] = False,
) -> None:
    """Tell once what you play: your tunings, hand, guitar and strings; rankings then fit you."""
    from liltwright import cli_says, jobs_around

    def ask(text: str, old: str) -> str:
        return str(typer.prompt(text, default=old))

    cli_says.profile(jobs_around.player(change or [], show=show, ask=ask, say=print))
