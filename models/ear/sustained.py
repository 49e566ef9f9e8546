"""Sustained sounds: winds, reeds, bows, pipes, whistling, singing.

In     : a numpy random generator, the notes of a performance.
Out    : lanes, noises and labels added to a clip.
Method : additive synthesis; every habit of a family is a range from which each clip draws, so
         that no two clips share an instrument.
References: J. Sundberg, "The Science of the Singing Voice", 1987 (vibrato, from memory);
         N. Fletcher and T. Rossing, "The Physics of Musical Instruments", 1998 (attack times,
         from memory).
"""

from __future__ import annotations

import numpy as np

from liltwright.models.ear.curves import (
    CLIP_S,
    CONTROL_S,
    CONTROLS,
    FRAMES,
    TIMES,
    Clip,
    Lane,
    Noise,
    colour,
    dip,
    gates,
    hold,
    label,
    leave_gaps,
    pick,
    since_onset,
    smooth,
    spectrum,
    vibrato,
    wander,
)  # fmt: skip
from liltwright.models.ear.families import FAMILIES, OFTEN_REPEATED, SUNG, Family
from liltwright.models.ear.melodies import ORNAMENT, REPEAT_SOFT, SLUR, TONGUE, Habits, Played
from liltwright.models.ear.syllables import syllables


def slower(rng: np.random.Generator) -> float:
    """Factor of the length of the notes: now and then somebody practises."""
    return rng.uniform(1.5, 2.5) if rng.random() < 0.12 else 1.0


def habits(rng: np.random.Generator, name: str) -> Habits:
    """A player of this family with a random instrument of its range."""
    family = FAMILIES[name]
    again = name in OFTEN_REPEATED and rng.random() < 0.35
    span = int(rng.integers(12, 25))
    low = int(rng.integers(family.low, max(family.low + 1, family.high - span + 1)))
    return Habits(
        low=low,
        high=min(low + span, family.high),
        unit_s=pick(rng, *family.unit_s) * slower(rng),
        slur=rng.uniform(*family.slur),
        ornaments=rng.uniform(*family.ornaments) if rng.random() < 0.75 else 0.0,
        repeats=rng.uniform(0.25, 0.6) if again else rng.uniform(0.05, 0.3),
        rests=rng.uniform(0, 0.1),
        gap=(0.0, rng.choice((0.0, 0.03, 0.15, 0.4), p=(0.3, 0.3, 0.25, 0.15))),
        chromatic=rng.choice((0.0, 0.03, 0.2)),
        timing_s=rng.uniform(0, 0.012),
    )


def sustained(
    rng: np.random.Generator, clip: Clip, name: str, played: Played, cents: float
) -> None:
    """Lanes and noises of a sustained sound that plays these notes."""
    family = FAMILIES[name]
    if rng.random() < 0.8:
        leave_gaps(rng, played, *family.gap_s)
    label(clip, played, cents)
    level = _level(rng, family, played)
    formants, slope_extra = None, np.zeros(CONTROLS)
    if name in SUNG:
        formants, slope_extra = syllables(rng, clip, played, level, name)
    count = {
        "free reed": 1 + (rng.random() < 0.7) + (rng.random() < 0.15),
        "choir": int(rng.integers(3, 7)),
    }.get(name, 1)
    slope = rng.uniform(*family.slope)
    base = spectrum(rng, family.spread_db)
    if rng.random() < family.odd:
        base[1::2] *= 10 ** (-rng.uniform(8, 30) / 20)
    if name in ("flute", "whistle", "lip whistle") and rng.random() < 0.3:
        base[0] = max(base[0], 1.0)
    if name in ("reed", "bowed", "brass", "pipes", "free reed") and rng.random() < 0.15:
        base[0] *= 10 ** (-rng.uniform(8, 35) / 20)  # hardly any fundamental
    if name == "hum" and rng.random() < 0.5:
        slope += 1.0
    pitch = _pitch(rng, family, name, played, cents)
    follows = rng.uniform(0.5, 2.0) if name == "brass" else rng.uniform(0, 0.4)
    bright = slope + slope_extra - follows * np.log10(np.maximum(level, 1e-3))
    detune = rng.uniform(2, 25)
    scatter = rng.uniform(0, 0.03) if name == "choir" else 0.0
    for voice in range(count):
        midi = (
            pitch
            if count == 1 or (name == "free reed" and voice == 0)
            else (pitch + _voice_detune(rng, name, voice, detune, played))
        )
        lane_base = base if voice == 0 else base * spectrum(rng, 2)
        octave = 12 if name == "free reed" and voice == 2 and rng.random() < 0.5 else 0
        late = round(rng.normal(0, scatter) / CONTROL_S)
        clip.lanes.append(Lane(
            np.roll(midi - octave, late).astype(np.float32),
            np.roll(level / np.sqrt(count), late).astype(np.float32),
            colour(bright), lane_base, 0.0, formants,
        ))  # fmt: skip
    often = {"whistle": 0.5, "flute": 0.4, "lip whistle": 0.2, "reed": 0.3}
    if rng.random() < often.get(name, 0.0):
        _overblown(rng, clip, played, pitch, level, base)
    _breath(rng, clip, family, name, played, level)


