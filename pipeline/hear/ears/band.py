"""The lead of a band: notes of the band's ear, brought to one octave.

Task   : samples of a band -> RawNotes of the leading line.
In     : float32 samples at network.SAMPLE_RATE.
Out    : RawNotes in order of onset, not overlapping.
Method : the network of models/band and the decoding of the solo ear. Players in octaves make the
         line leap from one octave to the other: a best path over the octaves of each note weighs
         what the network believes of the other octave against leaps wider than tunes have.
References: A. Viterbi, 1967; leaps of folk tunes: wider than a fifth in few per cent of the steps
         (D. Huron, "Sweet Anticipation", 2006, ch. 5, from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liltwright.hear.ears.decode import decode
from liltwright.hear.ears.network import (
    BAND,
    BINS_PER_SEMITONE,
    HOP_S,
    LOWEST_MIDI,
    N_PITCHES,
    Evidence,
    evidence,
)
from liltwright.hear.ears.raw import RawNote
from liltwright.progress import Progress, silent

SHIFTS = np.array((0, -12, 12))  # semitones that a note of the lead may be moved by
BELIEF_FLOOR, BELIEF = 0.01, 1.0
"""No octave is less probable than this; weight of the belief against the leaps."""
WIDE, LEAP = 7.0, 0.2
"""Price per semitone of a step beyond so many semitones."""
REST_S = 1.0
"""After a rest of this length any leap is free."""


def band_notes(samples: np.ndarray, *, progress: Progress = silent) -> list[RawNote]:
    """The notes of the lead."""
    beliefs = evidence(samples, progress=progress, model=BAND)
    return one_octave(decode(beliefs), beliefs)


def one_octave(notes: list[RawNote], beliefs: Evidence) -> list[RawNote]:
    """The notes with leaps between octaves put right where the network allows it."""
    if len(notes) < 2:
        return notes
    gains = BELIEF * np.log(np.stack([_octaves(note, beliefs) for note in notes]))
    midi = np.array([note.midi for note in notes])[:, None] + SHIFTS
    came = np.zeros(gains.shape, dtype=int)
    score = gains[0]
    for i in range(1, len(notes)):
        steps = np.abs(midi[i][None, :] - midi[i - 1][:, None])
        price = LEAP * np.maximum(steps - WIDE, 0.0)
        if notes[i].onset_s - notes[i - 1].offset_s > REST_S:
            price = price * 0.0
        table = score[:, None] - price
        came[i] = table.argmax(axis=0)
        score = table.max(axis=0) + gains[i]
    state, shifts = int(score.argmax()), np.zeros(len(notes))
    for i in range(len(notes) - 1, -1, -1):
        shifts[i] = SHIFTS[state]
        state = int(came[i, state])
    return [
        replace(note, midi=note.midi + float(by)) if by else note
        for note, by in zip(notes, shifts, strict=True)
    ]


def _octaves(note: RawNote, beliefs: Evidence) -> np.ndarray:
    """Mean belief in the note's pitch at each of SHIFTS, shape (3,)."""
    first = round(note.onset_s / HOP_S)
    last = max(round(note.offset_s / HOP_S), first + 1)
    mean = beliefs.pitch[first:last].mean(axis=0) if first < len(beliefs.pitch) else None
    found = np.full(len(SHIFTS), BELIEF_FLOOR)
    if mean is None:
        return found
    for k, by in enumerate(SHIFTS):
        at = round((note.midi + by - LOWEST_MIDI) * BINS_PER_SEMITONE) + 1
        if at - 2 >= 0 and at + 3 <= N_PITCHES:
            found[k] = max(float(mean[at - 2 : at + 3].sum()), BELIEF_FLOOR)
    return found
