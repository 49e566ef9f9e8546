"""The command line: parse, one call, print (cli_says.py). Errors are translated here alone."""

from __future__ import annotations

import io
import os
import sys

import typer

from liltwright import cli_around as around
from liltwright import cli_words as words
from liltwright import options
from liltwright.cli_faults import typed
from liltwright.errors import PipelineError
from liltwright.screen import progress_on_stderr
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
    from liltwright import cli_says, jobs

    known = options.TuneOptions(
        ear, type, metre, key, tempo, octave, first_bar, title, take, concert,
        options.players(band), from_, to, band_chords,
    )  # fmt: skip
    wanted = options.guitar(tuning, capo, sound_in, setups, matters, wide, force)
    layers = options.LayerOptions(
        effort, ornaments, rounds, move, options.pins(pin), suggest=suggest, lines=lines
    )
    files = options.OutputOptions(sheets, sound, report, paper, practice)
    with progress_on_stderr() as progress:
        made = jobs.arrange(
            source, out, replace, known, wanted, layers, files, keep_from, progress=progress
        )
    cli_says.arranged(made, setups=setups)


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
    from liltwright import cli_says, jobs
    from liltwright.unpicking import PageOptions

    known = options.TuneOptions(
        tune_type=type, meter=metre, key=key, beats_per_minute=tempo, title=title
    )
    page = PageOptions(
        tuning=tuning, capo=capo, ignore_voices=ignore_voices, said=tuple(part_of or ())
    )
    files = options.OutputOptions(sheets, sound, report, paper, practice)
    with progress_on_stderr() as progress:
        made = jobs.unpick(source, out, replace, known, page, files, other=anew, progress=progress)
    cli_says.taken_apart(made)


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
    from liltwright import cli_says, jobs

    known = options.TuneOptions(
        ear, type, metre, key, tempo, octave, first_bar, title, take, concert,
        options.players(band), from_, to, band_chords,
    )  # fmt: skip
    with progress_on_stderr() as progress:
        made = jobs.listen(recording, out, replace, known, progress=progress)
    cli_says.listened(made, as_json=as_json)


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
    from liltwright import cli_says, jobs

    known = options.TuneOptions(key=key, octave_shift=octave)
    wanted = options.guitar(tuning, capo, sound_in, 1, matters, wide, force)
    with progress_on_stderr() as progress:
        tune, ranking = jobs.tunings(source, known, wanted, progress=progress)
    cli_says.ranked(tune, ranking, as_json=as_json)


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
    from liltwright import cli_says, jobs

    known = options.TuneOptions(key=key, octave_shift=octave)
    wanted = options.guitar(tuning, capo, sound_in, 1, None, False, force)
    layers = options.LayerOptions(
        effort, ornaments, rounds, move, options.pins(pin), suggest=suggest, lines=lines
    )
    with progress_on_stderr() as progress:
        made = jobs.tab(
            source, known, wanted, layers, layer, out,
            paper=paper, hands=hands, keep_from=keep_from, progress=progress,
        )  # fmt: skip
    cli_says.tabbed(made, as_json=as_json, hands=hands)


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
    from liltwright import cli_says, jobs

    known = options.TuneOptions(key=key, octave_shift=octave)
    first = options.GuitarOptions(tuning=tuning, capo=capo)
    second = options.GuitarOptions(tuning=other, capo=other_capo)
    plain = options.plain_layer(layer)
    with progress_on_stderr() as progress:
        tune, comparison = jobs.compare(source, known, first, second, plain, progress=progress)
    cli_says.compared(tune, comparison)


app.command(name="set")(around.plan_set)
for _command in (around.gather, around.page, around.restore, around.practise, around.player):
    app.command()(_command)


def main() -> None:
    """Run the command line; one sentence and the right exit code for every fault of the input."""
    for stream in (sys.stdout, sys.stderr):  # a name of a file need not be text
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    try:
        app()
    except PipelineError as fault:
        print(f"liltwright: {typed(fault)}", file=sys.stderr)
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
