"""The command line: parse, one call, print. Errors are translated here and nowhere else."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from pipeline import options
from pipeline.errors import PipelineError
from pipeline.tune import KeyName, TuneType

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

Source = Annotated[
    Path, typer.Argument(help="A recording, or a tune as .abc, .musicxml, .mid or tune.json.")
]
Recording = Annotated[Path, typer.Argument(help="A recording of one voice or instrument.")]
Out = Annotated[
    Path | None,
    typer.Option("--out", help="Folder to write into; without it, one named after the input."),
]
OutIfWanted = Annotated[Path | None, typer.Option("--out", help="Also write files, into here.")]
Replace = Annotated[
    bool, typer.Option("--replace", help="Write over files there, even those you edited.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the whole result as JSON instead.")]

Ear = Annotated[
    options.Ear,
    typer.Option(
        "--ear",
        parser=options.ear,
        metavar="EAR",
        help="What listens: own, swift-f0, basic-pitch or pyin.",
    ),
]
Type = Annotated[
    TuneType | None,
    typer.Option(
        "--type",
        parser=options.tune_type,
        metavar="TYPE",
        help="You know what it is: reel, jig, slip jig, hornpipe ...",
    ),
]
Metre = Annotated[
    str | None,
    typer.Option(
        "--metre", "--meter", parser=options.meter, metavar="6/8", help="You know the metre."
    ),
]
Key = Annotated[
    KeyName | None,
    typer.Option(
        "--key",
        parser=options.key,
        metavar="KEY",
        help="You know the key, like D:mixolydian or Em.",
    ),
]
Tempo = Annotated[
    float | None,
    typer.Option("--tempo", min=20, max=400, help="You know the speed, in beats a minute."),
]
Octave = Annotated[
    int | None,
    typer.Option(
        "--octave", min=-3, max=3, help="Write it this many octaves above what was heard."
    ),
]
FirstBar = Annotated[
    float | None,
    typer.Option(
        "--first-bar", min=0, help="Second of the recording where the first full bar starts."
    ),
]
Title = Annotated[str | None, typer.Option("--title", help="Name of the tune for the sheets.")]

Tuning = Annotated[
    str | None,
    typer.Option("--tuning", help="A tuning by name or as six notes, low to high: DADGAD."),
]
Capo = Annotated[
    int | None, typer.Option("--capo", min=0, max=12, help="Fret of the capo; 0 for none.")
]
SoundIn = Annotated[
    str | None, typer.Option("--sound-in", help='Move the tune to this key, like G; or "any".')
]
Setups = Annotated[
    int, typer.Option("--setups", min=1, max=9, help="Arrange for this many of the best setups.")
]
Matters = Annotated[
    list[str] | None,
    typer.Option("--matters", help="What matters more or less: flow=2, bass=0.5, ring=3."),
]
Wide = Annotated[
    bool, typer.Option("--wide", help="Search every tuning near standard, not only named ones.")
]
Effort = Annotated[
    options.Effort,
    typer.Option(
        "--effort",
        parser=options.effort,
        metavar="EFFORT",
        help="How hard it may be: easier, as-is or harder.",
    ),
]
Ornaments = Annotated[
    bool, typer.Option("--ornaments", help="Put cuts, rolls and triplets into the tab.")
]
Rounds = Annotated[
    str | None,
    typer.Option(
        "--rounds", help='The performance, a layer a round: "melody:p drone moving-bass:f".'
    ),
]
Layer = Annotated[
    str,
    typer.Option("--layer", parser=options.layer, metavar="LAYER", help="Which layer to print."),
]
Sound = Annotated[
    bool, typer.Option("--sound/--no-sound", help="Write the layers as sound to practise with.")
]
Sheets = Annotated[bool, typer.Option("--sheets/--no-sheets", help="Write sheets to print.")]
Report = Annotated[bool, typer.Option("--report/--no-report", help="Write the report page.")]
Paper = Annotated[
    str, typer.Option("--paper", parser=options.paper, metavar="PAPER", help="A4 or Letter.")
]


@app.command()
def arrange(
    source: Source,
    out: Out = None,
    replace: Replace = False,
    ear: Ear = "own",
    type: Type = None,
    metre: Metre = None,
    key: Key = None,
    tempo: Tempo = None,
    octave: Octave = None,
    first_bar: FirstBar = None,
    title: Title = None,
    tuning: Tuning = None,
    capo: Capo = None,
    sound_in: SoundIn = None,
    setups: Setups = 1,
    matters: Matters = None,
    wide: Wide = False,
    effort: Effort = "as is",
    ornaments: Ornaments = False,
    rounds: Rounds = None,
    sheets: Sheets = True,
    sound: Sound = True,
    report: Report = True,
    paper: Paper = "A4",
) -> None:
    """Do the whole job: hear the tune, find where it sits, write tab, sheets and sound."""
    from pipeline import jobs

    known = options.TuneOptions(ear, type, metre, key, tempo, octave, first_bar, title)
    wanted = options.guitar(tuning, capo, sound_in, setups, matters, wide)
    layers = options.LayerOptions(effort, ornaments, rounds)
    files = options.OutputOptions(sheets, sound, report, paper)
    jobs.arrange(source, out, replace, known, wanted, layers, files)


@app.command()
def listen(
    recording: Recording,
    out: OutIfWanted = None,
    replace: Replace = False,
    as_json: AsJson = False,
    ear: Ear = "own",
    type: Type = None,
    metre: Metre = None,
    key: Key = None,
    tempo: Tempo = None,
    octave: Octave = None,
    first_bar: FirstBar = None,
    title: Title = None,
) -> None:
    """Only write down the tune: notes, bars, parts and key of a recording."""
    from pipeline import jobs

    known = options.TuneOptions(ear, type, metre, key, tempo, octave, first_bar, title)
    jobs.listen(recording, out, replace, known, as_json=as_json)


@app.command()
def tunings(
    source: Source,
    as_json: AsJson = False,
    key: Key = None,
    octave: Octave = None,
    tuning: Tuning = None,
    capo: Capo = None,
    sound_in: SoundIn = None,
    matters: Matters = None,
    wide: Wide = False,
) -> None:
    """Rank the tunings and capos for a tune, with the reasons."""
    from pipeline import jobs

    known = options.TuneOptions(key=key, octave_shift=octave)
    wanted = options.guitar(tuning, capo, sound_in, 1, matters, wide)
    jobs.tunings(source, known, wanted, as_json=as_json)


@app.command()
def tab(
    source: Source,
    tuning: Tuning = None,
    capo: Capo = None,
    sound_in: SoundIn = None,
    layer: Layer = "plain-bass",
    effort: Effort = "as is",
    ornaments: Ornaments = False,
    rounds: Rounds = None,
    as_json: AsJson = False,
    key: Key = None,
    octave: Octave = None,
) -> None:
    """Print one layer of a tune as tab, on the tuning and capo that you name or on the best."""
    from pipeline import jobs

    known = options.TuneOptions(key=key, octave_shift=octave)
    wanted = options.guitar(tuning, capo, sound_in, 1, None, False)
    jobs.tab(
        source,
        known,
        wanted,
        options.LayerOptions(effort, ornaments, rounds),
        layer,
        as_json=as_json,
    )


@app.command()
def player(
    change: Annotated[
        list[str] | None,
        typer.Option("--set", help='Change one setting: "highest_capo=7", "tunings_used=DADGAD".'),
    ] = None,
    show: Annotated[bool, typer.Option("--show", help="Only show what is kept.")] = False,
) -> None:
    """Tell once what you play: your tunings, hand, guitar and strings; rankings then fit you."""
    from pipeline import jobs

    jobs.player(change or [], show=show, ask=lambda text, old: typer.prompt(text, default=old))


def main() -> None:
    """Run the command line; one sentence and the right exit code for every fault of the input."""
    try:
        app()
    except PipelineError as fault:
        print(f"liltwright: {fault}", file=sys.stderr)
        sys.exit(fault.exit_code)
    except KeyboardInterrupt:
        print("liltwright: stopped; nothing was written.", file=sys.stderr)
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)


if __name__ == "__main__":
    main()
