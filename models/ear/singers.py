"""People who sing a tune with words, alone or together, at any tempo.

In     : a numpy random generator, when to begin and to end.
Out    : lanes, noises and labels added to a clip.
Method : a random tune; every singer draws range, tempo, habits of pitch (glides, overshoot,
         scoops, falls, vibrato that sets in late, notes off by up to half a semitone, drift) and
         of words (see words.py). The label is the pitch that the singer means to hold.
References: J. Sundberg, "The Science of the Singing Voice", 1987; S. Prame, "Vibrato extent and
         intonation", JASA 102, 1997; G. Saitou et al., "F0 fluctuations in singing", 2005
         (overshoot, preparation); all from memory.
"""

from __future__ import annotations

import numpy as np

from liltwright.hear.ears.network import HOP
from liltwright.models.ear import amateurs
from liltwright.models.ear.curves import (
    CLIP_S,
    CONTROL_HOP,
    CONTROL_S,
    CONTROLS,
    FORMANTS,
    NASAL,
    TIMES,
    Clip,
    Lane,
    Noise,
    colour,
    gates,
    hold,
    label,
    pick,
    since_onset,
    smooth,
    spectrum,
    vibrato,
    wander,
)  # fmt: skip
from liltwright.models.ear.melodies import ORNAMENT, SLUR, TONGUE, Habits, Played, play
from liltwright.models.ear.words import (
    BANDS_HZ,
    BARE,
    HISS,
    MUTE,
    NASALS,
    SHARES,
    Mouth,
    coda,
    consonant,
    vowels,
)  # fmt: skip

AMATEURS = 0.65
"""Share of the clips in which somebody sings at sight (amateurs.py)."""
VOICES = ((38, 62, 0.92), (43, 68, 1.0), (50, 76, 1.1), (55, 82, 1.17), (57, 88, 1.3))
"""Lowest and highest note and scale of the formants: bass, tenor, alto, soprano, child."""


def singers(rng: np.random.Generator, clip: Clip, start: float, stop: float) -> Played:
    """One singer, now and then several, singing a tune from start to stop."""
    low, high, size = VOICES[rng.integers(len(VOICES))]
    amateur = rng.random() < AMATEURS
    habits = amateurs.habits if amateur else _habits
    played = play(rng, habits(rng, low, high), start, stop)
    if not played.midi:
        return played
    cents = float(rng.uniform(-50, 50))
    _breathe(rng, played)
    if amateur:
        amateurs.leave_syllables(rng, played)
    count = len(played.midi)
    wrong = np.clip(rng.normal(0, rng.uniform(0.03, 0.3), count), -0.5, 0.5)
    means = np.array(played.midi) + wrong + cents / 100
    together = int(rng.integers(2, 6)) if rng.random() < 0.15 else 1
    scatter = rng.uniform(0.005, 0.03)
    kinds, closed = _text(rng, count)
    for _ in range(together):
        late = rng.normal(0, scatter) if together > 1 else 0.0
        off = rng.normal(0, 0.1) if together > 1 else 0.0
        pitch = _one(
            rng, clip, played, means + off, kinds, size, late, 1 / np.sqrt(together), closed,
            amateur,
        )  # fmt: skip
    label(clip, played, cents, means=means if together > 1 else _sung(played, means, pitch))
    _breaths(rng, clip, played)
    return played


def _text(rng: np.random.Generator, count: int) -> tuple[np.ndarray, bool]:
    """Kind of consonant before each note, and whether the lips stay closed."""
    manner = rng.random()
    if manner < 0.15:  # hummed
        return rng.choice((NASALS, BARE), count, p=(0.6, 0.4)), True
    if manner < 0.35:  # la la, da di
        return rng.choice(rng.integers(0, len(SHARES), 2), count), False
    return rng.choice(len(SHARES), count, p=SHARES), False


def _sung(played: Played, means: np.ndarray, pitch: np.ndarray) -> np.ndarray:
    """Where the pitch of each note lies, its beginning and its end left out."""
    result = means.copy()
    for i, (onset, end) in enumerate(zip(played.onset_s, played.end_s, strict=True)):
        a, b = int((onset + 0.3 * (end - onset)) / CONTROL_S), int((end - 0.03) / CONTROL_S)
        if b - a > 4:
            result[i] = np.median(pitch[a:b])
    return result


def _habits(rng: np.random.Generator, low: int, high: int) -> Habits:
    span = int(rng.integers(9, 20))
    base = int(rng.integers(low, max(low + 1, high - span + 1)))
    slow = rng.random() < 0.6
    return Habits(
        base, min(base + span, high), pick(rng, 0.2, 0.8) if slow else pick(rng, 0.11, 0.25),
        slur=rng.choice((0.05, 0.2, 0.45)), ornaments=rng.choice((0.0, 0.0, 0.1)),
        repeats=rng.uniform(0.08, 0.45), rests=rng.uniform(0, 0.08),
        gap=(0.0, rng.choice((0.0, 0.05, 0.2))), chromatic=rng.choice((0.0, 0.03, 0.15)),
        timing_s=rng.uniform(0, 0.02),
    )  # fmt: skip


