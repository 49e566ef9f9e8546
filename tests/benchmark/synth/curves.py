"""Task: control curves of one melodic line: loudness and pitch over time, and a harmonic bank.

Units: control curves run at CONTROL_HZ, audio at SAMPLE_RATE; pitch in MIDI numbers.
Method: pitch targets per stroke, smoothed; loudness as attack, hold and release per stroke;
    harmonics by the recurrence sin(k x) = 2 cos(x) sin((k - 1) x) - sin((k - 2) x).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from liltwright.units import midi_to_hz
from tests.benchmark.playing import Stroke

SAMPLE_RATE = 24_000
CONTROL_HZ = 480
STEP = SAMPLE_RATE // CONTROL_HZ


def frames(seconds: float) -> int:
    """Control frames in a time."""
    return round(seconds * CONTROL_HZ)


def to_audio(curve: np.ndarray) -> np.ndarray:
    """A control curve at the audio rate, linearly interpolated; float32."""
    at = np.arange(len(curve) * STEP) / STEP
    return np.interp(at, np.arange(len(curve)), curve).astype(np.float32)


def smooth(curve: np.ndarray, seconds: float) -> np.ndarray:
    """The curve under a Hann window of that length."""
    size = max(int(seconds * CONTROL_HZ), 1)
    window = np.hanning(size + 2)[1:-1]
    padded = np.pad(curve, (size, size), mode="edge")
    return np.convolve(padded, window / window.sum(), mode="same")[size:-size]


def pitch_curve(
    strokes: Sequence[Stroke],
    length: int,
    rng: np.random.Generator,
    *,
    legato_s: float,
    scoop: float = 0.0,
    vibrato_cents: float = 0.0,
    vibrato_hz: float = 5.5,
    vibrato_after_s: float = 0.25,
    wobble_cents: float = 3.0,
) -> np.ndarray:
    """MIDI pitch per control frame; between strokes the next pitch is already taken.

    legato_s : how long a change of pitch inside a slur takes.
    scoop : standard deviation in semitones of how far below a note a singer starts.
    """
    curve = np.zeros(length)
    extra = np.zeros(length)
    end_before = 0
    for stroke in strokes:
        a, b = frames(stroke.onset_s), min(frames(stroke.offset_s), length)
        curve[end_before:b] = stroke.midi
        t = np.arange(max(b - a, 0)) / CONTROL_HZ
        dip = stroke.glide
        if not stroke.slurred and scoop:
            dip -= abs(rng.normal(0, scoop))
        extra[a:b] += dip * np.exp(-t / 0.045)
        width = vibrato_cents / 100 * float(rng.uniform(0.5, 1.3))
        grown = np.clip((t - vibrato_after_s) / 0.3, 0, 1)
        rate = vibrato_hz * float(rng.uniform(0.9, 1.1))
        extra[a:b] += width * grown * np.sin(2 * np.pi * rate * t + rng.uniform(0, 6))
        end_before = b
    curve[end_before:] = strokes[-1].midi
    noise = smooth(rng.normal(0, 1, length), 0.08) * wobble_cents / 100 * 4
    return smooth(curve, legato_s) + extra + noise


def loudness_curve(
    strokes: Sequence[Stroke],
    length: int,
    *,
    attack_s: float,
    release_s: float,
    dip: float = 0.0,
    dip_s: float = 0.03,
    decay_s: float = 0.0,
) -> np.ndarray:
    """Level per control frame, 0 to about 1.

    dip : how far the level falls at a new stroke that follows without a gap (bow change, tongue).
    decay_s : time constant of a level that falls inside each note; 0 keeps it.
    """
    curve = np.zeros(length)
    for stroke in strokes:
        a, b = frames(stroke.onset_s), min(frames(stroke.offset_s), length)
        if b <= a:
            continue
        t = np.arange(b - a) / CONTROL_HZ
        level = np.full(b - a, stroke.loudness)
        if decay_s:
            level = level * (0.55 + 0.45 * np.exp(-t / decay_s))
        if not stroke.slurred:
            sounding = a > 0 and curve[a - 1] > 0.05
            start = (1 - dip) * curve[a - 1] if sounding else 0.0
            rise = np.clip(t / (dip_s if sounding else attack_s), 0, 1)
            rise = np.sin(np.pi / 2 * rise)
            level = start + (level - start) * rise
        curve[a:b] = level
        tail = min(frames(release_s), length - b)
        if tail > 0:
            curve[b : b + tail] = level[-1] * np.cos(np.pi / 2 * np.arange(1, tail + 1) / tail)
    return curve


def harmonics(pitch: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Sum of harmonics.

    pitch : MIDI per control frame. weights : shape (n_harmonics, n_frames) or (n_harmonics, 1);
    harmonics above 10 kHz are faded out. Returns float32 audio.
    """
    hz = midi_to_hz(pitch)
    phase = 2 * np.pi * np.cumsum(np.interp(
        np.arange(len(pitch) * STEP) / STEP, np.arange(len(pitch)), hz)) / SAMPLE_RATE  # fmt: skip
    twice = (2 * np.cos(phase)).astype(np.float32)
    before, now = np.zeros(len(phase), np.float32), np.sin(phase).astype(np.float32)
    out = np.zeros(len(phase), np.float32)
    for k in range(1, len(weights) + 1):
        fade = np.clip((10_500 - k * hz) / 1500, 0, 1)
        if not fade.any():
            break
        out += to_audio(weights[k - 1] * fade) * now
        before, now = now, twice * now - before
    return out


def band_noise(length: int, low_hz: float, high_hz: float, rng: np.random.Generator) -> np.ndarray:
    """Noise between two frequencies, standard deviation 1, one sample per audio sample."""
    from scipy.signal import butter, sosfilt

    edges = [low_hz, min(high_hz, SAMPLE_RATE * 0.45)]
    sos = butter(2, edges, "band", fs=SAMPLE_RATE, output="sos")
    noise = sosfilt(sos, rng.normal(size=length))
    return (noise / max(float(noise.std()), 1e-9)).astype(np.float32)


def formants(
    hz: np.ndarray, centres: np.ndarray, widths: np.ndarray, gains: np.ndarray
) -> np.ndarray:
    """Gain of a row of resonances at frequencies; all arrays broadcast over (..., n_formants)."""
    away = (hz[..., None] - centres) / widths
    return (gains / (1 + away**2)).sum(axis=-1)
