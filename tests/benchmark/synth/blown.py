"""Task: whistle, recorder, flute, free reed and pipes.

In: strokes, length in seconds, a generator. Out: float32 audio at SAMPLE_RATE, peak about 1.
Method: few harmonics whose strength follows the register, breath noise, a chiff on tongued notes;
    the free reed as two detuned banks with key clicks; pipes without gaps, drones below.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tests.benchmark.playing import Stroke
from tests.benchmark.synth.curves import (
    band_noise,
    frames,
    harmonics,
    loudness_curve,
    pitch_curve,
    smooth,
    to_audio,
)


def _wind(
    strokes: Sequence[Stroke],
    seconds: float,
    rng: np.random.Generator,
    weights: Sequence[float],
    *,
    attack_s: float,
    chiff: float,
    breath: float,
    vibrato_cents: float,
    dip: float,
) -> np.ndarray:
    n = frames(seconds)
    pitch = pitch_curve(
        strokes, n, rng, legato_s=0.012, vibrato_cents=vibrato_cents, vibrato_after_s=0.3,
        wobble_cents=2,
    )  # fmt: skip
    level = loudness_curve(
        strokes,
        n,
        attack_s=attack_s,
        release_s=0.025,
        dip=dip,
        dip_s=float(rng.uniform(0.015, 0.03)),
    )
    tint = np.array(weights) * np.exp(rng.normal(0, 0.25, len(weights)))
    register = np.clip((pitch - 74) / 12, 0, 1)  # the second register is purer
    powers = 1 + 0.8 * register
    tone = harmonics(pitch, (tint[:, None] / tint[0]) ** powers)
    noise = band_noise(len(tone), 900, 7000, rng)
    chiffs = np.zeros(n)
    for stroke in strokes:
        if not stroke.slurred:
            a = frames(stroke.onset_s)
            b = min(a + frames(0.03), n)
            chiffs[a:b] = np.maximum(chiffs[a:b], np.hanning(b - a + 2)[1:-1] * stroke.loudness)
    shape = to_audio(smooth(level, 0.006))
    return tone * shape + noise * (shape * breath + to_audio(chiffs) * chiff)


def whistle(strokes: Sequence[Stroke], seconds: float, rng: np.random.Generator) -> np.ndarray:
    """A small metal whistle."""
    return _wind(
        strokes, seconds, rng, (1, 0.2, 0.07, 0.03, 0.01), attack_s=0.018, chiff=0.08,
        breath=float(rng.uniform(0.015, 0.05)), vibrato_cents=float(rng.choice([0, 15, 30])),
        dip=0.85,
    )  # fmt: skip


def recorder(strokes: Sequence[Stroke], seconds: float, rng: np.random.Generator) -> np.ndarray:
    """A recorder: odd harmonics, clear tonguing."""
    return _wind(
        strokes, seconds, rng, (1, 0.06, 0.22, 0.03, 0.06, 0.01), attack_s=0.02, chiff=0.05,
        breath=0.012, vibrato_cents=float(rng.choice([0, 0, 20])), dip=0.95,
    )  # fmt: skip


def flute(strokes: Sequence[Stroke], seconds: float, rng: np.random.Generator) -> np.ndarray:
    """A wooden flute with a hard, reedy tone."""
    return _wind(
        strokes, seconds, rng, (1, 0.8, 0.35, 0.2, 0.1, 0.06, 0.03), attack_s=0.03, chiff=0.04,
        breath=float(rng.uniform(0.02, 0.06)), vibrato_cents=float(rng.choice([0, 15, 30])),
        dip=0.75,
    )  # fmt: skip


def accordion(strokes: Sequence[Stroke], seconds: float, rng: np.random.Generator) -> np.ndarray:
    """Two reeds a few cents apart, a click from each button."""
    n = frames(seconds)
    level = loudness_curve(strokes, n, attack_s=0.015, release_s=0.03, dip=0.9, dip_s=0.012)
    pitch = pitch_curve(strokes, n, rng, legato_s=0.006, wobble_cents=0.5)
    numbers = np.arange(1, 25)
    weights = numbers**-0.9 * np.exp(rng.normal(0, 0.35, len(numbers)))
    weights *= 1 / (1 + ((numbers - 3) / 6.0) ** 4)
    apart = float(rng.uniform(0, 0.16))
    tone = harmonics(pitch - apart / 2, weights[:, None]) + harmonics(
        pitch + apart / 2, weights[:, None]
    )
    clicks = np.zeros(n)
    for stroke in strokes:
        if not stroke.slurred:
            clicks[frames(stroke.onset_s) : frames(stroke.onset_s) + 3] = 1
    shape = to_audio(smooth(level, 0.005))
    noise = band_noise(len(tone), 700, 3000, rng)
    return tone * shape / 2 + noise * (0.02 * to_audio(clicks) + 0.004 * shape)


def pipes(strokes: Sequence[Stroke], seconds: float, rng: np.random.Generator) -> np.ndarray:
    """A conical reed chanter over drones on D; joined notes have no gap at all."""
    n = frames(seconds)
    pitch = pitch_curve(strokes, n, rng, legato_s=0.008, vibrato_cents=12, wobble_cents=3)
    level = loudness_curve(strokes, n, attack_s=0.012, release_s=0.015, dip=0.9, dip_s=0.012)
    numbers = np.arange(1, 26)
    weights = np.exp(-(((numbers - 3.5) / 5.0) ** 2)) * np.exp(rng.normal(0, 0.3, len(numbers)))
    tone = harmonics(pitch, weights[:, None]) * to_audio(smooth(level, 0.004))
    drones = np.zeros(len(tone), np.float32)
    for base in (38.0, 50.0, 62.0)[: int(rng.integers(1, 4))]:
        steady = np.full(n, base + rng.normal(0, 0.03) + _concert(strokes))
        drone = harmonics(steady + smooth(rng.normal(0, 1, n), 0.5) * 0.03,
                          numbers[:, None] ** -1.1)  # fmt: skip
        drones += drone / max(float(np.abs(drone).max()), 1e-6)
    loud = float(np.sqrt(np.mean(tone**2)))
    drones *= loud / max(float(np.sqrt(np.mean(drones**2))), 1e-9)
    return tone + drones * 10 ** (float(rng.uniform(-16, -9)) / 20)


def _concert(strokes: Sequence[Stroke]) -> float:
    """How far the strokes lie from whole semitones on the average."""
    away = np.array([stroke.midi - round(stroke.midi) for stroke in strokes])
    return float(np.median(away))
