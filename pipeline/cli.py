"""The command line: parse, one call, print. Errors are translated here and nowhere else."""

from __future__ import annotations

import io
import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from liltwright import cli_words as words
from liltwright import options
from liltwright.errors import PipelineError
from liltwright.stopping import stopped_words

STOPPED = 130
"""Exit code of a program that was stopped by Ctrl-C: 128 + SIGINT."""

app = typer.Typer(
    name="liltwright",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="From a dance tune hummed or played into a phone to a solo fingerstyle arrangement: "
    "the notes, the bars, the key, the tuning and capo where it sits, and tab in layers.",
    epilog="You must have the right to use the recording that you load. "
    "Tune strings down rather than up, and stop when a hand hurts.",
)


@app.command()
def arrange(
    source: words.Source,
    out: words.Out = None,
    replace: words.Replace = False,
    ear: words.Ear = "own",
    type: words.Type = None,
    metre: words.Metre = None,
    key: words.Key = None,
    tempo: words.Tempo = None,
    octave: words.Octave = None,
    first_bar: words.FirstBar = None,
    title: words.Title = None,
    take: words.Take = None,
    concert: words.Concert = None,
    band: words.Band = None,
    from_: words.From = None,
    to: words.To = None,
    band_chords: words.BandChords = False,
    tuning: words.Tuning = None,
    capo: words.Capo = None,
    sound_in: words.SoundIn = None,
    move: words.Move = 0,
    setups: words.Setups = 1,
    matters: words.Matters = None,
    wide: words.Wide = False,
    force: words.Force = False,
    effort: words.Effort = "as is",
    ornaments: words.Ornaments = False,
    suggest: words.Suggest = False,
    rounds: words.Rounds = None,
    lines: words.Lines = "",
    pin: words.Pins = None,
    keep_from: words.KeepFrom = None,
    sheets: words.Sheets = True,
    sound: words.Sound = True,
    report: words.Report = True,
    paper: words.Paper = "a4",
    practice: words.Practice = False,
) -> None:
    """Do the whole job: hear the tune, find where it sits, write tab, sheets and sound."""
    from liltwright import jobs

    known = options.TuneOptions(
        ear, type, metre, key, tempo, octave, first_bar, title, take, concert,
        options.players(band), from_, to,
    )  # fmt: skip
    wanted = options.guitar(tuning, capo, sound_in, setups, matters, wide, force)
    layers = options.LayerOptions(
        effort, ornaments, rounds, move, options.pins(pin), suggest=suggest, lines=lines
    )
    files = options.OutputOptions(sheets, sound, report, paper, practice)
    jobs.arrange(source, out, replace, known, wanted, layers, files, keep_from)


@app.command()
def unpick(
    source: words.Page,
    out: words.Out = None,
    replace: words.Replace = False,
    type: words.Type = None,
    metre: words.Metre = None,
    key: words.Key = None,
    tempo: words.Tempo = None,
    title: words.Title = None,
    tuning: words.Tuning = None,
    capo: words.Capo = None,
    ignore_voices: words.IgnoreVoices = False,
    part_of: words.PartOf = None,
    anew: words.Anew = True,
    sheets: words.Sheets = True,
    sound: words.Sound = True,
    report: words.Report = True,
    paper: words.Paper = "a4",
    practice: words.Practice = False,
) -> None:
    """Take a finished tablature apart into tune and bass, with stages to learn it by."""
    from liltwright import jobs
    from liltwright.unpicking import PageOptions

    known = options.TuneOptions(
        tune_type=type, meter=metre, key=key, beats_per_minute=tempo, title=title
    )
    page = PageOptions(
        tuning=tuning, capo=capo, ignore_voices=ignore_voices, said=tuple(part_of or ())
    )
    files = options.OutputOptions(sheets, sound, report, paper, practice)
    jobs.unpick(source, out, replace, known, page, files, other=anew)


@app.command()
def listen(
    recording: words.Recording,
    out: words.OutIfWanted = None,
    replace: words.Replace = False,
    as_json: words.AsJson = False,
    ear: words.Ear = "own",
    type: words.Type = None,
    metre: words.Metre = None,
    key: words.Key = None,
    tempo: words.Tempo = None,
    octave: words.Octave = None,
    first_bar: words.FirstBar = None,
    title: words.Title = None,
    take: words.Take = None,
    concert: words.Concert = None,
    band: words.Band = None,
    from_: words.From = None,
    to: words.To = None,
    band_chords: words.BandChords = False,
) -> None:
    """Only write down the tune: notes, bars, parts and key of a recording."""
    from liltwright import jobs

    known = options.TuneOptions(
        ear, type, metre, key, tempo, octave, first_bar, title, take, concert,
        options.players(band), from_, to,
    )  # fmt: skip
    jobs.listen(recording, out, replace, known, as_json=as_json)


