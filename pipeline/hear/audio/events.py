"""Where something begins: level and onset strength of a recording on a fine grid.

Task   : samples -> level in dB and onset strength every 5.8 ms.
In     : float32 mono samples at 22.05 kHz.
Out    : Events.
Method : log-magnitude spectral flux on semitone bands whose reference frame is widened by a
         maximum filter over frequency, so that vibrato and glides are not onsets; divided by
         what the recording shows most of the time, so that one threshold serves loud and soft.
References: S. Böck and G. Widmer, "Maximum filter vibrato suppression for onset detection",
         DAFx 2013. We use 23 ms windows for fast ornaments and a lag of 2 frames.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from liltwright.hear.audio.pieces import bell, cut

WINDOW = 512  # samples at 22050 Hz, 23 ms
HOP = 128  # samples between frames, 5.8 ms
LAG = 2  # frames that a rise is taken over
BLOCK_FRAMES = 1024  # frames worked on together, for bounded memory
BANDS_PER_OCTAVE = 12  # a semitone each
LOWEST_HZ = 120.0  # below it is hum of the room
HIGHEST_HZ = 10000.0  # above it a phone records little
MEDIAN_S = 1.5  # seconds about a frame by which its ordinary change is known
QUIET_FLUX = 0.01  # change of level that counts as none, in the flux's own unit


@dataclass(frozen=True, slots=True)
class Events:
    """Level and onset strength per frame of `hop_s`; frame i is centred on i * hop_s.

    level_db : loudness of the frame in dB below full scale, about -100 to 0
    strength : onset strength, 0 and up; inside notes mostly below 1, at clear attacks 2 to 20
    noise_db : level below which 5 % of the frames lie (the room)
    """

    hop_s: float
    level_db: np.ndarray
    strength: np.ndarray
    noise_db: float


def find_events(samples: np.ndarray, sample_rate: int) -> Events:
    """Level and onset strength of float32 samples of shape (n,)."""
    frames = len(samples) // HOP + 1
    level = np.empty(frames, dtype=np.float32)
    flux = np.zeros(frames, dtype=np.float32)
    bands = _bands(sample_rate)
    before = np.zeros((LAG, bands.shape[1]), dtype=np.float32)
    for first in range(0, frames, BLOCK_FRAMES):
        last = min(first + BLOCK_FRAMES, frames)
        power = powers(samples, first, last)
        level[first:last] = 10 * np.log10(power.sum(axis=1) / WINDOW**2 * 5.3 + 1e-10)
        loud = np.log10(1.0 + 1e4 * np.sqrt(power @ bands))
        joined = np.concatenate((before, loud))
        wide = joined[:-LAG].copy()
        wide[:, 1:] = np.maximum(wide[:, 1:], joined[:-LAG, :-1])
        wide[:, :-1] = np.maximum(wide[:, :-1], joined[:-LAG, 1:])
        flux[first:last] = np.maximum(loud - wide, 0.0).mean(axis=1)
        before = joined[-LAG:]
    return Events(HOP / sample_rate, level, _relative(flux, sample_rate), _noise(level))


def powers(samples: np.ndarray, first: int, last: int) -> np.ndarray:
    """Power spectra of frames first to last - 1, shape (frames, WINDOW // 2 + 1)."""
    from scipy.fft import rfft

    start = first * HOP - WINDOW // 2
    part = cut(samples, start, start + (last - first - 1) * HOP + WINDOW)
    windows = np.lib.stride_tricks.sliding_window_view(part, WINDOW)[::HOP]
    spectrum = rfft(windows * bell(WINDOW), axis=1)
    return (spectrum.real**2 + spectrum.imag**2).astype(np.float32)


@cache
def _bands(sample_rate: int) -> np.ndarray:
    """Shape (bins, bands): each bin belongs to one semitone-wide band (wider low down)."""
    hz = np.arange(WINDOW // 2 + 1) * sample_rate / WINDOW
    index = np.floor(BANDS_PER_OCTAVE * np.log2(np.maximum(hz, 1.0) / LOWEST_HZ)).astype(int)
    used = (hz >= LOWEST_HZ) & (hz <= HIGHEST_HZ)
    groups = np.unique(index[used])
    matrix = np.zeros((len(hz), len(groups)), dtype=np.float32)
    for column, group in enumerate(groups):
        members = used & (index == group)
        matrix[members, column] = 1.0 / (members.sum() * WINDOW**2)
    return matrix


def _relative(flux: np.ndarray, sample_rate: int) -> np.ndarray:
    """Flux in units of what the same recording shows inside notes, so that 1 is worth a look."""
    block = max(1, round(MEDIAN_S * sample_rate / HOP))
    count = -(-len(flux) // block)
    padded = np.pad(flux, (0, count * block - len(flux)), mode="edge").reshape(count, block)
    middles = (np.arange(count) + 0.5) * block
    ordinary = np.interp(np.arange(len(flux)), middles, np.quantile(padded, 0.75, axis=1))
    return (flux / (QUIET_FLUX + 1.5 * ordinary)).astype(np.float32)


def _noise(level_db: np.ndarray) -> float:
    return float(np.quantile(level_db, 0.05)) if len(level_db) else -100.0
