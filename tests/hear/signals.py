"""Closed-form sounds for tests: every pitch and time in them is known exactly."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from liltwright.hear.audio.recording import Audio, audio_from_samples

RATE = 22050

# Our own little tune in D, 8 bars of a jig at an easy pace: MIDI numbers, 0.25 s each.
TUNE = (
    62, 66, 69, 74, 73, 71, 69, 66, 69, 71, 67, 64, 62, 66, 69, 74, 76, 78, 76, 74, 71, 69, 66, 64,
    66, 69, 71, 73, 74, 71, 69, 66, 64, 67, 71, 69, 66, 64, 62, 64, 66, 64, 61, 64, 62, 57, 62, 66,
)  # fmt: skip
STEP_S = 0.25


def tone(
    pitch_midi: np.ndarray | float, seconds: float, *, harmonics: int = 6, rate: int = RATE
) -> np.ndarray:
    """Harmonics of amplitude 1/h on a pitch that may move, float64, shape (seconds * rate,)."""
    pitch = np.broadcast_to(pitch_midi, (round(seconds * rate),))
    phase = 2 * np.pi * np.cumsum(440.0 * 2 ** ((pitch - 69) / 12)) / rate
    top = 440.0 * 2 ** ((float(pitch.max()) - 69) / 12)
    return sum(np.sin(h * phase) / h for h in range(1, harmonics + 1) if h * top < rate / 2)


def struck(samples: np.ndarray, *, rise_s: float = 0.008, fall_s: float = 0.03) -> np.ndarray:
    """The sound with a quick rise and a fall to silence."""
    rise, fall = round(rise_s * RATE), round(fall_s * RATE)
    shape = np.ones(len(samples))
    shape[:rise] = np.linspace(0, 1, rise)
    shape[-fall:] = np.linspace(1, 0, fall)
    return samples * shape


def line(
    pitches_midi: Sequence[float] = TUNE,
    *,
    step_s: float = STEP_S,
    lead_s: float = 0.3,
    shift: float = 0.0,
    harmonics: int = 6,
) -> np.ndarray:
    """Notes of equal length one after another, with a little room noise; float32."""
    notes = [struck(tone(midi + shift, step_s, harmonics=harmonics)) for midi in pitches_midi]
    silence = np.zeros(round(lead_s * RATE))
    samples = 0.3 * np.concatenate([silence, *notes, silence])
    return (samples + 2e-4 * np.random.default_rng(1).standard_normal(len(samples))).astype("f4")


def onsets(pitches_midi: Sequence[float] = TUNE, *, step_s: float = STEP_S, lead_s: float = 0.3):
    """True onset of every note of `line`, seconds, shape (n,)."""
    return lead_s + step_s * np.arange(len(pitches_midi))


def audio(samples: np.ndarray, rate: int = RATE) -> Audio:
    """The samples as a recording."""
    return audio_from_samples(samples, rate, name="closed form")
