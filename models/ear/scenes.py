"""One clip of training material: a performance, and what else is in a recording.

In     : seed.
Out    : curves.Clip, the same for the same seed.
Method : a family is drawn, it plays a random tune in the whole clip or in a part of it; drones,
         other strings, foot taps, talking, claps, a chord at the end are added unlabelled.
"""

from __future__ import annotations

import numpy as np

from liltwright.models.ear.company import babble, clatter, foot, talk
from liltwright.models.ear.curves import (
    CLIP_S,
    CONTROL_S,
    CONTROLS,
    TIMES,
    Clip,
    Lane,
    Noise,
    colour,
    pick,
    smooth,
    spectrum,
)  # fmt: skip
from liltwright.models.ear.layered import layered
from liltwright.models.ear.melodies import Habits, Played, play
from liltwright.models.ear.singers import singers
from liltwright.models.ear.strings import plucked
from liltwright.models.ear.struck import struck
from liltwright.models.ear.sustained import habits, slower, sustained

SHARES = {
    "plucked": 0.1, "flute": 0.07, "whistle": 0.09, "reed": 0.05, "free reed": 0.05,
    "bowed": 0.08, "pipes": 0.06, "lip whistle": 0.07, "hum": 0.09, "voice": 0.05, "lilt": 0.06,
    "choir": 0.07, "layered": 0.07, "singers": 0.6, "struck": 0.03, "brass": 0.03,
}  # fmt: skip


def scene(rng: np.random.Generator, family: str | None = None) -> Clip:
    """A random clip; of a given family if one is named."""
    clip = Clip()
    names = list(SHARES)
    weights = np.array([SHARES[n] for n in names])
    clip.family = family or str(rng.choice(names, p=weights / weights.sum()))
    cents = float(rng.uniform(-50, 50)) if rng.random() < 0.8 else 0.0
    start, stop = rng.uniform(0.0, 0.3), CLIP_S
    before, after = rng.random() < 0.12, rng.random() < 0.12
    if before:
        start = rng.uniform(0.8, 4.0)
    if after:
        stop = rng.uniform(max(2.0, start + 0.8), CLIP_S)
    elif rng.random() < 0.3:
        stop = rng.uniform(max(3.0, start + 0.8), CLIP_S)
    if clip.family == "singers":
        singers(rng, clip, start, stop)
    elif (played := perform(rng, clip.family, start, stop)).midi and rng.random() > 0.015:
        if clip.family == "plucked":
            plucked(rng, clip, played, cents)
        elif clip.family == "struck":
            struck(rng, clip, played, cents)
        elif clip.family == "layered":
            layered(rng, clip, played, cents)
        else:
            sustained(rng, clip, clip.family, played, cents)
        _others(rng, clip, played, cents)
    if before:
        _interruption(rng, clip, 0.0, start - 0.15)
    if after:
        _interruption(rng, clip, stop + 0.2, CLIP_S)
    if rng.random() < 0.12:
        foot(rng, clip)
    if rng.random() < 0.08:
        clatter(rng, clip)
    if rng.random() < 0.08:
        babble(rng, clip)
    return clip


def perform(rng: np.random.Generator, family: str, start: float, stop: float) -> Played:
    """A random performance by a player of the family."""
    if family in ("plucked", "struck"):
        low = int(rng.integers(55, 79) if family == "struck" else rng.integers(40, 72))
        how = Habits(
            low, low + int(rng.integers(12, 25)), pick(rng, 0.09, 0.32) * slower(rng),
            slur=rng.choice((0.0, 0.15, 0.4)), ornaments=rng.choice((0.0, 0.1, 0.3)),
            repeats=rng.uniform(0.05, 0.35), rests=rng.uniform(0, 0.06),
            gap=(0.0, rng.choice((0.05, 0.5))), timing_s=rng.uniform(0, 0.012),
        )  # fmt: skip
    else:
        how = habits(rng, "choir" if family == "layered" else family)
    return play(rng, how, start, stop)


