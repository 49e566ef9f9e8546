"""Turning towards the lead of a band in a stereo recording.

Task   : mix the channels so that the lead stands out of the rest as far as it can.
In     : Audio with what its channels do not share, some notes of the lead.
Out    : Audio whose samples are the better mix; the Audio itself when none is much better.
Method : at the middle of every note the lines of the spectrum that are harmonics of the note are
         taken for the lead, all lines for everything. Of all mixes of the channels the one with
         the largest share of the lead is the first vector of a generalised eigenproblem of two by
         two matrices. Frames count alike, however loud.
References: largest ratio of signal to everything: B. Van Veen, K. Buckley, "Beamforming: a
         versatile approach to spatial filtering", IEEE ASSP Magazine 1988 (here with real weights
         and two channels).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liltwright.hear.audio.recording import Audio
from liltwright.hear.ears.raw import RawNote
from liltwright.units import midi_to_hz

FRAME = 4096  # samples, 186 ms: lines of 5.4 Hz
LOWEST_HZ, HIGHEST_HZ = 70.0, 5000.0  # lines outside are not looked at
HARMONICS = 12  # of a note, taken for the lead
NEAR_LINES = 1.5  # lines on either side of a harmonic that belong to it
FEWEST = 12  # notes; fewer tell no direction
WORTH = 1.12
"""The lead's share must grow by this factor."""


def facing_the_lead(audio: Audio, line: list[RawNote]) -> Audio:
    """The recording mixed for the lead.

    line : notes of the lead, times from the start of the recording, at least FEWEST
    """
    if audio.beside is None or len(line) < FEWEST:
        return audio
    lead, everything = _powers(audio, audio.beside, line)
    # whitened, so that an ordinary eigenproblem is left
    size, axes = np.linalg.eigh(everything)
    if size[0] <= 1e-6 * size[1]:
        return audio
    white = axes / np.sqrt(size)
    share, turned = np.linalg.eigh(white.T @ lead @ white)
    as_it_is = lead[0, 0] / everything[0, 0]
    if share[-1] < WORTH * as_it_is:
        return audio
    weights = white @ turned[:, -1]
    weights = weights * np.sign(weights[np.argmax(np.abs(weights))]) / np.abs(weights).sum()
    mixed = weights[0] * audio.samples + weights[1] * audio.beside.astype(np.float32)
    return replace(audio, samples=np.asarray(mixed, dtype=np.float32), beside=None)


def _powers(audio: Audio, beside: np.ndarray, line: list[RawNote]) -> tuple[np.ndarray, np.ndarray]:
    """Covariance of the two signals in the lead's lines and in all lines, each (2, 2)."""
    rate = audio.sample_rate
    hz = np.arange(FRAME // 2 + 1) * rate / FRAME
    inside = (hz >= LOWEST_HZ) & (hz <= HIGHEST_HZ)
    window = np.hanning(FRAME).astype(np.float32)
    lead, everything = np.zeros((2, 2)), np.zeros((2, 2))
    for note in line:
        middle = round((note.onset_s + note.offset_s) / 2 * rate)
        start = min(max(0, middle - FRAME // 2), max(0, len(audio.samples) - FRAME))
        span = slice(start, start + FRAME)
        both = np.stack([audio.samples[span], beside[span]]).astype(np.float32)
        if both.shape[1] < FRAME:
            continue
        lines = np.fft.rfft(both * window)[:, inside]
        whole = (lines @ lines.conj().T).real
        size = float(np.trace(whole))
        if size <= 0.0:
            continue
        order = hz[inside] / float(midi_to_hz(np.array(note.midi)))
        nearest = np.clip(np.round(order), 1, HARMONICS)
        width = NEAR_LINES * rate / FRAME / float(midi_to_hz(np.array(note.midi)))
        mine = lines[:, np.abs(order - nearest) <= width]
        lead += (mine @ mine.conj().T).real / size
        everything += whole / size
    return lead, everything
