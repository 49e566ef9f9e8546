"""Task: the plain notes of a recording, ready for the rhythm.

In: Heard. Out: PlainNotes, arrays over the notes with role "note".
Method: ornaments are left out. A cut, tap or grace that runs straight into its note marks where
    the beat falls, so the note is taken to begin with it. Pitches are rounded to semitones after
    the concert pitch has been taken out; a slow drift of a singer is followed by a running median.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liltwright.tune import Heard, NoteEvent, Ornament

GRACE_S = 0.1  # a note that lasts no longer may be the grace of the next
TOUCH_S = 0.02  # seconds between notes that touch
SILENCE_S, LONG_SILENCE_S, SILENT_SHARE = 0.07, 0.12, 0.25
"""Silence that counts as a rest: a share of the gap within these bounds."""


@dataclass(frozen=True, slots=True)
class PlainNotes:
    """Plain notes in order of onset; arrays of shape (n_notes,)."""

    onset_s: np.ndarray
    offset_s: np.ndarray
    midi: np.ndarray
    """Whole MIDI numbers as heard."""
    confidence: np.ndarray
    ornament: tuple[Ornament | None, ...]
    again: tuple[tuple[float, float], ...] = ()
    """Moments at which a note may be struck again: seconds and belief, in order."""

    @property
    def silent(self) -> np.ndarray:
        """Whether a clear silence lies before the note, shape (n_notes,)."""
        gap = np.diff(self.onset_s)
        silence = self.onset_s[1:] - self.offset_s[:-1]
        return np.append(False, silence > np.clip(SILENT_SHARE * gap, SILENCE_S, LONG_SILENCE_S))

    def __len__(self) -> int:
        return len(self.onset_s)


def plain_notes(heard: Heard) -> PlainNotes:
    """Leave the ornaments out and round the pitches."""
    onset, offset, midi, confidence = [], [], [], []
    ornament: list[Ornament | None] = []
    again: list[tuple[float, float]] = []
    before: NoteEvent | None = None
    for note in heard.notes:
        if note.role == "note":
            onset.append(_beat_onset(before, note))
            offset.append(note.offset_s)
            midi.append(note.midi)
            confidence.append(note.confidence)
            ornament.append(note.ornament)
            if note.ornament not in ("roll", "triplet"):
                again += [(one.at_s, one.belief) for one in note.again]
        elif note.ornament in ("roll", "triplet") and offset:
            offset[-1] = max(offset[-1], note.offset_s)
        before = note
    return PlainNotes(
        np.array(onset, float),
        np.array(offset, float),
        np.round(np.array(midi, float)).astype(int),
        np.array(confidence, float),
        tuple(ornament),
        tuple(again),
    )


def _beat_onset(before: NoteEvent | None, note: NoteEvent) -> float:
    if (
        before is not None
        and before.role == "ornament"
        and before.ornament not in ("roll", "triplet")
        and note.onset_s - before.offset_s < TOUCH_S
        and note.onset_s - before.onset_s < GRACE_S
    ):
        return before.onset_s
    return note.onset_s
