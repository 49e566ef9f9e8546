"""Vowels and consonants of singing and lilting.

References: G. Peterson and H. Barney, JASA 24, 1952 (formants, from memory); J. Sundberg, "The
         Science of the Singing Voice", 1987 (from memory).
"""

from __future__ import annotations

import numpy as np

from liltwright.hear.ears.network import HOP
from liltwright.models.ear.curves import (
    CONTROL_HOP,
    CONTROL_S,
    CONTROLS,
    FORMANTS,
    NASAL,
    VOWELS,
    Clip,
    Noise,
    dip,
    hold,
    pick,
    smooth,
)  # fmt: skip
from liltwright.models.ear.melodies import ORNAMENT, SLUR, Played


def syllables(
    rng: np.random.Generator, clip: Clip, played: Played, level: np.ndarray, name: str
) -> tuple[np.ndarray, np.ndarray]:
    """Vowels, and before fresh notes consonants: closures with bursts, nasals, fricatives.

    Changes `level` in place; returns formants (FORMANTS, FRAMES) and extra slope.
    """
    count = len(played.midi)
    scale = rng.uniform(0.85, 1.25)
    few = rng.integers(0, len(VOWELS), 3)
    which = rng.choice(few, count)
    if name in ("hum", "choir"):
        which[:] = which[0]
    for i in range(1, count):
        if played.begin[i] in (SLUR, ORNAMENT):
            which[i] = which[i - 1]
    targets = VOWELS[which]
    if name == "hum" and rng.random() < 0.7:
        targets = np.repeat(NASAL[None], count, axis=0)
    tracks = np.stack([hold(played, targets[:, k]) for k in range(FORMANTS)])
    extra = np.zeros(CONTROLS)
    wordless = name in ("hum", "choir") or (name == "voice" and rng.random() < 0.25)
    bursts = {1500.0: np.zeros(CONTROLS), 3500.0: np.zeros(CONTROLS), 6000.0: np.zeros(CONTROLS)}
    kinds = rng.choice(4, 2)
    if not wordless:
        for i in range(count):
            if played.begin[i] in (SLUR, ORNAMENT) or rng.random() < 0.08:
                continue
            kind = int(rng.choice(kinds)) if rng.random() < 0.8 else int(rng.integers(5))
            _consonant(rng, kind, played, i, level, tracks, extra, bursts)
    tracks = np.stack([smooth(t, rng.uniform(0.02, 0.06)) for t in tracks]) * scale
    for centre, curve in bursts.items():
        if curve.any():
            clip.noises.append(Noise(curve.astype(np.float32), centre, 1.2))
    return tracks[:, :: HOP // CONTROL_HOP].astype(np.float32), smooth(extra, 0.015)


def _consonant(
    rng: np.random.Generator,
    kind: int,
    played: Played,
    i: int,
    level: np.ndarray,
    tracks: np.ndarray,
    extra: np.ndarray,
    bursts: dict[float, np.ndarray],
) -> None:
    """Before note i: 0 a voiced stop, 1 an unvoiced one, 2 a nasal, 3 a glide, 4 a fricative."""
    onset = played.onset_s[i]
    before = onset - played.onset_s[i - 1] if i else 0.3
    after = played.end_s[i] - onset
    length = min(rng.uniform(0.02, 0.08), 0.45 * before, 0.8 * after)
    inside = rng.uniform(-0.05, 0.25)
    start, stop = onset - (1 - inside) * length, onset + inside * length
    a, b = max(int(start / CONTROL_S), 0), max(int(stop / CONTROL_S), 0)
    if b - a < 3:
        return
    loud = max(float(level[min(b + 15, CONTROLS - 1)]), 0.1)
    if kind in (0, 1):
        dip(level, (start + stop) / 2, length * 1.2, rng.uniform(12, 26) if kind == 0 else 45)
        if kind == 0:
            extra[a:b] += 1.2
        burst = bursts[float(rng.choice((1500.0, 3500.0, 6000.0)))]
        n = int(pick(rng, 0.004, 0.012 if kind == 0 else 0.035) / CONTROL_S) + 1
        first = max(b - n, 0)
        size = loud * pick(rng, 0.03, 0.5)
        burst[first : first + 2 * n] += (size * np.exp(-np.arange(2 * n) / n * 2))[
            : CONTROLS - first
        ]
    elif kind == 2:
        dip(level, (start + stop) / 2, length * 1.3, rng.uniform(3, 14))
        for k in range(FORMANTS):
            tracks[k, a:b] = NASAL[k]
        extra[a:b] += rng.uniform(0.4, 1.2)
    elif kind == 3:
        dip(level, (start + stop) / 2, length * 1.3, rng.uniform(1, 9))
        tracks[0, a:b] *= 0.6
        tracks[1, a:b] *= rng.uniform(0.6, 1.4)
    else:
        dip(level, (start + stop) / 2, length * 1.2, 35)
        bursts[float(rng.choice((3500.0, 6000.0)))][a:b] += loud * pick(rng, 0.03, 0.3)
