"""Task: every file of one run, by name, as bytes; nothing touches the disk here.

In: the records of a run. Out: file name -> content, the names fixed by the project's contract
(tune.json, tune.abc, tunings.json, arrangement-N-LAYER.musicxml ...).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

from liltwright.options import OutputOptions
from liltwright.progress import Progress, silent
from liltwright.records import to_json
from liltwright.tab import Arrangement, Ranking
from liltwright.tune import Tune
from liltwright.write.formats.table import FORMATS, is_made

if TYPE_CHECKING:
    from liltwright.guitar.player import Player
    from liltwright.hear.audio.recording import Audio

Files = dict[str, bytes]


def render(
    tune: Tune,
    ranking: Ranking,
    arrangements: Sequence[Arrangement],
    audio: Audio | None,
    output: OutputOptions,
    player: Player,
    progress: Progress = silent,
    page: Sequence[str] = (),
) -> Files:
    """Every file of a run; `page` tells what a finished page is made of, for the report."""
    progress("writing notes and tab", 0.0)
    files = tune_files(tune)
    files["tunings.json"] = to_json(ranking).encode()
    for number, arrangement in enumerate(arrangements, 1):
        files |= arrangement_files(tune, arrangement, number)
    progress("drawing fretboard charts", 0.0)
    files |= chart_files(tune, arrangements, player)
    if output.sound:
        progress("plucking the layers", 0.0)
        files |= sound_files(tune, arrangements)
    if output.practice:
        progress("playing the layers slowly", 0.0)
        files |= practice_tracks(tune, arrangements, audio)
    if output.sheets or output.report:
        files |= drawn_files(
            tune, ranking, arrangements, audio, output, player, files, progress, page
        )
    return files


def chart_files(tune: Tune, arrangements: Sequence[Arrangement], player: Player) -> Files:
    """Where each arrangement's melody lies on the neck."""
    from liltwright.write.report.charts import fretboard_chart

    return {
        f"arrangement-{number}-fretboard.svg": fretboard_chart(
            tune, arrangement.setup, player=player
        ).encode()
        for number, arrangement in enumerate(arrangements, 1)
    }


def sound_files(tune: Tune, arrangements: Sequence[Arrangement]) -> Files:
    """Every layer and the performance as sound, encoded on two cores."""
    from liltwright.write.sound.encode import encode_audio
    from liltwright.write.sound.synth import layer_audio

    pending = {}
    with ThreadPoolExecutor(2) as encoder:
        for number, arrangement in enumerate(arrangements, 1):
            for name in layer_names(arrangement):
                sound = layer_audio(tune, arrangement, name)
                pending[f"arrangement-{number}-{name}.ogg"] = encoder.submit(
                    encode_audio, sound.samples, sound.sample_rate, "ogg"
                )
        return {name: data.result() for name, data in pending.items()}


def practice_tracks(tune: Tune, arrangements: Sequence[Arrangement], audio: Audio | None) -> Files:
    """Every layer at several speeds with a pulse; the recording against the tune as written."""
    from liltwright.write.sound.encode import encode_audio
    from liltwright.write.sound.practice import melody_against_recording, practice_files

    files: Files = {}
    for number, arrangement in enumerate(arrangements, 1):
        files |= practice_files(tune, arrangement, f"practice-{number}")
    if audio is not None and tune.bars_heard:
        both = melody_against_recording(tune, audio.samples, audio.sample_rate)
        files["melody-check.ogg"] = encode_audio(both, audio.sample_rate, "ogg")
    return files


def drawn_files(
    tune: Tune,
    ranking: Ranking,
    arrangements: Sequence[Arrangement],
    audio: Audio | None,
    output: OutputOptions,
    player: Player,
    written: Mapping[str, bytes],
    progress: Progress,
    page: Sequence[str] = (),
) -> Files:
    """Sheets to print and the report, from music that is engraved once for both."""
    from liltwright.write.engrave.sheets import lead_sheet_pdf, staged_pdf
    from liltwright.write.report.page import Recording, engrave_all, report_html

    progress("engraving", 0.0)
    drawn = engrave_all(tune, arrangements, paper=output.paper)
    files: Files = {}
    if output.sheets:
        files["tune.pdf"] = lead_sheet_pdf(
            tune, paper=output.paper, engraved=drawn.tune, chords_added=not tune.chords_typed
        )
        for number, (arrangement, music) in enumerate(
            zip(arrangements, drawn.layers, strict=True), 1
        ):
            sheet = staged_pdf(tune, arrangement, paper=output.paper, engraved=music)
            files[f"arrangement-{number}.pdf"] = sheet
    if output.report:
        progress("laying out the report", 0.0)
        report = report_html(
            tune,
            ranking,
            arrangements,
            recording=Recording(audio.samples, audio.sample_rate) if audio else None,
            engravings=drawn,
            files={**written, **files},
            player=player,
            page=page,
        )
        files["report.html"] = report.encode()
    return files


def tune_files(tune: Tune) -> Files:
    """The plain tune in every format, and the notes as performed."""
    from liltwright.write.formats.abc import tune_to_abc
    from liltwright.write.formats.midi import heard_to_midi, tune_to_midi
    from liltwright.write.formats.musicxml import tune_to_musicxml

    files = {
        "tune.json": to_json(tune).encode(),
        "tune.abc": tune_to_abc(tune).encode(),
        "tune.musicxml": tune_to_musicxml(tune),
        "tune.mid": tune_to_midi(tune),
    }
    if tune.heard:
        files["heard.mid"] = heard_to_midi(tune)
    return files


def arrangement_files(tune: Tune, arrangement: Arrangement, number: int) -> Files:
    """The layers of one arrangement and the performance, in every format of a run."""
    files = {f"arrangement-{number}.json": to_json(arrangement).encode()}
    for name in layer_names(arrangement):
        for kind in FORMATS:
            if kind.in_run and kind.layer:
                data = kind.layer(tune, arrangement, name)
                files[f"arrangement-{number}-{name}{kind.ending}"] = data
    if arrangement.lines:
        files[f"arrangement-{number}-lines.txt"] = lines_text(tune, arrangement).encode()
    return files


def lines_text(tune: Tune, arrangement: Arrangement) -> str:
    """The bass lines to choose from: what they do in each bar, then their tab."""
    from liltwright.arrange.lines import lines_words
    from liltwright.write.formats.tablature import layer_to_text

    rows = [
        "Bass lines to choose from: chords of each bar and, in brackets, the bass notes.",
        'Ask for one in a part as "A=restless B=still", or in a part of one round of the',
        'performance as "melody:p moving-bass:f/B=restless:mf". The melody keeps its fingers.',
        "",
        *lines_words(tune, arrangement),
    ]
    tabs = [layer_to_text(tune, arrangement, line.name) for line in arrangement.lines]
    return "\n\n\n".join(["\n".join(rows), *tabs])


def layer_names(arrangement: Arrangement) -> tuple[str, ...]:
    """The layers of an arrangement, then the performance made of them."""
    return (*(layer.name for layer in arrangement.layers), "performance")


def is_of_tune(name: str) -> bool:
    """Whether a file holds the plain tune, or what was heard, and no arrangement of it."""
    return name.startswith(("tune.", "heard.")) and not name.endswith(".pdf")


def is_left_out(name: str, output: OutputOptions) -> bool:
    """Whether a run with these options makes no file of this kind, whatever the tune."""
    if name.startswith(("practice-", "melody-check.")):
        return not output.practice
    return not is_made(name, output)
