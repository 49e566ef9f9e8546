"""The consonants and vowels of singing with words, and where in them a note begins.

In     : curves of a sung line (level, formants, tilt) at control rate, changed in place.
Out    : noise curves by band; onsets moved to where a listener puts them.
Method : consonants of seven kinds lie before the note's vowel, some syllables are closed by
         another; the beginning of a note is the beginning of its vowel, in a sonorant some way in.
References: P. Ladefoged, "A Course in Phonetics", 1975 (kinds and lengths of consonants);
         G. Peterson and H. Barney, JASA 24, 1952 (formants); both from memory.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from liltwright.models.ear.curves import CONTROL_S, CONTROLS, FORMANTS, NASAL, VOWELS, pick

BANDS_HZ = (1200.0, 2800.0, 6500.0)
STOP, MUTE, NASALS, LIQUID, HISS, BUZZ, BARE = range(7)
"""Voiced stop, unvoiced stop, nasal, liquid or glide, fricative, voiced fricative, none."""
LENGTHS_S = ((0.03, 0.09), (0.04, 0.13), (0.04, 0.13), (0.04, 0.11), (0.05, 0.17), (0.05, 0.13),
             (0.015, 0.05))  # fmt: skip
HUSH_DB = ((12, 32), (40, 60), (2, 13), (1, 10), (35, 60), (6, 18), (0, 7))
INSIDE = ((-0.1, 0.2), (-0.1, 0.2), (0.05, 0.7), (0.05, 0.7), (-0.1, 0.2), (0.0, 0.4), (0.0, 0.6))
"""Share of the consonant that lies behind the onset that is labelled."""
SHARES = (0.17, 0.15, 0.18, 0.16, 0.14, 0.08, 0.12)


@dataclass
class Mouth:
    """Curves at control rate that words are written into."""

    level: np.ndarray
    tracks: np.ndarray
    """Formants in Hz, shape (FORMANTS, CONTROLS)."""
    tilt: np.ndarray
    """Extra slope of the harmonics."""
    bend: np.ndarray
    """Semitones that consonants bend the pitch by."""
    noise: np.ndarray = field(default_factory=lambda: np.zeros((len(BANDS_HZ), CONTROLS)))


def consonant(
    rng: np.random.Generator, mouth: Mouth, kind: int, onset_s: float, before_s: float,
    after_s: float,
) -> float:  # fmt: skip
    """Write a consonant around an onset; returns when it begins, in seconds."""
    length = min(rng.uniform(*LENGTHS_S[kind]), 0.5 * before_s + 0.02, 0.7 * after_s)
    if kind == BARE and rng.random() < 0.25:
        hush = rng.uniform(15, 40)  # a glottal stop
    else:
        hush = rng.uniform(*HUSH_DB[kind])
    inside = rng.uniform(*INSIDE[kind])
    start, stop = onset_s - (1 - inside) * length, onset_s + inside * length
    a, b = (int(np.clip(t / CONTROL_S, 0, CONTROLS - 1)) for t in (start, stop))
    if b - a < 3:
        return onset_s
    loud = max(float(mouth.level[min(b + 20, CONTROLS - 1)]), 0.1)
    _hush(mouth.level, a, b, hush)
    _colour(rng, mouth, kind, a, b)
    _noises(rng, mouth, kind, a, b, loud)
    _bend(rng, mouth, kind, b)
    return start


def coda(rng: np.random.Generator, mouth: Mouth, end_s: float, length_s: float) -> None:
    """Close a syllable that ends at a time by a nasal, a liquid, a stop or a hiss."""
    kind = int(rng.choice((NASALS, NASALS, LIQUID, MUTE, HISS, STOP)))
    length = min(rng.uniform(*LENGTHS_S[kind]), 0.35 * length_s)
    a, b = (int(np.clip(t / CONTROL_S, 0, CONTROLS - 1)) for t in (end_s - length, end_s))
    if b - a < 3:
        return
    loud = max(float(mouth.level[a]), 0.1)
    _hush(mouth.level, a, b, rng.uniform(*HUSH_DB[kind]))
    _colour(rng, mouth, kind, a, b)
    if kind in (HISS, MUTE):
        _noises(rng, mouth, kind, a, b, 0.6 * loud)


def vowels(rng: np.random.Generator, fresh: np.ndarray) -> np.ndarray:
    """Formants at the beginning and at the end of each note, shape (2, n_notes, FORMANTS).

    fresh : bool, shape (n_notes,); the others go on in the vowel of the note before.
    """
    count = len(fresh)
    which = rng.integers(0, len(VOWELS), count)
    glides = rng.random(count) < rng.uniform(0, 0.6)
    later = np.where(glides, rng.integers(0, len(VOWELS), count), which)
    for i in range(1, count):
        if not fresh[i]:
            which[i] = later[i - 1]
            later[i] = which[i] if rng.random() < 0.7 else later[i]
    between = VOWELS[which] + rng.normal(0, 0.06, (count, FORMANTS)) * VOWELS[which]
    return np.stack([between, np.where((later == which)[:, None], between, VOWELS[later])])


def _hush(level: np.ndarray, a: int, b: int, hush_db: float) -> None:
    """Lower the level from a to b, with edges of about 10 ms."""
    edge = max(2, min(int(0.012 / CONTROL_S), (b - a) // 2))
    shape = np.ones(b - a)
    ramp = np.sin(np.pi / 2 * (np.arange(edge) + 0.5) / edge) ** 2
    shape[:edge] *= ramp
    shape[len(shape) - edge :] *= ramp[::-1]
    level[a:b] *= 10 ** (-hush_db / 20 * shape)


def _colour(rng: np.random.Generator, mouth: Mouth, kind: int, a: int, b: int) -> None:
    if kind in (STOP, BUZZ):
        mouth.tilt[a:b] += rng.uniform(0.5, 2.0)
        mouth.tracks[0, a:b] = 250.0
    elif kind == NASALS:
        mouth.tracks[:, a:b] = (NASAL * rng.uniform(0.85, 1.2))[:, None]
        mouth.tilt[a:b] += rng.uniform(0.2, 1.3)
    elif kind == LIQUID:
        mouth.tracks[0, a:b] *= rng.uniform(0.5, 0.8)
        mouth.tracks[1, a:b] *= rng.uniform(0.5, 1.6)
        mouth.tracks[2, a:b] *= rng.uniform(0.6, 1.1)
        mouth.tilt[a:b] += rng.uniform(0, 0.6)


def _noises(rng: np.random.Generator, mouth: Mouth, kind: int, a: int, b: int, loud: float) -> None:
    band = mouth.noise[int(rng.integers(len(BANDS_HZ)))]
    if kind in (STOP, MUTE):
        long_s = pick(rng, 0.004, 0.012) if kind == STOP else pick(rng, 0.01, 0.06)
        n = int(long_s / CONTROL_S) + 1
        first = max(b - (n if kind == MUTE else 2), 0)
        burst = loud * pick(rng, 0.03, 0.6) * np.exp(-np.arange(3 * n) / n)
        band[first : first + 3 * n] += burst[: CONTROLS - first]
    elif kind in (HISS, BUZZ):
        size = loud * (pick(rng, 0.02, 0.7) if kind == HISS else pick(rng, 0.01, 0.2))
        band[a:b] += size * np.sin(np.pi * (np.arange(b - a) + 0.5) / (b - a)) ** 0.5


def _bend(rng: np.random.Generator, mouth: Mouth, kind: int, b: int) -> None:
    """Voiced stops pull the pitch down a little, unvoiced consonants push it up."""
    size = {STOP: -1.0, BUZZ: -0.6, MUTE: 0.7, HISS: 0.6, BARE: -0.4}.get(kind, 0.0)
    n = int(rng.uniform(0.02, 0.06) / CONTROL_S)
    reach = min(4 * n, CONTROLS - b)
    fall = np.exp(-np.arange(reach) / n)
    mouth.bend[b : b + reach] += size * rng.uniform(0, 1.0) * fall
