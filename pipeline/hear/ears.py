"""The ears: our own network and, one option away, general trackers.

Task   : Audio -> RawNotes by the ear that the settings name.
Method : every ear ends in the same record, so that what follows does not know which one listened.
"""

from __future__ import annotations

from pipeline.hear import basic
from pipeline.hear.audio import Audio
from pipeline.hear.decode import own_notes
from pipeline.hear.events import Events
from pipeline.hear.f0 import pyin_track, swift_track
from pipeline.hear.raw import RawNote
from pipeline.hear.rescue import fill_in
from pipeline.hear.segment import segment
from pipeline.hear.settings import HearSettings
from pipeline.hear.tidy import tidy
from pipeline.progress import Progress, silent


def raw_notes(
    audio: Audio,
    events: Events,
    *,
    settings: HearSettings = HearSettings(),
    progress: Progress = silent,
) -> list[RawNote]:
    """Notes in order of onset, not overlapping, pitch on A4 = 440 Hz."""
    if settings.ear == "own":
        notes = fill_in(tidy(own_notes(audio.samples, progress=progress)), audio, events)
    elif settings.ear == "basic-pitch":
        notes = basic.one_voice(basic.beliefs(audio.samples, progress=progress))
    else:
        follow = pyin_track if settings.ear == "pyin" else swift_track
        notes = segment(follow(audio.samples, audio.sample_rate, progress=progress), events)
    return tidy(notes)