def _others(rng: np.random.Generator, clip: Clip, played: Played, cents: float) -> None:
    """Sounds of the same instrument that are not the tune: drones, low strings, a last chord."""
    lowest = min(played.midi)
    loudest = max(float(lane.level.max()) for lane in clip.lanes)
    on = (played.onset_s[0] - 0.3 < TIMES) & (played.end_s[-1] + 0.1 > TIMES)
    if (clip.family == "pipes" and rng.random() < 0.6) or rng.random() < 0.03:
        root = lowest - int(rng.choice((5, 7, 10, 12, 12, 17, 19, 24)))
        for octave in (0, -12, 12, 7)[: int(rng.integers(1, 4))]:
            level = on * loudest * 10 ** (rng.uniform(-24, -5) / 20)
            midi = np.full(CONTROLS, root + octave + cents / 100 + rng.normal(0, 0.04))
            _steady(rng, clip, midi + 0 * TIMES, smooth(level, 0.05), rng.uniform(0.2, 1.5))
    elif clip.family == "bowed" and rng.random() < 0.25:
        level = np.zeros(CONTROLS)
        for i in range(len(played.midi)):
            if rng.random() < 0.25:
                level += (
                    loudest
                    * 10 ** (rng.uniform(-25, -8) / 20)
                    * ((played.onset_s[i] <= TIMES) & (played.end_s[i] > TIMES))
                )
        midi = np.full(CONTROLS, lowest - int(rng.choice((5, 7, 3, 12))) + cents / 100)
        _steady(rng, clip, midi, smooth(level, 0.04), rng.uniform(0.6, 1.4))
    elif clip.family in ("plucked", "free reed") and rng.random() < 0.25:
        _accompany(rng, clip, played, lowest, loudest, cents)


def _steady(
    rng: np.random.Generator, clip: Clip, midi: np.ndarray, level: np.ndarray, slope: float
) -> None:
    clip.lanes.append(Lane(
        midi.astype(np.float32), level.astype(np.float32),
        np.full(len(colour(TIMES)), slope, np.float32), spectrum(rng, 6),
    ))  # fmt: skip


def _accompany(
    rng: np.random.Generator, clip: Clip, played: Played, lowest: int, loudest: float, cents: float
) -> None:
    """A low string now and then under the melody."""
    level, midi = np.zeros(CONTROLS), np.full(CONTROLS, 40.0)
    ring = pick(rng, 0.15, 1.0)
    loud = loudest * 10 ** (rng.uniform(-20, -5) / 20)
    every = int(rng.integers(2, 6))
    for onset in played.onset_s[::every]:
        at = int(onset / CONTROL_S)
        level[at:] = loud * np.exp(-(np.arange(CONTROLS - at) * CONTROL_S) / ring)
        midi[at:] = max(lowest - int(rng.choice((7, 12, 12, 14, 17, 19, 24))), 33) + cents / 100
    _steady(rng, clip, midi, smooth(level, 0.006), rng.uniform(0.5, 2.0))


def _interruption(rng: np.random.Generator, clip: Clip, start: float, stop: float) -> None:
    """Talking, claps, a chord or noises between two times, not labelled."""
    if stop - start < 0.3:
        return
    kind = rng.random()
    if kind < 0.7:
        talk(rng, clip, start, stop)
    elif kind < 0.85:
        level = np.zeros(CONTROLS)
        for _ in range(int(rng.integers(3, 80))):
            at = int(rng.uniform(start, stop) / CONTROL_S)
            n = min(30, CONTROLS - at)
            level[at : at + n] += rng.random() * np.exp(-np.arange(n) / rng.uniform(1, 6))
        clip.noises.append(Noise(level.astype(np.float32), pick(rng, 800, 3000), 1.0))
    else:
        at = int(start / CONTROL_S)
        level = np.zeros(CONTROLS)
        level[at:] = 0.7 * np.exp(-(np.arange(CONTROLS - at) * CONTROL_S) / rng.uniform(0.3, 1.5))
        root = int(rng.integers(40, 60))
        for step in (0, 7, 12, int(rng.choice((15, 16, 19))), 24):
            spread = np.roll(level, int(rng.integers(0, 12)))
            _steady(rng, clip, np.full(CONTROLS, float(root + step)), spread, rng.uniform(0.8, 2))
