"""What else sounds where somebody plays: talking, babble, clatter, a foot. None is labelled.

In     : a numpy random generator, a clip.
Out    : lanes and noises added to the clip.
"""

from __future__ import annotations

import numpy as np

from liltwright.hear.ears.network import HOP
from liltwright.models.ear.curves import (
    CLIP_S,
    CONTROL_HOP,
    CONTROL_S,
    CONTROLS,
    FRAMES,
    HARMONICS,
    TIMES,
    VOWELS,
    Clip,
    Lane,
    Noise,
    colour,
    pick,
    smooth,
    spectrum,
    wander,
)  # fmt: skip


def talk(
    rng: np.random.Generator, clip: Clip, start: float, stop: float, quiet_db: float = 0.0
) -> None:
    """Speech-like sound: gliding pitch, quick changes of formants, hisses and pauses."""
    middle = pick(rng, 85, 280)
    base = 69 + 12 * np.log2(middle / 440)
    midi = np.full(CONTROLS, base) + wander(rng, 2.0, 0.3, 2.5)
    level, hiss = np.zeros(CONTROLS), np.zeros(CONTROLS)
    tracks = np.repeat(VOWELS[8][:, None], CONTROLS, axis=1)
    scale = rng.uniform(0.85, 1.25)
    now = start
    while now < stop:
        length = rng.uniform(0.07, 0.26)
        a, b = int(now / CONTROL_S), int(min(now + length, stop) / CONTROL_S)
        if rng.random() < 0.85:
            level[a:b] = rng.uniform(0.3, 1.0)
            midi[a:b] += rng.normal(0, 1.5) + np.linspace(0, rng.normal(-1.5, 2.5), b - a)
            tracks[:, a:b] = VOWELS[rng.integers(len(VOWELS))][:, None]
        if rng.random() < 0.4:
            n = int(rng.uniform(0.02, 0.1) / CONTROL_S)
            hiss[b : b + n] = rng.uniform(0.02, 0.3)
        now += length + rng.choice((0.0, 0.02, 0.05, 0.3), p=(0.4, 0.25, 0.2, 0.15))
    level = smooth(level, 0.03) * 10 ** ((rng.uniform(-12, 3) - quiet_db) / 20)
    tracks = np.stack([smooth(t, 0.05) for t in tracks]) * scale
    clip.lanes.append(Lane(
        smooth(midi, 0.04).astype(np.float32), level.astype(np.float32),
        np.full(len(colour(TIMES)), rng.uniform(0.6, 1.6), np.float32), spectrum(rng, 2), 0.0,
        tracks[:, :: HOP // CONTROL_HOP].astype(np.float32),
    ))  # fmt: skip
    hiss *= 10 ** (-quiet_db / 20)
    clip.noises.append(Noise(smooth(hiss, 0.015).astype(np.float32), pick(rng, 3000, 7000), 1.0))


def foot(rng: np.random.Generator, clip: Clip) -> None:
    """A foot that taps through the clip."""
    period, level = rng.uniform(0.25, 0.8), np.zeros(CONTROLS)
    for beat in np.arange(rng.uniform(0, period), CLIP_S, period):
        at = int(max(beat + rng.normal(0, 0.01), 0) / CONTROL_S)
        n = min(60, CONTROLS - at)
        level[at : at + n] += rng.uniform(0.5, 1) * np.exp(-np.arange(n) / rng.uniform(2, 14))
    level *= 10 ** (rng.uniform(-20, 6) / 20)
    clip.noises.append(Noise(level.astype(np.float32), pick(rng, 60, 350), rng.uniform(0.5, 1.5)))
    if rng.random() < 0.5:
        clip.noises.append(Noise((0.2 * level).astype(np.float32), pick(rng, 900, 4000), 1.5))


def babble(rng: np.random.Generator, clip: Clip) -> None:
    """One to three people talking in the background all the time."""
    quiet_db = rng.uniform(14, 32)
    for _ in range(int(rng.integers(1, 4))):
        talk(rng, clip, rng.uniform(0, 1), CLIP_S, quiet_db)


def clatter(rng: np.random.Generator, clip: Clip) -> None:
    """Dishes and things put down: short ringing knocks."""
    count = int(rng.integers(1, 12))
    loud = 10 ** (rng.uniform(-35, -6) / 20)
    only = np.zeros(HARMONICS, np.float32)
    only[0] = 1.0
    for _ in range(2):
        midi, level = np.full(CONTROLS, 80.0), np.zeros(CONTROLS)
        for at in np.sort(rng.integers(0, CONTROLS - 1, count)):
            ring = pick(rng, 0.01, 0.15) / CONTROL_S
            level[at:] = rng.uniform(0.2, 1) * loud * np.exp(-np.arange(CONTROLS - at) / ring)
            midi[at:] = rng.uniform(72, 112)
        clip.lanes.append(Lane(
            midi.astype(np.float32), level.astype(np.float32), np.zeros(FRAMES, np.float32), only
        ))  # fmt: skip
    noise = Noise(level.astype(np.float32), pick(rng, 1500, 6000), rng.uniform(0.5, 1.5))
    clip.noises.append(noise)
