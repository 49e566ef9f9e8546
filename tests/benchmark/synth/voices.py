"""Task: people without an instrument: humming, lilting with syllables, a few singers, whistling.

In: strokes, length in seconds, a generator. Out: float32 audio at SAMPLE_RATE, peak about 1.
Method: harmonics of a glottal slope shaped by moving formants; consonants as closures with a
    voice bar, bursts and nasal murmurs; drift and intonation come with the strokes.
References: vowel formants Peterson & Barney 1952 (men, rounded, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from liltwright.units import midi_to_hz
from tests.benchmark.playing import Stroke
from tests.benchmark.synth.curves import (
    SAMPLE_RATE,
    STEP,
    band_noise,
    formants,
    frames,
    harmonics,
    loudness_curve,
    pitch_curve,
    smooth,
    to_audio,
)

VOWELS = {
    "a": (730, 1090, 2440), "e": (530, 1840, 2480), "i": (270, 2290, 3010),
    "o": (570, 840, 2410), "u": (300, 870, 2240), "ə": (500, 1350, 2400),
}  # fmt: skip
GAINS = np.array([1.0, 0.45, 0.2])
WIDTHS = np.array([110.0, 150.0, 220.0])


def _shaped(
    pitch: np.ndarray, centres: np.ndarray, tilt: np.ndarray | float, count: int = 28
) -> np.ndarray:
    """Harmonic weights: slope of the source times the formants, shape (count, n_frames)."""
    hz = midi_to_hz(pitch)
    numbers = np.arange(1, count + 1)[:, None]
    at = numbers * hz[None, :]
    gain = formants(at, centres[None, :, :], WIDTHS, GAINS)
    return gain * numbers ** -np.asarray(tilt) + 0.002 / numbers


def inhaled(strokes: Sequence[Stroke], length: int, rng: np.random.Generator) -> np.ndarray:
    """Breath drawn in where the strokes leave room for it, against a voice of level 1."""
    shape = np.zeros(length)
    for before, after in pairwise(strokes):
        if after.onset_s - before.offset_s > 0.11:
            a, b = frames(before.offset_s + 0.02), frames(after.onset_s - 0.02)
            shape[a:b] = np.hanning(b - a) * float(rng.uniform(0.005, 0.025))
    return band_noise(length * STEP, 600, 4500, rng) * to_audio(shape)


def hum(strokes: Sequence[Stroke], seconds: float, rng: np.random.Generator) -> np.ndarray:
    """Closed lips: a low resonance, a dip, hardly anything above 1.5 kHz; a soft push per note."""
    n = frames(seconds)
    pitch = pitch_curve(
        strokes, n, rng, legato_s=float(rng.uniform(0.04, 0.08)), scoop=0.35,
        vibrato_cents=float(rng.choice([0, 10, 25])), wobble_cents=6,
    )  # fmt: skip
    level = loudness_curve(
        strokes, n, attack_s=float(rng.uniform(0.03, 0.06)), release_s=0.06,
        dip=float(rng.uniform(0.5, 0.85)), dip_s=0.05,
    )  # fmt: skip
    hz = midi_to_hz(pitch)
    at = np.arange(1, 16)[:, None] * hz
    nasal = 1 / (1 + ((at - 260) / 160) ** 2) + 0.10 / (1 + ((at - 1050) / 250) ** 2)
    body = harmonics(pitch, (nasal + 0.01) * np.arange(1, 16)[:, None] ** -0.6)
    breath = band_noise(len(body), 200, 1800, rng) * 0.012
    out = body * to_audio(smooth(level, 0.012)) + breath * to_audio(smooth(level, 0.1) + 0.2)
    return out + inhaled(strokes, n, rng) * float(np.abs(out).max())


def choir(strokes: Sequence[Stroke], seconds: float, rng: np.random.Generator) -> np.ndarray:
    """Four singers on one open vowel, each with an own pitch, start and vibrato."""
    n = frames(seconds)
    vowel = np.array(VOWELS[str(rng.choice(["a", "o", "u"]))], float)[None, :]
    out = np.zeros(n * STEP, np.float32)
    for _ in range(4):
        late = float(rng.uniform(-0.012, 0.03))
        pitch = pitch_curve(
            strokes, n, rng, legato_s=0.09, scoop=0.2, vibrato_cents=30,
            vibrato_hz=float(rng.uniform(4.8, 6.2)), wobble_cents=8,
        ) + rng.normal(0, 0.08)  # fmt: skip
        level = loudness_curve(strokes, n, attack_s=0.08, release_s=0.15, dip=0.4, dip_s=0.08)
        centres = vowel * float(rng.uniform(0.95, 1.15)) + np.zeros((n, 1))
        one = harmonics(pitch, _shaped(pitch, centres, 1.1, 20)) * to_audio(smooth(level, 0.03))
        shift = int(late * SAMPLE_RATE)
        out += np.roll(one, shift) * float(rng.uniform(0.7, 1.0))
    return out


def lips(strokes: Sequence[Stroke], seconds: float, rng: np.random.Generator) -> np.ndarray:
    """Whistling: nearly a sine, breath around it, sliding changes."""
    n = frames(seconds)
    pitch = pitch_curve(
        strokes, n, rng, legato_s=float(rng.uniform(0.03, 0.06)), scoop=0.25,
        vibrato_cents=float(rng.choice([0, 15, 40])), wobble_cents=5,
    )  # fmt: skip
    level = loudness_curve(
        strokes, n, attack_s=0.03, release_s=0.04, dip=float(rng.uniform(0.5, 0.9)), dip_s=0.035
    )
    weights = np.array([1.0, 0.03, 0.012])[:, None] + np.zeros((3, n))
    tone = harmonics(pitch, weights)
    low = float(midi_to_hz(np.array([stroke.midi for stroke in strokes]).min()))
    breath = band_noise(len(tone), low * 0.8, min(low * 4, 9000), rng)
    air = tone * 0 + breath * float(rng.uniform(0.02, 0.06))
    return (tone + air) * to_audio(smooth(level, 0.012))


# ---------------------------------------------------------------- lilting

STARTS = ("d", "d", "b", "n", "m", "l", "r", "j")
CLOSURE_S = {"d": (0.02, 0.05), "b": (0.025, 0.055), "n": (0.03, 0.06), "m": (0.03, 0.07),
             "l": (0.02, 0.04), "r": (0.02, 0.04), "j": (0.015, 0.03)}  # fmt: skip


def lilt(strokes: Sequence[Stroke], seconds: float, rng: np.random.Generator) -> np.ndarray:
    """Diddling syllables: every note a consonant and a vowel, often closed by m or n."""
    n = frames(seconds)
    pitch = pitch_curve(
        strokes, n, rng, legato_s=float(rng.uniform(0.02, 0.05)), scoop=0.45,
        vibrato_cents=float(rng.choice([0, 15])), wobble_cents=8,
    )  # fmt: skip
    level = loudness_curve(strokes, n, attack_s=0.02, release_s=0.05, dip=0.3, dip_s=0.02)
    size = float(rng.uniform(0.95, 1.2))
    centres = np.zeros((n, 3)) + np.array(VOWELS["ə"], float)
    dark = np.ones(n)
    bursts: list[tuple[int, float]] = []
    for stroke in strokes:
        _syllable(stroke, centres, dark, level, bursts, rng)
    centres = np.stack([smooth(centres[:, k], 0.035) for k in range(3)], axis=1) * size
    voiced = harmonics(pitch, _shaped(pitch, centres, 0.9 + 0.9 * (1 - smooth(dark, 0.02)), 30))
    out = voiced * to_audio(smooth(level, 0.008))
    noise = band_noise(len(out), 1800, 6000, rng)
    peak = float(np.abs(voiced).max())
    for at, strength in bursts:
        size_samples = min(int(0.012 * SAMPLE_RATE), len(out) - at)
        if size_samples > 0:
            fade = np.exp(-np.arange(size_samples) / (0.004 * SAMPLE_RATE))
            out[at : at + size_samples] += noise[at : at + size_samples] * fade * strength * peak
    return out + inhaled(strokes, n, rng) * peak


def _syllable(
    stroke: Stroke,
    centres: np.ndarray,
    dark: np.ndarray,
    level: np.ndarray,
    bursts: list[tuple[int, float]],
    rng: np.random.Generator,
) -> None:
    """Write one syllable into the curves; the note begins where the closure opens."""
    a, b = frames(stroke.onset_s), min(frames(stroke.offset_s), len(level))
    if b - a < 4:
        return
    centres[a:b] = VOWELS[str(rng.choice(["a", "e", "i", "o", "ə", "i"]))]
    start = str(rng.choice(STARTS)) if not stroke.slurred else "l"
    closed = frames(float(rng.uniform(*CLOSURE_S[start])))
    before = max(a - closed, 0)
    if start in "db":
        level[before:a] *= float(rng.uniform(0.03, 0.25))
        bursts.append((a * STEP, float(rng.uniform(0.03, 0.15))))
    elif start in "nm":
        level[before:a] = np.maximum(level[before:a] * 0.5, stroke.loudness * 0.22)
        dark[before:a] = 0.2
    else:
        level[before:a] *= 0.6
    centres[before : a + closed // 2] = {"d": (300, 1700, 2600), "b": (300, 900, 2200)}.get(
        start, (320, 1400, 2500)
    )
    if rng.random() < 0.3 and b - a > frames(0.15):  # "dum", "din"
        tail = frames(float(rng.uniform(0.04, 0.08)))
        level[b - tail : b] *= 0.5
        dark[b - tail : b] = 0.25
        centres[b - tail : b] = (280, 1000, 2300)
