"""Plucked and struck strings that ring on into one another.

References: N. Fletcher and T. Rossing, "The Physics of Musical Instruments", 1998 (stiff
         strings, from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liltwright.models.ear.curves import (
    CLIP_S,
    CONTROL_S,
    CONTROLS,
    HARMONICS,
    Clip,
    Lane,
    Noise,
    colour,
    label,
    pick,
    spectrum,
)  # fmt: skip
from liltwright.models.ear.melodies import ORNAMENT, REPEAT_SOFT, SLUR, TONGUE, Played


def plucked(rng: np.random.Generator, clip: Clip, played: Played, cents: float) -> None:
    """Several strings that ring on into one another; slurs are hammered on the same string."""
    count = len(played.midi)
    strings = int(rng.integers(1, 5))
    ring_s = pick(rng, 0.15, 5.0)
    stop_s = pick(rng, 0.01, 0.08)
    stays = rng.uniform(0, 1)
    damped = rng.random() < 0.35
    where = np.zeros(count, int)
    for i in range(1, count):
        same = played.begin[i] in (SLUR, ORNAMENT) or played.midi[i] == played.midi[i - 1]
        where[i] = where[i - 1] if same or rng.random() < stays else rng.integers(strings)
    if not damped:
        for i in range(count - 1):
            played.end_s[i] = played.onset_s[i + 1]
        played.end_s[-1] = CLIP_S
    base = spectrum(rng, 4) * np.abs(
        np.sin(np.pi * np.arange(1, HARMONICS + 1) * rng.uniform(0.05, 0.5))
    ).astype(np.float32)
    base[0] = max(base[0], 0.15)
    slope, dull = rng.uniform(0.4, 2.0), rng.uniform(0.2, 3.0)
    stiffness = pick(rng, 1e-6, 4e-4)
    levels = 10 ** (rng.normal(0, rng.uniform(1, 3.5), count) / 20)
    attack = pick(rng, 0.001, 0.008)
    course = rng.normal(0, 0.06) if rng.random() < 0.15 else 0.0  # the second string of a pair
    for string in range(strings):
        mine = np.flatnonzero(where == string)
        if len(mine):
            lane = _string(rng, played, mine, levels, ring_s, stop_s, attack, damped, slope, dull)
            lane.midi += cents / 100
            lane.base, lane.stiffness = base, stiffness
            clip.lanes.append(lane)
            if course:
                clip.lanes.append(replace(lane, midi=lane.midi + np.float32(course)))
    for i in range(count):
        played.end_s[i] = min(played.end_s[i], played.onset_s[i] + max(ring_s * 0.55, 0.08))
    label(clip, played, cents)
    click = np.zeros(CONTROLS)
    for i in range(count):
        if played.begin[i] in (TONGUE, REPEAT_SOFT):
            at = int(played.onset_s[i] / CONTROL_S)
            n = min(8, CONTROLS - at)
            click[at : at + n] += levels[i] * np.exp(-np.arange(n) / 2.0)
    clip.noises.append(
        Noise(
            (click * pick(rng, 0.003, 0.3)).astype(np.float32),
            pick(rng, 400, 5000),
            rng.uniform(0.6, 2),
        )
    )


def _string(
    rng: np.random.Generator,
    played: Played,
    mine: np.ndarray,
    levels: np.ndarray,
    ring_s: float,
    stop_s: float,
    attack: float,
    damped: bool,
    slope: float,
    dull: float,
) -> Lane:
    """The lane of one string: every pluck ends what rang on it before."""
    midi = np.full(CONTROLS, float(played.midi[mine[0]]))
    level = np.zeros(CONTROLS)
    age_curve = np.zeros(CONTROLS)
    hammered = 10 ** (-rng.uniform(2, 14) / 20)
    vib = rng.uniform(0, 0.25) * (rng.random() < 0.3)
    strength, last_age = 0.0, 0.0
    for k, i in enumerate(mine):
        a = int(played.onset_s[i] / CONTROL_S)
        b = int(played.onset_s[mine[k + 1]] / CONTROL_S) if k + 1 < len(mine) else CONTROLS
        if b <= a:
            continue
        t = np.arange(b - a) * CONTROL_S
        higher = 2 ** (-(played.midi[i] - 60) / 24)
        tau = ring_s / 6.9 * higher
        tied = played.begin[i] in (SLUR, ORNAMENT) and k > 0
        strength = max(strength * 0.9, levels[i] * hammered) if tied else levels[i]
        age0 = last_age * 0.5 if tied else 0.0
        curve = strength * np.exp(-t / tau)
        if not tied:
            curve *= np.minimum(1.0, (t + CONTROL_S * 0.5) / attack)
        if damped:
            curve *= np.exp(-np.maximum(t - (played.end_s[i] - played.onset_s[i]), 0) / stop_s)
        level[a:b] = curve
        midi[a:b] = (
            played.midi[i] + vib * np.sin(2 * np.pi * 5.5 * t) + 0.25 * vib * np.exp(-t / 0.05)
        )
        age_curve[a:b] = age0 + t
        strength, last_age = float(curve[-1]), float(age0 + t[-1])
    bright = slope + dull * np.minimum(age_curve, 2.0)
    return Lane(midi.astype(np.float32), level.astype(np.float32), colour(bright), spectrum(rng, 1))