def _overblown(
    rng: np.random.Generator,
    clip: Clip,
    played: Played,
    pitch: np.ndarray,
    level: np.ndarray,
    base: np.ndarray,
) -> None:
    """What is left of the lower octave (or twelfth) when high notes are overblown."""
    from_midi = rng.uniform(min(played.midi), max(played.midi))
    high = hold(played, (np.array(played.midi) >= from_midi).astype(float))
    strong = rng.random() < 0.3  # then nothing but the lower octave itself
    loud_db = rng.uniform(-20, 0) if strong else rng.uniform(-40, -10)
    remnant = smooth(high, 0.01) * level * 10 ** (loud_db / 20)
    below = 12 if strong or rng.random() < 0.8 else 19
    slope = rng.uniform(2.5, 5.0) if strong else rng.uniform(0, 1.0)
    clip.lanes.append(Lane(
        (pitch - below).astype(np.float32), remnant.astype(np.float32),
        np.full(FRAMES, slope, np.float32), np.ones_like(base) if strong else base,
    ))  # fmt: skip


def _voice_detune(
    rng: np.random.Generator, name: str, voice: int, detune: float, played: Played
) -> np.ndarray:
    if name == "free reed":
        return np.full(CONTROLS, detune / 100 * (1 if voice == 1 else -rng.random()))
    return (
        rng.normal(0, 0.1)
        + wander(rng, 0.05, 0.2, 2.0)
        + vibrato(rng, played, rng.uniform(0, 35), 0.05)
    )


def _level(rng: np.random.Generator, family: Family, played: Played) -> np.ndarray:
    """Level curve: gates with attacks and releases, dips, accents and swells."""
    count = len(played.midi)
    levels = 10 ** (rng.normal(0, rng.uniform(0.5, 3), count) / 20)
    raw = gates(played, levels)
    level = smooth(raw, pick(rng, *family.attack_s), 0.5)
    if rng.random() < 0.6:
        _tails(played, level, pick(rng, 0.015, 0.2))
    quick = rng.uniform(0, 0.8)
    for i in range(1, count):
        begin, onset = played.begin[i], played.onset_s[i]
        repeated = played.midi[i] == played.midi[i - 1]
        if begin == REPEAT_SOFT or (begin == TONGUE and (repeated or rng.random() < 0.5)):
            depth = rng.uniform(*family.dip_db) * (1.0 if repeated else rng.uniform(0.2, 1))
            dip(level, onset, pick(rng, *family.dip_s), max(depth, 3.5 if repeated else 0))
        elif rng.random() < quick:
            dip(level, onset, rng.uniform(0.01, 0.03), rng.uniform(0, 6))
    age = since_onset(played)
    if rng.random() < 0.5:
        accent = hold(played, rng.uniform(0, 0.8, count) * (np.array(played.begin) == TONGUE))
        level *= 1 + accent * np.exp(-age / rng.uniform(0.02, 0.12))
    if rng.random() < family.swell:
        swell = hold(played, rng.normal(0, 0.5, count))
        level *= np.exp(swell * np.minimum(age, 0.6))
    tremble = rng.random() < 0.25
    if tremble:
        level *= 1 + rng.uniform(0.05, 0.3) * np.sin(2 * np.pi * rng.uniform(4, 7.5) * TIMES)
    return level * (1 + wander(rng, 0.04, 0.5, 10.0))


def _tails(played: Played, level: np.ndarray, seconds: float) -> None:
    """Let every note that is followed by a gap die away over this time, in place."""
    n = int(seconds / CONTROL_S) + 1
    fall = np.cos(np.pi / 2 * np.arange(1, n + 1) / n)
    for i, end in enumerate(played.end_s):
        b = int(end / CONTROL_S)
        following = played.onset_s[i + 1] if i + 1 < len(played.end_s) else CLIP_S
        last = min(b + n, int(following / CONTROL_S), CONTROLS)
        if 0 < b < last:
            tail = level[b - 1] * fall[: last - b]
            level[b:last] = np.maximum(level[b:last], tail)


