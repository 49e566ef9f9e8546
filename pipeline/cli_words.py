"""The words of the command line: every argument and option with its help, shared by commands."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from liltwright import options
from liltwright.counting import listed
from liltwright.tune import KeyName, TuneType
from liltwright.write.formats.table import LAYER_ENDINGS

Source = Annotated[
    Path, typer.Argument(help="A recording, or a tune as .abc, .musicxml, .mid or tune.json.")
]
Recording = Annotated[
    Path, typer.Argument(help="A recording of one voice or instrument, or of a band.")
]
Out = Annotated[
    Path | None,
    typer.Option("--out", help="Folder to write into; without it, one named after the input."),
]
OutIfWanted = Annotated[Path | None, typer.Option("--out", help="Also write files, into here.")]
Replace = Annotated[
    bool,
    typer.Option(
        "--replace", help="Give new files their names even where yours are; yours go beside."
    ),
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
Concert = Annotated[
    float | None,
    typer.Option("--concert", min=-100, max=100, help="Cents the recording lies above A = 440 Hz."),
]
Take = Annotated[
    int | None,
    typer.Option("--take", min=1, help="Which tune by its number, when there are several."),
]
Band = Annotated[
    bool | None,
    typer.Option(
        "--band/--solo",
        help="Several play and the lead is wanted, or one plays alone; found out if left away.",
    ),
]
BandChords = Annotated[
    bool,
    typer.Option("--band-chords", help="Take the chords that the band plays under the tune."),
]
From = Annotated[
    float | None,
    typer.Option(
        "--from",
        parser=options.seconds,
        metavar="1:15",
        help="Where in the recording to begin, as minutes and seconds.",
    ),
]
To = Annotated[
    float | None,
    typer.Option("--to", parser=options.seconds, metavar="2:40", help="Where to stop."),
]
Title = Annotated[str | None, typer.Option("--title", help="Name of the tune for the sheets.")]

Tuning = Annotated[
    str | None,
    typer.Option("--tuning", help="A tuning by name or as six notes, low to high: DADGAD."),
]
Capo = Annotated[
    int | None, typer.Option("--capo", min=0, max=11, help="Fret of the capo; 0 for none.")
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
Move = Annotated[
    int,
    typer.Option(
        "--move",
        min=-9,
        max=9,
        help="Same shapes, this many semitones up or down by the capo: -2 is a tone lower.",
    ),
]
Other = Annotated[str, typer.Option("--other", help="The second tuning.")]
OtherCapo = Annotated[
    int | None, typer.Option("--other-capo", min=0, max=11, help="The capo in the second tuning.")
]
KeepOrder = Annotated[
    bool, typer.Option("--keep-order", help="Play the tunes in the order that you name them.")
]
AnyLift = Annotated[bool, typer.Option("--any-lift", help="Keys need not lift from tune to tune.")]
SetOut = Annotated[
    Path | None,
    typer.Option("--out", help="Also write a plan into this folder: sheets, sound, performance."),
]
SetTuning = Annotated[
    list[str] | None,
    typer.Option(
        "--tuning", help='A tuning that stays: "DADGAD" for all, "2=DADGAD" for one tune.'
    ),
]
SetCapo = Annotated[
    list[str] | None,
    typer.Option("--capo", help='A capo that stays: "2" for all tunes, "1=0" for one.'),
]
TakePlan = Annotated[int, typer.Option("--take", min=1, max=9, help="Which plan to write.")]
Plans = Annotated[int, typer.Option("--plans", min=1, max=9, help="How many ways to show.")]
Speed = Annotated[
    float, typer.Option("--speed", min=25, max=150, help="Per cent of the recorded speed.")
]
Bars = Annotated[
    str | None, typer.Option("--bars", help="Bars as played, counted from 1, like 5-8.")
]
PartName = Annotated[str | None, typer.Option("--part", help="A part by its letter, like B.")]
Times = Annotated[int, typer.Option("--times", min=1, max=50, help="How often to play it.")]
TwoEars = Annotated[
    bool,
    typer.Option("--two-ears", help="Recording in the left ear, tune as written in the right."),
]
SoundFile = Annotated[
    Path | None, typer.Option("--out", help="Sound file to write: .ogg, .mp3 or .wav.")
]
Force = Annotated[
    bool,
    typer.Option("--force", help="Also use tunings that bring a string near its breaking pitch."),
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
    bool, typer.Option("--ornaments", help="Put the tune's cuts, rolls and triplets into the tab.")
]
Suggest = Annotated[
    bool,
    typer.Option("--suggest", help="Ornaments also where the type wants them and none is written."),
]
Hands = Annotated[
    bool,
    typer.Option("--hands", help="Text tab: write the fingers of both hands under the strings."),
]
Rounds = Annotated[
    str | None,
    typer.Option(
        "--rounds",
        help='The performance, a layer a round: "melody:p drone moving-bass:f/B=restless:mf"; '
        "after / what a part does instead.",
    ),
]
Lines = Annotated[
    str,
    typer.Option(
        "--lines",
        help='Bass line of the parts: still, steady or restless, or by part "A=restless B=still".',
    ),
]
Pins = Annotated[
    list[str] | None,
    typer.Option(
        "--pin",
        metavar="PLACE=WISH",
        help='Your hand: "5:1/4=string 4 fret 7", "5:0=bass string 6", "5-8=no finger 4", '
        '"5=chord Em", "5=keep"; again for more.',
    ),
]
KeepFrom = Annotated[
    Path | None,
    typer.Option(
        "--keep-from",
        help="Arrangement (.json) that kept bars come from; without it the folder's own.",
    ),
]
Layer = Annotated[
    str,
    typer.Option("--layer", parser=options.layer, metavar="LAYER", help="Which layer to print."),
]
LayerOut = Annotated[
    Path | None,
    typer.Option(
        "--out",
        help=f"Write it to a file: {listed(LAYER_ENDINGS)}.",
    ),
]
Sound = Annotated[
    bool, typer.Option("--sound/--no-sound", help="Write the layers as sound to practise with.")
]
Sheets = Annotated[bool, typer.Option("--sheets/--no-sheets", help="Write sheets to print.")]
Report = Annotated[bool, typer.Option("--report/--no-report", help="Write the report page.")]
Practice = Annotated[
    bool,
    typer.Option(
        "--practice",
        help="Also write each layer at 60, 75, 90 and 100 % with a quiet pulse to play along.",
    ),
]
Paper = Annotated[
    options.Paper,
    typer.Option("--paper", parser=options.paper, metavar="PAPER", help="a4 or letter."),
]

Inputs = Annotated[
    list[str],
    typer.Argument(
        help="Folders, globs in quotes, .txt lists with one path a line, or files; "
        "or the tables of shards, to merge them."
    ),
]
GatherOut = Annotated[
    Path, typer.Option("--out", help="Folder for the tunes' folders and tunes.parquet.")
]
ShardName = Annotated[
    str | None,
    typer.Option("--shard", metavar="I/N", help="Only this part, as 2/8; parts share one folder."),
]
Engine = Annotated[
    str, typer.Option("--engine", help="local: processes on this machine; dask: its workers.")
]
Scheduler = Annotated[
    str | None, typer.Option("--scheduler", metavar="ADDRESS", help="Of Dask: tcp://HOST:8786.")
]
Results = Annotated[
    str | None,
    typer.Option(
        "--results",
        metavar="ADDRESS",
        help="Put the tunes' folders at this fsspec address, like s3://bucket/folder.",
    ),
]
Level = Annotated[
    str,
    typer.Option("--level", help="How much for each file: tune, tunings or everything."),
]
Processes = Annotated[
    int | None,
    typer.Option("--processes", min=1, max=1024, help="Files at once; without it, one a core."),
]
Seconds = Annotated[
    float, typer.Option("--seconds", min=0.1, max=86400, help="How long one file may take.")
]
Memory = Annotated[
    float, typer.Option("--memory", min=0.5, max=1024, help="GiB that one file may use.")
]
Batch = Annotated[
    int, typer.Option("--batch", min=1, max=10000, help="Most files in one call of Dask.")
]
Retry = Annotated[bool, typer.Option("--retry", help="Also try the files again that failed.")]
Relatives = Annotated[
    bool,
    typer.Option("--relatives", help="Also find tunes with nearly the same melody."),
]
Page = Annotated[
    Path,
    typer.Argument(help="A finished arrangement: .musicxml, .mid, .abc or text tablature."),
]
IgnoreVoices = Annotated[
    bool,
    typer.Option(
        "--ignore-voices", help="Find tune and bass by the notes, whatever voices the page names."
    ),
]
PartOf = Annotated[
    list[str] | None,
    typer.Option(
        "--part-of",
        metavar="BAR:PLACE:STRING=PART",
        help="You know what a note is: 3:1/4:5=melody (or bass, or inner).",
    ),
]
Anew = Annotated[
    bool,
    typer.Option("--anew/--no-anew", help="Also arrange the bare tune where it sits best."),
]

PageFolder = Annotated[
    Path, typer.Argument(help="Folder of tunes; made when it is missing. Without it: tunes.")
]
Port = Annotated[int, typer.Option("--port", min=0, max=65535, help="Port; 0 for a free one.")]
NoBrowser = Annotated[bool, typer.Option("--no-browser", help="Open no browser.")]
Share = Annotated[
    bool,
    typer.Option("--share", help="Let a phone in the same network in, with a one-time code."),
]
