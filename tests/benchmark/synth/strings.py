"""Task: bowed and plucked strings.

In: strokes, length in seconds, a generator. Out: float32 audio at SAMPLE_RATE, peak about 1.
Method: bowed: a sawtooth through a fixed row of body resonances, a dip with noise at each bow
    change. Plucked: every note a sum of decaying partials of a stiff string, plucked at a point,
    that rings on until its string is needed again; hammer-ons are weaker and duller.
References: stiffness f_n = n f0 sqrt(1 + B n^2) (Fletcher & Rossing, The Physics of Musical
    Instruments); plucked at a share p of the string the partials go as sin(n pi p) / n^2.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from liltwright.units import midi_to_hz
from tests.benchmark.playing import Stroke
from tests.benchmark.synth.curves import (
    SAMPLE_RATE,
    band_noise,
    frames,
    harmonics,
    loudness_curve,
    pitch_curve,
    smooth,
    to_audio,
)


def fiddle(strokes: Sequence[Stroke], seconds: float, rng: np.random.Generator) -> np.ndarray:
    """A fiddle played near the middle of the bow."""
    n = frames(seconds)
    pitch = pitch_curve(
        strokes, n, rng, legato_s=0.014, vibrato_cents=float(rng.choice([0, 12, 25])),
        vibrato_after_s=0.22, wobble_cents=3,
    )  # fmt: skip
    level = loudness_curve(
        strokes, n, attack_s=0.025, release_s=0.05, dip=float(rng.uniform(0.45, 0.75)), dip_s=0.03
    )
    hz = midi_to_hz(pitch)
    numbers = np.arange(1, 31)[:, None]
    peaks = np.concatenate([[280, 460, 550], rng.uniform(800, 6000, 8)])
    gains = np.exp(rng.normal(0, 0.5, len(peaks)))
    at = numbers * hz
    body = sum(
        gain / (1 + ((at - peak) / (0.12 * peak)) ** 2)
        for gain, peak in zip(gains, peaks, strict=True)
    )
    weights = (body + 0.15) / numbers
    tone = harmonics(pitch, weights)
    scratch = np.zeros(n)
    for stroke in strokes:
        if not stroke.slurred:
            a = frames(stroke.onset_s)
            b = min(a + frames(0.035), n)
            scratch[a:b] = np.hanning(b - a + 2)[1:-1]
    noise = band_noise(len(tone), 1000, 6000, rng)
    shape = to_audio(smooth(level, 0.008))
    peak = float(np.abs(tone).max())
    return tone * shape + noise * peak * (0.012 * shape + 0.02 * to_audio(scratch))


def plucked(strokes: Sequence[Stroke], seconds: float, rng: np.random.Generator) -> np.ndarray:
    """A flat-top guitar, tune only; strings ring into each other."""
    total = int(seconds * SAMPLE_RATE)
    out = np.zeros(total + SAMPLE_RATE, np.float32)
    steel = rng.random() < 0.6
    point = float(rng.uniform(0.1, 0.25))
    brightness = float(rng.uniform(0.8, 1.3)) * (1.0 if steel else 0.7)
    ring = float(rng.uniform(0.05, 0.6))
    thump = band_noise(int(0.06 * SAMPLE_RATE), 80, 300, rng) * np.exp(
        -np.arange(int(0.06 * SAMPLE_RATE)) / (0.012 * SAMPLE_RATE)
    )
    for at, stroke in enumerate(strokes):
        free = _string_needed(strokes, at, seconds)
        length = stroke.offset_s - stroke.onset_s + ring * float(rng.uniform(0.3, 1.5))
        end = min(stroke.onset_s + length, max(free, stroke.onset_s + 0.02), seconds)
        note = _string(stroke, end - stroke.onset_s, steel, point, brightness, rng)
        a = int(stroke.onset_s * SAMPLE_RATE)
        out[a : a + len(note)] += note
        if not stroke.slurred:
            out[a : a + len(thump)] += (thump * 0.01 * stroke.loudness).astype(np.float32)
    return out[:total]


def _string_needed(strokes: Sequence[Stroke], at: int, never: float) -> float:
    """When the string of a stroke is played again: the same pitch, or a hammer-on from it."""
    for later in strokes[at + 1 : at + 12]:
        hammered = later.slurred and later is strokes[at + 1]
        if hammered or abs(later.midi - strokes[at].midi) < 0.6:
            return later.onset_s
    return never


def _string(
    stroke: Stroke,
    seconds: float,
    steel: bool,
    point: float,
    brightness: float,
    rng: np.random.Generator,
) -> np.ndarray:
    from scipy.signal import lfilter

    size = int((seconds + 0.02) * SAMPLE_RATE)
    hz = float(midi_to_hz(stroke.midi))
    stiff = (4e-5 if steel else 8e-5) * (hz / 200) ** 0.5
    impulse = np.zeros(size)
    impulse[0] = 1.0
    note = np.zeros(size)
    sustain = (2.2 if steel else 1.3) * (220 / hz) ** 0.4
    legato = 0.5 if stroke.slurred else 1.0
    for n in range(1, 26):
        f = n * hz * np.sqrt(1 + stiff * n * n)
        if f > 9000:
            break
        amplitude = np.sin(n * np.pi * point) / n ** (2 - 0.7 * brightness * legato)
        lasting = sustain / (1 + 0.22 * n) * rng.uniform(0.8, 1.2)
        radius = np.exp(-1 / (lasting * SAMPLE_RATE / 2))
        angle = 2 * np.pi * f / SAMPLE_RATE
        wave = lfilter([np.sin(angle)], [1, -2 * radius * np.cos(angle), radius**2], impulse)
        note += amplitude * wave
    if stroke.glide:
        note = _bent(note, stroke.glide)
    rise, fall = int(0.002 * SAMPLE_RATE), int(0.02 * SAMPLE_RATE)
    note[:rise] *= np.linspace(0, 1, rise)
    note[-fall:] *= np.linspace(1, 0, fall)
    return (note * stroke.loudness * (0.6 if stroke.slurred else 1.0)).astype(np.float32)


def _bent(note: np.ndarray, glide: float) -> np.ndarray:
    """The note read at a changing speed, so that it slides in from `glide` semitones away."""
    t = np.arange(len(note)) / SAMPLE_RATE
    speed = 2 ** (glide * np.exp(-t / 0.045) / 12)
    return np.interp(np.cumsum(speed) - speed[0], np.arange(len(note)), note)
