"""Conversions between units: the only place with 440 and 69.

Method: equal temperament with A4 = MIDI note 69 = 440 Hz (ISO 16:1975).
Every function takes a number or an array and returns the same shape.
"""

from fractions import Fraction
from typing import TypeVar

import numpy as np

A4_HZ = 440.0  # concert pitch (ISO 16)
A4_MIDI = 69  # number of that note (MIDI 1.0)

Number = TypeVar("Number", float, np.ndarray)


def hz_to_midi(frequency_hz: Number) -> Number:
    """Fractional MIDI note number of a frequency in Hz; NaN where the frequency is not positive."""
    with np.errstate(divide="ignore", invalid="ignore"):
        midi = A4_MIDI + 12.0 * np.log2(np.asarray(frequency_hz, dtype=float) / A4_HZ)
        midi = np.where(np.isfinite(midi), midi, np.nan)
    return midi if isinstance(frequency_hz, np.ndarray) else float(midi)  # type: ignore[return-value]


def midi_to_hz(pitch_midi: Number) -> Number:
    """Frequency in Hz of a (fractional) MIDI note number."""
    return A4_HZ * 2.0 ** ((pitch_midi - A4_MIDI) / 12.0)


def whole_notes_to_seconds(length: Fraction, beat: Fraction, beats_per_minute: float) -> float:
    """Seconds that a score length (fraction of a whole note) lasts at a tempo of `beat` units."""
    return float(length / beat) * 60.0 / beats_per_minute
