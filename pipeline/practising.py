"""Task: a recording slowed down and looped at its own bar lines.

In: the recording, what to practise. Out: samples and a few words on what they are.
Method: the bars come from the tune.json of an earlier run on the same recording where there is
one in the folder named after it; otherwise the recording is listened to now.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, cast, get_args

import numpy as np

from liltwright import run
from liltwright.errors import PipelineError, UsageError, to_type
from liltwright.options import PracticeOptions, TuneOptions
from liltwright.progress import Progress, silent
from liltwright.tune import Tune
from liltwright.write.sound.encode import AudioKind
from liltwright.write.sound.practice import (
    Loop,
    bar_loop,
    loop_audio,
    melody_against_recording,
    part_loops,
    slowed,
)

if TYPE_CHECKING:
    from liltwright.hear.audio.recording import Audio


def sound_path(target: Path, recording: Path) -> AudioKind:
    """The kind of sound file that a name asks for. Raises UsageError for any other."""
    kind = target.suffix.lower().lstrip(".")
    if kind not in get_args(AudioKind):
        raise UsageError(f"{target} must end in .ogg, .mp3 or .wav.")
    if target.exists():
        raise UsageError(f"{target} is there already: choose another name{to_type('out')}.")
    return cast(AudioKind, kind)


def practice_name(recording: Path, wanted: PracticeOptions) -> str:
    """A name that says what is in the file: "hum-part-B-at-60.ogg"."""
    what = ""
    if wanted.bars:
        what = f"-bars-{wanted.bars[0]}-{wanted.bars[1]}"
    elif wanted.part:
        what = "-part-" + re.sub(r"\W+", "", wanted.part.upper())
    ears = "-two-ears" if wanted.two_ears else ""
    return f"{recording.stem}{what}{ears}-at-{100 * wanted.speed:.0f}.ogg"


def practice_sound(
    audio: Audio, recording: Path, wanted: PracticeOptions, progress: Progress = silent
) -> tuple[np.ndarray, str]:
    """The samples to practise with, shape (n,) or (n, 2), and what they are."""
    if not (wanted.bars or wanted.part or wanted.two_ears):
        return slowed(audio.samples, audio.sample_rate, wanted.speed), "the whole recording"
    tune = known_tune(audio, recording, progress)
    if wanted.two_ears:
        both = melody_against_recording(tune, audio.samples, audio.sample_rate)
        ears = [slowed(both[:, ear], audio.sample_rate, wanted.speed) for ear in (0, 1)]
        return np.stack(ears, axis=1), "recording left, tune as written right"
    loop = _loop(tune, wanted)
    samples = loop_audio(
        audio.samples, audio.sample_rate, tune, loop, speed=wanted.speed, times=wanted.times
    )
    often = "once" if wanted.times == 1 else f"{wanted.times} times over"
    return samples, f"{loop.name}, {often},"


def known_tune(audio: Audio, recording: Path, progress: Progress = silent) -> Tune:
    """The tune of a recording, from an earlier run on it or heard now."""
    stored = run.default_folder(recording) / "tune.json"
    if stored.is_file():
        from liltwright.tunefile import read_tune

        try:
            tune = read_tune(stored)
        except PipelineError:
            tune = None
        if tune is not None and tune.source.sha256 == audio.source.sha256:
            return tune
    return run.find_tune(recording, TuneOptions(), progress).tune


def _loop(tune: Tune, wanted: PracticeOptions) -> Loop:
    if wanted.bars:
        return bar_loop(tune, *wanted.bars)
    loops = part_loops(tune)
    name = (wanted.part or "").strip().upper()
    found = next((loop for loop in loops if loop.name.split(",")[0].upper() == name), None)
    if found is None:
        parts = ", ".join(dict.fromkeys(loop.name.split(",")[0] for loop in loops))
        raise UsageError(f'there is no part "{wanted.part}": the tune has {parts or "none"}.')
    return found
