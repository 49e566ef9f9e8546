"""How loud a pitch is, by its own harmonics alone.

Task   : samples, a pitch, a stretch of time -> the level of that pitch every 5.8 ms.
In     : float32 mono samples.
Out    : decibels per frame.
Method : short spectra; of each of the first harmonics the strongest line near where it should be;
         their energies added up. Breath, consonants, a room's noise and the neighbours' pitches
         count for little, so that the end of a note is seen where its own sound ends.
References: sums over harmonics: D. Hermes, "Measurement of pitch by subharmonic summation",
         JASA 83, 1988 (the idea; here for a pitch that is known).
"""

from __future__ import annotations

import numpy as np

from liltwright.hear.audio.pieces import bell, cut
from liltwright.units import midi_to_hz

WINDOW, TRANSFORM = 1024, 2048  # samples at 22050 Hz: 46 ms, and with zeros to twice that
HOP = 128  # samples between frames, 5.8 ms
HARMONICS = 6  # of a note; higher ones are lost in a phone's recording
HIGHEST_SHARE = 0.488
"""Of the transform; just below half the sample rate."""
HALF_WIDTH_SEMITONES = 0.6  # about a harmonic that is taken as its own


def frame_spectra(samples: np.ndarray, first: int, last: int) -> np.ndarray:
    """Power of frames first to last - 1, frame i centred on sample i * HOP; (frames, lines)."""
    from scipy.fft import rfft

    start, stop = first * HOP - WINDOW // 2, (last - 1) * HOP + WINDOW // 2
    frames = np.lib.stride_tricks.sliding_window_view(cut(samples, start, stop), WINDOW)[::HOP]
    lines = rfft(frames * bell(WINDOW), TRANSFORM, axis=1)
    return (lines.real**2 + lines.imag**2).astype(np.float32)


def level_db(power: np.ndarray, midi: float, sample_rate: int) -> np.ndarray:
    """Level in dB of a pitch in every frame of frame_spectra, shape (frames,)."""
    hz = float(midi_to_hz(midi))
    wide = 2 ** (HALF_WIDTH_SEMITONES / 12) - 1
    total = np.full(len(power), 1e-9, dtype=np.float64)
    for number in range(1, HARMONICS + 1):
        centre = number * hz * TRANSFORM / sample_rate
        if centre > HIGHEST_SHARE * TRANSFORM:
            break
        reach = max(2.0, centre * wide)
        low, high = int(centre - reach), int(np.ceil(centre + reach)) + 1
        total += power[:, max(low, 0) : high].max(axis=1)
    return np.asarray(10 * np.log10(total))
