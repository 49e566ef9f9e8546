"""Taking things in: a recording, a tune file or a finished tab becomes a folder on the shelf.

In: a file on disk with the name that its owner gave it; a PageTask to report to. Out: the
identifier of the new tune.
Method: the library's stages as on the command line; the recording is put beside the tune as a file
of the user's, so that later runs keep it and find it again by its checksum.
"""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from liltwright import run
from liltwright.errors import PipelineError
from liltwright.guitar.player import Player
from liltwright.limits import clean
from liltwright.options import OutputOptions, TuneOptions
from liltwright.page.shelf import Shelf, identifier
from liltwright.page.stages import PREFIX
from liltwright.page.tasks import PageTask
from liltwright.write.folder.ledger import is_plain_name

if TYPE_CHECKING:
    from liltwright.hear.audio.recording import Audio

PICTURE_WIDTH = 1600  # columns of the picture of what was heard
PICTURE_LOW, PICTURE_HIGH = 45.0, 92.0
"""A2 to G#6: any voice or whistle."""


def safe_name(given: str) -> str:
    """A plain file name of what a browser calls a file."""
    name = clean(given.replace("\\", "/").rpartition("/")[2], 120).strip().lstrip(".")
    name = "".join("-" if sign in '/\\:*?"<>|' or ord(sign) < 32 else sign for sign in name)
    while len(name.encode()) > 150:
        name = name[1:]
    return name if is_plain_name(name) else "recording"


def take_in(shelf: Shelf, path: Path, name: str, known: TuneOptions, task: PageTask) -> str:
    """A recording or a tune file becomes a tune on the shelf."""
    from liltwright.hear.audio.recording import load_audio
    from liltwright.write.files import tune_files
    from liltwright.write.folder.save import save

    recorded = not run.is_written_tune(path)
    title = known.title or run.title_of(Path(name))
    if recorded:
        task.progress("reading the recording", 0.02)
        audio = load_audio(path)
        task.picture, task.picture_s = first_picture(audio), audio.duration_s
        tune = run.tune_of_audio(audio, known, title, task.progress)
    else:
        tune = run.find_tune(path, known, task.progress).tune
    if not tune.title:
        tune = replace(tune, title=title)
    if recorded or not tune.source.file:
        tune = replace(tune, source=replace(tune.source, file=name))
    task.progress("keeping the tune", 0.97)
    folder = shelf.new_folder(tune.title)
    try:
        if recorded:
            shutil.copyfile(path, folder / name)
        save(tune_files(tune), folder)
    except BaseException as fault:
        shutil.rmtree(folder, ignore_errors=True)  # made a moment ago, nothing of the user's in it
        if isinstance(fault, OSError):
            raise PipelineError(
                f"The tune could not be kept ({(fault.strerror or str(fault)).lower()}): "
                "free some space."
            ) from fault
        raise
    return identifier(folder.name)


def take_apart(shelf: Shelf, path: Path, name: str, player: Player, task: PageTask) -> str:
    """A finished tab becomes a tune with stages on the shelf."""
    from liltwright.unpicking import PageOptions, unpick_file
    from liltwright.write.folder.save import save

    done = unpick_file(
        path, player=player, known=TuneOptions(title=run.title_of(Path(name))),
        page=PageOptions(), output=OutputOptions(sound=False, sheets=True, report=True),
        progress=task.progress,
    )  # fmt: skip
    task.progress("keeping the tune", 0.97)
    folder = shelf.new_folder(done.found.tune.title or run.title_of(Path(name)))
    try:
        shutil.copyfile(path, folder / f"{PREFIX}{name}")
        save(done.files, folder)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    task.step = "stages"
    return identifier(folder.name)


def first_picture(audio: Audio) -> bytes:
    """The whole recording as a picture: time to the right, pitch upward, dark where it sounds."""
    from liltwright.write.report.picture import grey_png, salience_of

    strength = salience_of(audio.samples, audio.sample_rate, PICTURE_LOW, PICTURE_HIGH).strength
    step = max(1, -(-len(strength) // PICTURE_WIDTH))
    spare = (-len(strength)) % step
    padded = np.pad(strength, ((0, spare), (0, 0)))
    peaks = padded.reshape(-1, step, padded.shape[1]).max(axis=1)
    shade = 255 - (225 * np.clip(peaks.T[::-1], 0.0, 1.0) ** 0.8).astype(np.uint8)
    return grey_png(shade)
