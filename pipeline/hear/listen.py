"""Hearing: a recording of one melody -> its notes as performed.

Task   : find the notes of the tune, and what in the recording is not the tune.
In     : Audio.
Out    : Heard: notes in order of onset, never overlapping, concert pitch taken out.
Method : an ear finds raw notes (our own network, or a general tracker as an alternative); all that
         follows is the same for every ear: concert pitch and its drift.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.errors import PipelineError
from pipeline.hear.audio import Audio
from pipeline.hear.concert import concert_pitch
from pipeline.hear.ears import raw_notes
from pipeline.hear.events import find_events
from pipeline.hear.finepitch import measure_pitch
from pipeline.hear.octaves import octave_shifts
from pipeline.hear.ornaments import label_ornaments
from pipeline.hear.raw import RawNote
from pipeline.hear.settings import HearSettings
from pipeline.progress import Progress, silent
from pipeline.tune import Heard, NoteEvent

FEWEST_NOTES = 8
SURE_CLARITY = 0.5


def hear(
    audio: Audio, *, settings: HearSettings = HearSettings(), progress: Progress = silent
) -> Heard:
    """The notes of a recording. Raises PipelineError when there is no tune in it."""
    events = find_events(audio.samples, audio.sample_rate)
    raw = raw_notes(audio, events, settings=settings, progress=progress)
    if len(raw) < FEWEST_NOTES:
        raise PipelineError(
            f"{audio.source.file} holds no tune that can be followed (only {len(raw)} notes "
            f"found, at least {FEWEST_NOTES} are needed): hum, whistle or play one melody, close "
            "to the microphone."
        )
    raw = _with_fine_pitch(raw, audio)
    offsets = _offsets(raw)
    raw = [
        replace(note, midi=note.midi - cents / 100)
        for note, cents in zip(raw, offsets, strict=True)
    ]
    notes = tuple(_rounded(note) for note in label_ornaments(raw))
    return Heard(
        source=audio.source,
        notes=notes,
        tuning_offset_cents=round(float(np.mean(offsets)), 1),
        warnings=audio.warnings,
    )


def _with_fine_pitch(raw: list[RawNote], audio: Audio) -> list[RawNote]:
    """Notes with measured pitch and without octave errors."""
    measured = measure_pitch(audio.samples, audio.sample_rate, raw)
    shifts = octave_shifts(
        np.array([note.onset_s for note in raw]),
        np.array([note.offset_s for note in raw]),
        measured.midi,
        measured,
    )
    moved = [replace(note, midi=note.midi + shift) for note, shift in zip(raw, shifts, strict=True)]
    if shifts.any():
        measured = measure_pitch(audio.samples, audio.sample_rate, moved)
    return [
        replace(note, midi=float(fine)) if clarity > SURE_CLARITY else note
        for note, fine, clarity in zip(moved, measured.midi, measured.clarity, strict=True)
    ]


def _offsets(raw: list[RawNote]) -> np.ndarray:
    onset_s = np.array([note.onset_s for note in raw])
    length_s = np.array([note.offset_s for note in raw]) - onset_s
    weights = np.clip(length_s / 0.15, 0.1, 1.0) * np.array([note.confidence for note in raw])
    return concert_pitch(onset_s, np.array([note.midi for note in raw]), weights)


def _rounded(note: NoteEvent) -> NoteEvent:
    """Times to a tenth of a millisecond, pitch to a tenth of a cent."""
    return replace(
        note,
        onset_s=round(note.onset_s, 4),
        offset_s=round(note.offset_s, 4),
        midi=round(note.midi, 3),
        confidence=round(note.confidence, 3),
    )
