"""The ears: our own network and, one option away, general trackers.

Task   : Audio -> RawNotes by the ear that the settings name.
In     : Audio of any length, its Events.
Out    : RawNotes in order of onset, not overlapping; every ear ends in the same record, so that
         what follows does not know which one listened.
Method : a long recording is listened to in pieces of a few minutes that overlap by some seconds,
         so that memory does not grow with it (its samples aside). Two pieces are joined in the
         middle of the longest note or rest of their overlap, where both have heard the same.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liltwright.hear.audio.events import HOP as EVENTS_HOP
from liltwright.hear.audio.events import Events
from liltwright.hear.audio.pieces import Piece, pieces
from liltwright.hear.audio.recording import Audio
from liltwright.hear.clean.rescue import fill_in
from liltwright.hear.clean.tidy import tidy
from liltwright.hear.ears import basic
from liltwright.hear.ears.band import band_notes
from liltwright.hear.ears.decode import own_notes
from liltwright.hear.ears.f0 import F0Track, pyin_track, swift_track
from liltwright.hear.ears.network import Known
from liltwright.hear.ears.raw import RawNote
from liltwright.hear.ears.segment import PYIN, SWIFT, segment
from liltwright.hear.settings import HearSettings
from liltwright.progress import Progress, silent

PIECE_S, OVERLAP_S = 150.0, 12.0
"""Seconds heard at once and by how many they overlap, for bounded memory."""
GRID_SAMPLES = 2560
"""Pieces start on this grid, a multiple of every hop, so that they hear what the whole hears."""


def raw_notes(
    audio: Audio,
    events: Events,
    *,
    settings: HearSettings = HearSettings(),
    progress: Progress = silent,
    known: Known | None = None,
) -> list[RawNote]:
    """Notes in order of onset, not overlapping, pitch on A4 = 440 Hz.

    known : what the program's own ears made of `first_piece` before
    """
    notes: list[RawNote] = []
    end_s = 0.0
    for number, piece in enumerate(_pieces(audio)):
        before = known if number == 0 else None
        found = _listen(audio, events, piece.start_s, piece.end_s, settings, before)
        notes = _joined(notes, found, piece.start_s, end_s) if notes else found
        end_s = piece.end_s
        progress("listening", min(1.0, piece.end_s / audio.duration_s))
    notes = tidy(notes)
    alone = settings.ear == "own" and settings.players != "band"
    return fill_in(notes, audio, events) if alone else notes


def _pieces(audio: Audio) -> tuple[Piece, ...]:
    grid_s = GRID_SAMPLES / audio.sample_rate
    return pieces(audio.duration_s, PIECE_S, OVERLAP_S, grid_s=grid_s)


def first_piece(audio: Audio) -> np.ndarray:
    """Samples of the first piece, from the start of the recording."""
    return audio.samples[: round(_pieces(audio)[0].end_s * audio.sample_rate)]


def _listen(
    audio: Audio,
    events: Events,
    start_s: float,
    end_s: float,
    settings: HearSettings,
    known: Known | None,
) -> list[RawNote]:
    """The notes of one piece, times from the start of the recording."""
    rate = audio.sample_rate
    part = audio.samples[round(start_s * rate) : round(end_s * rate)]
    if settings.ear in ("swift-f0", "pyin"):
        track = (pyin_track if settings.ear == "pyin" else swift_track)(part, rate)
        track = F0Track(track.times_s + start_s, track.pitch_midi, track.voiced)
        return segment(track, events, settings=PYIN if settings.ear == "pyin" else SWIFT)
    if settings.ear == "basic-pitch":
        notes = basic.one_voice(basic.beliefs(part))
    else:
        first = round(start_s * rate) // EVENTS_HOP
        if settings.players == "band":
            notes = band_notes(part, known=known)
        else:
            notes = own_notes(part, events, first, known=known)
    return [_later(note, start_s) for note in notes] if start_s else notes


def _later(note: RawNote, by_s: float) -> RawNote:
    again = tuple(replace(one, at_s=one.at_s + by_s) for one in note.again)
    return replace(note, onset_s=note.onset_s + by_s, offset_s=note.offset_s + by_s, again=again)


def _joined(
    before: list[RawNote], after: list[RawNote], start_s: float, end_s: float
) -> list[RawNote]:
    """Notes of two pieces that overlap from start_s to end_s."""
    low_s, high_s = start_s + 0.25 * (end_s - start_s), end_s - 0.25 * (end_s - start_s)
    onsets = [note.onset_s for note in (*before, *after) if low_s < note.onset_s < high_s]
    marks = np.array([low_s, *sorted(onsets), high_s])
    widest = int(np.argmax(np.diff(marks)))
    cut_s = float(marks[widest] + marks[widest + 1]) / 2
    return [note for note in before if note.onset_s < cut_s] + [
        note for note in after if note.onset_s >= cut_s
    ]
