"""The ears: our own network and, one option away, general trackers.

Task   : Audio -> RawNotes by the ear that the settings name.
Method : every ear ends in the same record, so that what follows does not know which one listened.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from pipeline.hear import basic
from pipeline.hear.audio import Audio
from pipeline.hear.decode import own_notes
from pipeline.hear.events import Events
from pipeline.hear.f0 import pyin_track, swift_track
from pipeline.hear.raw import RawNote
from pipeline.hear.segment import segment
from pipeline.hear.settings import HearSettings
from pipeline.progress import Progress, silent

SHORTEST_S = 0.015


def raw_notes(
    audio: Audio,
    events: Events,
    *,
    settings: HearSettings = HearSettings(),
    progress: Progress = silent,
) -> list[RawNote]:
    """Notes in order of onset, not overlapping, pitch on A4 = 440 Hz."""
    if settings.ear == "own":
        notes = own_notes(audio.samples, progress=progress)
    elif settings.ear == "basic-pitch":
        notes = basic.one_voice(basic.beliefs(audio.samples, progress=progress))
    else:
        follow = pyin_track if settings.ear == "pyin" else swift_track
        notes = segment(follow(audio.samples, audio.sample_rate, progress=progress), events)
    return _tidy(notes)


def _tidy(notes: list[RawNote]) -> list[RawNote]:
    """In order, none overlapping the next, none too short to be one."""
    notes = sorted(notes, key=lambda note: note.onset_s)
    kept = [one for one in notes if one.offset_s - one.onset_s >= SHORTEST_S]
    ends = [min(a.offset_s, b.onset_s) for a, b in pairwise(kept)]
    ends += [note.offset_s for note in kept[-1:]]
    cut = [replace(note, offset_s=end_s) for note, end_s in zip(kept, ends, strict=True)]
    return [one for one in cut if one.offset_s - one.onset_s >= SHORTEST_S]