@app.command()
def tunings(
    source: words.Source,
    as_json: words.AsJson = False,
    key: words.Key = None,
    octave: words.Octave = None,
    tuning: words.Tuning = None,
    capo: words.Capo = None,
    sound_in: words.SoundIn = None,
    matters: words.Matters = None,
    wide: words.Wide = False,
    force: words.Force = False,
) -> None:
    """Rank the tunings and capos for a tune, with the reasons."""
    from liltwright import jobs

    known = options.TuneOptions(key=key, octave_shift=octave)
    wanted = options.guitar(tuning, capo, sound_in, 1, matters, wide, force)
    jobs.tunings(source, known, wanted, as_json=as_json)


@app.command()
def tab(
    source: words.Source,
    tuning: words.Tuning = None,
    capo: words.Capo = None,
    sound_in: words.SoundIn = None,
    force: words.Force = False,
    move: words.Move = 0,
    layer: words.Layer = "plain-bass",
    effort: words.Effort = "as is",
    ornaments: words.Ornaments = False,
    suggest: words.Suggest = False,
    rounds: words.Rounds = None,
    lines: words.Lines = "",
    pin: words.Pins = None,
    keep_from: words.KeepFrom = None,
    out: words.LayerOut = None,
    paper: words.Paper = "a4",
    hands: words.Hands = False,
    as_json: words.AsJson = False,
    key: words.Key = None,
    octave: words.Octave = None,
) -> None:
    """Print one layer of a tune as tab, on the tuning and capo that you name or on the best."""
    from liltwright import jobs

    known = options.TuneOptions(key=key, octave_shift=octave)
    wanted = options.guitar(tuning, capo, sound_in, 1, None, False, force)
    jobs.tab(
        source,
        known,
        wanted,
        options.LayerOptions(effort, ornaments, rounds, move, options.pins(pin), suggest=suggest),
        layer,
        out,
        paper=paper,
        as_json=as_json,
        hands=hands,
        keep_from=keep_from,
    )


@app.command()
def compare(
    source: words.Source,
    other: words.Other,
    tuning: words.Tuning = None,
    capo: words.Capo = None,
    other_capo: words.OtherCapo = None,
    layer: words.Layer = "plain-bass",
    key: words.Key = None,
    octave: words.Octave = None,
) -> None:
    """Set one layer in two tunings side by side, bar by bar."""
    from liltwright import jobs

    known = options.TuneOptions(key=key, octave_shift=octave)
    first = options.GuitarOptions(tuning=tuning, capo=capo)
    second = options.GuitarOptions(tuning=other, capo=other_capo)
    jobs.compare(source, known, first, second, options.plain_layer(layer))


@app.command(name="set")
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
    from liltwright import jobs

    jobs.plan_set(
        sources,
        options.guitars(tuning, capo, sound_in, len(sources)),
        keep_order=keep_order,
        lift=not any_lift,
        plans=plans,
        out=out,
        replace=replace,
        take=take,
        layers=options.LayerOptions(effort=effort, rounds=rounds),
        output=options.OutputOptions(sheets, sound, paper=paper),
    )


@app.command()
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


@app.command()
def page(
    folder: words.PageFolder = Path("tunes"),
    port: words.Port = 0,
    no_browser: words.NoBrowser = False,
    share: words.Share = False,
) -> None:
    """Open the local page over a folder of tunes: hum, look, mend, choose, listen, print."""
    from liltwright.page.serve import serve

    serve(folder, port=port, browser=not no_browser, share=share)


@app.command()
def restore(
    folder: Annotated[Path, typer.Argument(help="A folder that an earlier run wrote into.")],
) -> None:
    """Bring back the files that the last run replaced; once more undoes it."""
    from liltwright import jobs

    jobs.bring_back(folder)


@app.command()
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
    from liltwright import jobs

    wanted = options.PracticeOptions(speed / 100.0, options.bars(bars), part, times, two_ears)
    jobs.practise(recording, out, wanted)


@app.command()
def player(
    change: Annotated[
        list[str] | None,
        typer.Option("--set", help='Change one setting: "highest_capo=7", "tunings_used=DADGAD".'),
    ] = None,
    show: Annotated[bool, typer.Option("--show", help="Only show what is kept.")] = False,
) -> None:
    """Tell once what you play: your tunings, hand, guitar and strings; rankings then fit you."""
    from liltwright import jobs

    jobs.player(change or [], show=show, ask=lambda text, old: typer.prompt(text, default=old))


def main() -> None:
    """Run the command line; one sentence and the right exit code for every fault of the input."""
    for stream in (sys.stdout, sys.stderr):  # a name of a file need not be text
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    try:
        app()
    except PipelineError as fault:
        print(f"liltwright: {fault}", file=sys.stderr)
        sys.exit(fault.exit_code)
    except SystemExit as stop:
        if stop.code == STOPPED:  # typer turns Ctrl-C into this
            print(stopped_words(), file=sys.stderr, flush=True)
            os._exit(STOPPED)  # an orderly exit now and then ends with another code
        raise
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)


if __name__ == "__main__":
    main()