def _starts(rng: np.random.Generator, name: str, played: Played) -> np.ndarray:
    """When the pitch moves to each note: often before its attack, in the gap or the consonant."""
    starts = np.array(played.onset_s)
    mode = rng.random()
    spoken = name in ("hum", "voice", "lilt", "choir", "lip whistle")
    lead = rng.uniform(0.0, 0.07)
    for i in range(1, len(starts)):
        if played.begin[i] in (SLUR, ORNAMENT) or mode < 0.3:
            continue
        early = played.end_s[i - 1]
        if mode > 0.7 and spoken:
            early = min(early, starts[i] - lead * rng.uniform(0.3, 1.0))
        starts[i] = max(early, played.onset_s[i - 1] + 0.03)
    return np.maximum.accumulate(starts)


def _pitch(
    rng: np.random.Generator, family: Family, name: str, played: Played, cents: float
) -> np.ndarray:
    """Pitch curve in MIDI: glides, vibrato, scoops, falls, drift."""
    count = len(played.midi)
    notes = np.array(played.midi) + rng.normal(0, 0.04 if family.drift == 0 else 0.12, count)
    glide = pick(rng, *family.glide_s)
    pitch = smooth(hold(played, notes, _starts(rng, name, played)), glide, rng.uniform(0, 0.5))
    if rng.random() < family.vibrato:
        pitch = pitch + vibrato(rng, played, pick(rng, *family.cents), rng.choice((0.0, 0.1, 0.25)))
    if name in ("voice", "lilt", "hum", "choir", "lip whistle", "bowed", "flute"):
        often = rng.uniform(0, 0.5) * (0.4 if name in ("bowed", "flute") else 1.0)
        fresh = np.array(played.begin) == TONGUE
        lengths = np.diff(np.append(played.onset_s, CLIP_S))
        size = (
            np.minimum(rng.exponential(0.9, count), 3.0)
            * (rng.random(count) < often)
            * (fresh | (rng.random(count) < 0.2))
        )
        fade = np.minimum(rng.uniform(0.02, 0.07, count), 0.3 * lengths)
        age = since_onset(played)
        pitch = pitch - hold(played, size) * np.exp(-age / hold(played, fade))
        falls = np.minimum(rng.exponential(0.8, count), 3.0) * (rng.random(count) < 0.3 * often)
        left = np.maximum(hold(played, np.array(played.end_s)) - TIMES, 0)
        pitch = pitch - hold(played, falls) * np.exp(-left / 0.03)
    pitch = pitch + wander(rng, family.drift * rng.random(), 0.05, 0.3)
    pitch = pitch + smooth(rng.normal(0, rng.uniform(0, 0.12), CONTROLS), 0.012)
    return pitch + cents / 100


def _breath(
    rng: np.random.Generator,
    clip: Clip,
    family: Family,
    name: str,
    played: Played,
    level: np.ndarray,
) -> None:
    """Breath or bow noise that follows the level, and a puff at tongued onsets."""
    loud = 10 ** (rng.uniform(*family.breath_db) / 20)
    clip.noises.append(
        Noise((level * loud).astype(np.float32), pick(rng, 700, 6000), rng.uniform(1, 3))
    )
    if rng.random() < 0.5 and name not in ("free reed", "bowed", "pipes"):
        drawn = np.zeros(CONTROLS)
        for end, following in zip(played.end_s[:-1], played.onset_s[1:], strict=True):
            if following - end > 0.1:
                a, b = int((end + 0.02) / CONTROL_S), int((following - 0.02) / CONTROL_S)
                drawn[a:b] = np.hanning(b - a) * pick(rng, 0.003, 0.05)
        clip.noises.append(Noise(drawn.astype(np.float32), pick(rng, 900, 4000), 1.0))
    if name in ("flute", "whistle", "reed", "bowed", "lip whistle") and rng.random() < 0.5:
        age = since_onset(played)
        fresh = hold(
            played, (np.array(played.begin) == TONGUE) * rng.uniform(0.2, 1, len(played.midi))
        )
        puff = fresh * (age >= 0) * np.exp(-np.maximum(age, 0) / rng.uniform(0.005, 0.03))
        puff *= 10 ** (rng.uniform(-35, -10) / 20)
        clip.noises.append(
            Noise(puff.astype(np.float32), pick(rng, 500, 5000), rng.uniform(0.7, 2))
        )
