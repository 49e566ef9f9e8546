"""Struck bars, tongues and bells: music boxes, kalimbas, glockenspiels, steel pans.

In     : notes of a performance.
Out    : lanes added to a clip, a few partials of each of three groups of notes; labels.
Method : partials that are no multiples of the pitch, each with its own decay.
References: N. Fletcher and T. Rossing, "The Physics of Musical Instruments", 1998 (partials of
         bars and tongues, from memory).
"""

from __future__ import annotations

import numpy as np

from liltwright.models.ear.curves import (
    CLIP_S,
    CONTROL_S,
    CONTROLS,
    FRAMES,
    HARMONICS,
    Clip,
    Lane,
    Noise,
    label,
    pick,
)  # fmt: skip
from liltwright.models.ear.melodies import Played

RATIOS = ((1.0, 2.76, 5.4), (1.0, 4.0, 10.0), (1.0, 3.0, 6.0), (1.0, 6.27, 17.5), (1.0, 2.0, 3.01),
          (1.0, 2.0, 4.2))  # fmt: skip
GROUPS = 3


def struck(rng: np.random.Generator, clip: Clip, played: Played, cents: float) -> None:
    """Add lanes and labels; notes ring on."""
    ratios = np.array(RATIOS[rng.integers(len(RATIOS))])
    ratios[1:] *= rng.normal(1, 0.01, len(ratios) - 1)
    ring_s, attack_s = pick(rng, 0.12, 2.5), pick(rng, 0.001, 0.004)
    strength = np.concatenate([[1.0], 10 ** (-rng.uniform(4, 30, len(ratios) - 1) / 20)])
    levels = 10 ** (rng.normal(0, rng.uniform(1, 3), len(played.midi)) / 20)
    only = np.zeros(HARMONICS, np.float32)
    only[0], only[1] = 1.0, 10 ** (-rng.uniform(15, 60) / 20)
    for group in range(GROUPS):
        mine = np.arange(group, len(played.midi), GROUPS)
        if not len(mine):
            continue
        for ratio, share in zip(ratios, strength, strict=True):
            decay = ring_s / (1 + 2.0 * np.log(ratio))
            midi, level = _group(played, mine, levels * share, decay, attack_s)
            midi += 12 * np.log2(ratio) + cents / 100
            clip.lanes.append(Lane(
                midi.astype(np.float32), level.astype(np.float32), np.zeros(FRAMES, np.float32),
                only,
            ))  # fmt: skip
    for i in range(len(played.midi)):
        following = played.onset_s[i + 1] if i + 1 < len(played.midi) else CLIP_S
        played.end_s[i] = min(following, played.onset_s[i] + max(ring_s * 0.6, 0.1))
    label(clip, played, cents)
    click = np.zeros(CONTROLS)
    for onset, loud in zip(played.onset_s, levels, strict=True):
        at = int(onset / CONTROL_S)
        n = min(10, CONTROLS - at)
        click[at : at + n] += loud * np.exp(-np.arange(n) / 2.5)
    click *= pick(rng, 0.003, 0.3)
    clip.noises.append(Noise(click.astype(np.float32), pick(rng, 800, 5000), 1.0))


def _group(
    played: Played, mine: np.ndarray, levels: np.ndarray, ring_s: float, attack_s: float
) -> tuple[np.ndarray, np.ndarray]:
    """Pitch and level of one partial of some of the notes."""
    midi, level = np.full(CONTROLS, float(played.midi[mine[0]])), np.zeros(CONTROLS)
    for k, i in enumerate(mine):
        a = int(played.onset_s[i] / CONTROL_S)
        b = int(played.onset_s[mine[k + 1]] / CONTROL_S) if k + 1 < len(mine) else CONTROLS
        t = np.arange(max(b - a, 0)) * CONTROL_S
        higher = 2 ** (-(played.midi[i] - 72) / 24)
        curve = levels[i] * np.exp(-t / (ring_s * higher / 2.3))
        level[a:b] = curve * np.minimum(1.0, (t + 0.5 * CONTROL_S) / attack_s)
        midi[a:b] = played.midi[i]
    return midi, level
