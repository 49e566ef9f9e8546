"""The lead of a band: notes of the band's ear, brought to one octave.

Task   : samples of a band -> RawNotes of the leading line.
In     : float32 samples at network.SAMPLE_RATE.
Out    : RawNotes in order of onset, not overlapping.
Method : the network of models/band and the decoding of the solo ear, then one octave
         (one_octave.py), for which the odd harmonics of each note are measured.
"""

from __future__ import annotations

import numpy as np

from liltwright.hear.ears.decode import decode
from liltwright.hear.ears.network import BAND, SAMPLE_RATE, Known, evidence
from liltwright.hear.ears.one_octave import one_octave
from liltwright.hear.ears.raw import RawNote
from liltwright.progress import Progress, silent
from liltwright.units import midi_to_hz

ODD_FRAME = 4096  # samples, 186 ms: lines of 5.4 Hz


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
