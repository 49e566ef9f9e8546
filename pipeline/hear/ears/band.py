"""The lead of a band: notes of the band's ear, brought to one octave.

Task   : samples of a band -> RawNotes of the leading line.
In     : float32 samples at network.SAMPLE_RATE.
Out    : RawNotes in order of onset, not overlapping.
Method : the network of models/band and the decoding of the solo ear. Players in octaves make the
         line leap from one octave to the other, and a flute or whistle alone may be heard an octave
         too low for a while: a best path over the octaves of each note weighs what the network
         believes of the other octave, and whether the odd harmonics of the lower one sound at
         all, against leaps wider than tunes have.
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
    SAMPLE_RATE,
    Evidence,
    Known,
    evidence,
)
from liltwright.hear.ears.raw import RawNote
from liltwright.progress import Progress, silent
from liltwright.units import midi_to_hz

SHIFTS = np.array((0, -12, 12))  # semitones that a note of the lead may be moved by
BELIEF_FLOOR, BELIEF = 0.01, 1.0
"""No octave is less probable than this; weight of the belief against the leaps."""
WIDE, LEAP = 7.0, 0.2
"""Price per semitone of a step beyond so many semitones."""
HOLLOW_DB, HOLLOW_WIDTH_DB, HOLLOW = -16.0, 4.0, 8.0
"""Where odd harmonics lie lower than the first, an octave up is likelier; fully so that much lower;
by how much. Each note with its neighbours: of a real player an octave below single notes lie at
-16 dB, of flutes and whistles heard an octave too low whole phrases at -18 dB and less. Chosen on
five development mixtures in octaves and two of the others."""
ODD_FRAME = 4096  # samples, 186 ms: lines of 5.4 Hz
REST_S = 1.0
"""After a rest of this length any leap is free."""


def band_notes(
    samples: np.ndarray, *, progress: Progress = silent, known: Known | None = None
) -> list[RawNote]:
    """The notes of the lead. `known`: see network.evidence."""
    beliefs = evidence(samples, progress=progress, model=BAND, known=known)
    notes = decode(beliefs)
    return one_octave(notes, beliefs, odd_db(samples, notes))


def odd_db(samples: np.ndarray, notes: list[RawNote]) -> np.ndarray:
    """Level in dB of the first three odd harmonics of each note, over that of the even ones.

    Far below 0 where the note sounds an octave higher. Shape (n_notes,); 0 where it cannot be told.
    """
    found = np.zeros(len(notes))
    if len(samples) < ODD_FRAME:
        return found
    window = np.hanning(ODD_FRAME).astype(np.float32)
    for k, note in enumerate(notes):
        middle = round((note.onset_s + note.offset_s) / 2 * SAMPLE_RATE)
        start = min(max(0, middle - ODD_FRAME // 2), len(samples) - ODD_FRAME)
        lines = np.abs(np.fft.rfft(samples[start : start + ODD_FRAME] * window))
        at = float(midi_to_hz(np.array(note.midi))) * ODD_FRAME / SAMPLE_RATE
        first = np.maximum(np.round(at * np.arange(1, 7)).astype(int) - 2, 0)
        if first[-1] + 5 > len(lines):
            continue
        heights = np.array([lines[one : one + 5].max() for one in first])
        odd, even = np.linalg.norm(heights[::2]), np.linalg.norm(heights[1::2])
        found[k] = 20 * np.log10((odd + 1e-9) / (even + 1e-9))
    return found


def one_octave(
    notes: list[RawNote], beliefs: Evidence, odd: np.ndarray | None = None
) -> list[RawNote]:
    """The notes with leaps between octaves put right where network and sound allow it.

    odd : as of `odd_db`; None where nothing is known of the sound
    """
    if len(notes) < 2:
        return notes
    gains = BELIEF * np.log(np.stack([_octaves(note, beliefs) for note in notes]))
    if odd is not None:
        padded = np.pad(odd, 1, mode="edge")
        around = np.median([padded[:-2], odd, padded[2:]], axis=0)
        gains[:, 2] += HOLLOW * np.clip((HOLLOW_DB - around) / HOLLOW_WIDTH_DB, 0.0, 1.0)
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