def _breathe(rng: np.random.Generator, played: Played) -> None:
    """End a note early every few notes."""
    every = int(rng.integers(4, 14))
    for i in range(every, len(played.midi) - 1, every):
        room = played.onset_s[i + 1] - played.onset_s[i]
        pause = min(rng.uniform(0.1, 0.7), 0.55 * room)
        played.end_s[i] = min(played.end_s[i], played.onset_s[i + 1] - pause)
        played.begin[i + 1] = TONGUE


def _one(
    rng: np.random.Generator,
    clip: Clip,
    played: Played,
    means: np.ndarray,
    kinds: np.ndarray,
    size: float,
    late: float,
    share: float,
    closed: bool,
    amateur: bool,
) -> np.ndarray:
    """One singer's lane and noises; returns the pitch curve."""
    mouth, starts = _mouth(rng, played, kinds)
    if amateur:
        mouth.level = amateurs.voiced_gaps(rng, played, mouth.level)
        mouth.level *= amateurs.unsteady(rng, played)
    if closed:
        mouth.tracks[:] = NASAL[:, None]
        mouth.tilt += rng.uniform(0.3, 1.5)
    rough = rng.uniform(0.01, 0.12) if amateur else rng.uniform(0.02, 0.25)
    pitch = _pitch(rng, played, means, starts, rough) + smooth(mouth.bend, 0.01)
    if amateur:
        pitch += amateurs.wrong_beginnings(rng, played, means)
    slope = rng.uniform(0.4, 2.0)
    loud = np.maximum(mouth.level, 1e-3)
    tilt = slope + smooth(mouth.tilt, 0.012) - rng.uniform(0, 0.8) * np.log10(loud)
    tracks = np.stack([smooth(one, rng.uniform(0.02, 0.07)) for one in mouth.tracks])
    tracks *= size * rng.uniform(0.93, 1.08)
    tracks[0] = np.maximum(tracks[0], rng.uniform(0, 1.0) * 440.0 * 2 ** ((pitch - 69) / 12))
    shift = round(late / CONTROL_S)
    level = np.roll(smooth(mouth.level, 0.008), shift) * share
    base = spectrum(rng, rng.uniform(1, 4))
    clip.lanes.append(Lane(
        np.roll(pitch, shift).astype(np.float32), level.astype(np.float32), colour(tilt), base,
        0.0, tracks[:, :: HOP // CONTROL_HOP].astype(np.float32),
    ))  # fmt: skip
    if rng.random() < 0.3:
        _creak(rng, clip, played, pitch, level, base)
    for centre, curve in zip(BANDS_HZ, smooth_all(mouth.noise), strict=True):
        if curve.any():
            clip.noises.append(Noise(
                (curve * share).astype(np.float32), centre * pick(rng, 0.7, 1.4),
                rng.uniform(0.4, 1.4),
            ))  # fmt: skip
    air = level * 10 ** (rng.uniform(-50, -18) / 20)
    clip.noises.append(Noise(air.astype(np.float32), pick(rng, 1200, 6000), rng.uniform(0.7, 2)))
    return pitch


def smooth_all(curves: np.ndarray) -> np.ndarray:
    """Every row a little smoothed."""
    return np.stack([smooth(one, 0.006) for one in curves])


def _mouth(rng: np.random.Generator, played: Played, kinds: np.ndarray) -> tuple[Mouth, np.ndarray]:
    """Level, formants and noises of the words, and when the pitch moves to each note."""
    count = len(played.midi)
    begin, onset, end = map(np.array, (played.begin, played.onset_s, played.end_s))
    fresh = ~np.isin(begin, (SLUR, ORNAMENT))
    levels = 10 ** (rng.normal(0, rng.uniform(0.5, 4), count) / 20)
    level = smooth(gates(played, levels), pick(rng, 0.015, 0.1), 0.5)
    age = since_onset(played)
    swell = hold(played, rng.normal(-0.4, 1.0, count) * (rng.random(count) < 0.6))
    level *= np.exp(swell * np.minimum(age, 0.8)) * (1 + wander(rng, 0.06, 0.3, 8.0))
    rests = np.append(onset[1:] - end[:-1] > 0.05, True)
    dies = hold(played, rests * (rng.random(count) < rng.uniform(0, 0.8)))
    level *= np.where(dies, np.exp(-np.maximum(age - 0.1, 0) / pick(rng, 0.15, 0.9)), 1.0)
    first, last = vowels(rng, fresh)
    part = np.clip(age / hold(played, np.maximum(end - onset, 0.05)), 0, 1)
    moved = np.clip((part - 0.45) / 0.35, 0, 1)
    tracks = np.stack([
        hold(played, first[:, k]) * (1 - moved) + hold(played, last[:, k]) * moved
        for k in range(FORMANTS)
    ])  # fmt: skip
    mouth = Mouth(level, tracks, np.zeros(CONTROLS), np.zeros(CONTROLS))
    starts = onset.copy()
    closes, lead = rng.uniform(0, 0.5), rng.uniform(0, 1)
    for i in range(count):
        if not fresh[i]:
            continue
        before = onset[i] - onset[i - 1] if i else 0.5
        began = consonant(rng, mouth, int(kinds[i]), onset[i], before, end[i] - onset[i])
        starts[i] = onset[i] - lead * rng.random() * max(onset[i] - began, 0.0)
        if i and kinds[i] in (MUTE, HISS):
            played.end_s[i - 1] = min(played.end_s[i - 1], began)
        if i and rng.random() < closes:
            coda(rng, mouth, min(end[i - 1], began), end[i - 1] - onset[i - 1])
    return mouth, np.maximum.accumulate(starts)


def _pitch(
    rng: np.random.Generator, played: Played, means: np.ndarray, starts: np.ndarray, rough: float
) -> np.ndarray:
    """Pitch in MIDI: what the singer means to hold, and all the ways of getting there."""
    count = len(means)
    onset, end = np.array(played.onset_s), np.array(played.end_s)
    length = np.diff(np.append(onset, CLIP_S))
    fresh = np.array(played.begin) == TONGUE
    glide = np.minimum(pick(rng, 0.025, 0.16), 0.9 * float(np.median(length)))
    pitch = smooth(hold(played, means, starts), glide, rng.uniform(0.1, 0.6))
    age = since_onset(played)
    steps = np.clip(np.diff(means, prepend=means[0]), -7, 7) * rng.uniform(0, 0.25)
    ring = np.exp(-age / 0.07) * np.sin(2 * np.pi * age / rng.uniform(0.16, 0.3))
    pitch += hold(played, steps) * ring
    often = rng.uniform(0, 0.7)
    free = rng.random() < 0.35  # a singer who slides and sways a lot
    scoops = rng.exponential(2.2 if free else 1.0, count) * (rng.random(count) < often)
    scoops = np.minimum(scoops, 8.0 if free else 4.0)
    scoops *= np.where(fresh, 1.0, 0.3) * np.where(rng.random(count) < 0.1, -0.5, 1.0)
    fade = np.minimum(rng.uniform(0.02, 0.14, count), (0.35 if free else 0.25) * length)
    pitch -= hold(played, scoops) * np.exp(-age / hold(played, fade))
    rests = np.append(onset[1:] - end[:-1] > 0.05, True)
    falls = np.minimum(rng.exponential(1.5, count), 6.0) * rests * (rng.random(count) < often)
    left = np.maximum(hold(played, end) - TIMES, 0)
    pitch -= hold(played, falls) * np.exp(-left / rng.uniform(0.02, 0.07))
    tilts = hold(played, rng.normal(0, rng.uniform(0, 1.5 if free else 0.25), count))
    pitch += tilts * np.clip(age - 0.15, -0.15, 0.4)
    if free:
        pitch += wander(rng, rng.uniform(0, 0.35), 1.0, 5.0)
    if rng.random() < 0.65:
        pitch += vibrato(rng, played, pick(rng, 10, 110), rng.uniform(0.05, 0.5))
    pitch += wander(rng, 0.12 * rng.random(), 0.05, 0.4)
    return pitch + smooth(rng.normal(0, rough, CONTROLS), 0.012)


def _creak(
    rng: np.random.Generator, clip: Clip, played: Played, pitch: np.ndarray, level: np.ndarray,
    base: np.ndarray,
) -> None:  # fmt: skip
    """A lower octave that comes in where phrases end."""
    onset, end = np.array(played.onset_s), np.array(played.end_s)
    last = np.append(onset[1:] - end[:-1] > 0.08, True) * (rng.random(len(onset)) < 0.6)
    left = hold(played, end) - TIMES
    near = hold(played, last.astype(float)) * (left < rng.uniform(0.05, 0.16))
    loud = smooth(near, 0.02) * level * 10 ** (rng.uniform(-12, 3) / 20)
    rough = smooth(rng.normal(0, 1.5, CONTROLS), 0.015)
    clip.lanes.append(Lane(
        (pitch - 12 + rough).astype(np.float32), loud.astype(np.float32),
        colour(np.full(CONTROLS, rng.uniform(0.2, 1.0))), base,
    ))  # fmt: skip


def _breaths(rng: np.random.Generator, clip: Clip, played: Played) -> None:
    """Air drawn in where there is a rest."""
    drawn = np.zeros(CONTROLS)
    ends, onsets = [0.0, *played.end_s[:-1]], played.onset_s
    for end, following in zip(ends, onsets, strict=True):
        if following - end > 0.12 and rng.random() < 0.8:
            long_s = min(following - end - 0.04, rng.uniform(0.1, 0.5))
            a = int((following - 0.02 - long_s) / CONTROL_S)
            b = min(int((following - 0.02) / CONTROL_S), CONTROLS)
            drawn[a:b] = np.hanning(b - a) * pick(rng, 0.004, 0.15)
    clip.noises.append(Noise(drawn.astype(np.float32), pick(rng, 900, 5000), rng.uniform(0.6, 1.6)))
