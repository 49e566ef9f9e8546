"""Sounds whose notes fade in slowly and ring on into the next: choirs and pads of samplers.

In     : notes of a performance.
Out    : lanes added to a clip, three that take turns, several voices each; labels.
"""

from __future__ import annotations

import numpy as np

from liltwright.models.ear.curves import (
    CLIP_S,
    CONTROL_S,
    CONTROLS,
    FRAMES,
    TIMES,
    VOWELS,
    Clip,
    Lane,
    colour,
    label,
    pick,
    spectrum,
    vibrato,
    wander,
)  # fmt: skip
from liltwright.models.ear.melodies import Played

LANES = 3


def layered(rng: np.random.Generator, clip: Clip, played: Played, cents: float) -> None:
    """Add the lanes and write the labels; repeated notes are begun afresh."""
    label(clip, played, cents)
    attack, release = pick(rng, 0.01, 0.22), pick(rng, 0.04, 0.5)
    voices = int(rng.integers(1, 4))
    slope, base = rng.uniform(0.5, 2.0), spectrum(rng, 3)
    formants = None
    if rng.random() < 0.7:
        vowel = VOWELS[rng.integers(len(VOWELS))] * rng.uniform(0.85, 1.25)
        formants = np.repeat(vowel[:, None], FRAMES, axis=1).astype(np.float32)
    levels = 10 ** (rng.normal(0, rng.uniform(0.5, 3), len(played.midi)) / 20)
    shake = rng.uniform(0, 35)
    for turn in range(LANES):
        midi, level = _turn(played, turn, levels, attack, release)
        if midi is None:
            continue
        for _ in range(voices):
            detune = cents / 100 + rng.normal(0, 0.08 if voices > 1 else 0.0)
            pitch = midi + detune + wander(rng, 0.03, 0.2, 3.0)
            pitch = pitch + vibrato(rng, played, shake, 0.1)
            clip.lanes.append(Lane(
                pitch.astype(np.float32), (level / np.sqrt(voices)).astype(np.float32),
                np.full(len(colour(TIMES)), slope, np.float32), base * spectrum(rng, 1.5), 0.0,
                formants,
            ))  # fmt: skip


def _turn(
    played: Played, turn: int, levels: np.ndarray, attack: float, release: float
) -> tuple[np.ndarray | None, np.ndarray]:
    """Pitch and level of every third note."""
    level = np.zeros(CONTROLS)
    mine = range(turn, len(played.midi), LANES)
    if not len(mine):
        return None, level
    midi = np.full(CONTROLS, float(played.midi[mine[0]]))
    for i in mine:
        onset, end = played.onset_s[i], played.end_s[i]
        following = played.onset_s[i + LANES] if i + LANES < len(played.midi) else CLIP_S
        a, b = int(onset / CONTROL_S), int(following / CONTROL_S)
        t = np.arange(b - a) * CONTROL_S
        rise = np.sin(np.pi / 2 * np.minimum(t / attack, 1.0))
        reached = np.sin(np.pi / 2 * min((end - onset) / attack, 1.0))
        fall = reached * np.exp(-(t - (end - onset)) / (release / 3))
        curve = levels[i] * np.where(t < end - onset, rise, fall)
        curve *= np.minimum(1.0, (b - a - np.arange(b - a)) / 4)
        level[a:b], midi[a:b] = curve[: CONTROLS - a], played.midi[i]
    return midi, level
