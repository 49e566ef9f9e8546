"""What a clip is made of, and the curves that every family of sounds is built with.

Out    : Clip: lanes (harmonic sounds with their curves of pitch, level and colour), noises
         (level curves with a band), labels per frame. models.ear.render makes the sound.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from liltwright.hear.ears.network import HOP, HOP_S, SAMPLE_RATE
from liltwright.models.ear.melodies import TONGUE, Played

FRAMES = 512
SAMPLES = FRAMES * HOP
CONTROL_HOP = 64
CONTROLS = SAMPLES // CONTROL_HOP
CONTROL_S = CONTROL_HOP / SAMPLE_RATE
CLIP_S = SAMPLES / SAMPLE_RATE
HARMONICS = 40
FORMANTS = 4

TIMES = (np.arange(CONTROLS) * CONTROL_S).astype(np.float32)

VOWELS = np.array([
    (270, 2290, 3010, 3500), (400, 2000, 2550, 3500), (530, 1840, 2480, 3500),
    (660, 1720, 2410, 3500), (730, 1090, 2440, 3400), (570, 840, 2410, 3300),
    (440, 1020, 2240, 3300), (300, 870, 2240, 3300), (500, 1500, 2500, 3500),
], float)  # fmt: skip
NASAL = np.array((250.0, 1100.0, 2200.0, 3300.0))


@dataclass
class Lane:
    """One harmonic sound. Curves at CONTROL_HOP (pitch, level) or HOP (colour)."""

    midi: np.ndarray
    level: np.ndarray
    slope: np.ndarray
    """Exponent of the fall of the harmonics: amplitude h ** -slope."""
    base: np.ndarray
    stiffness: float = 0.0
    formants: np.ndarray | None = None
    """Shape (FORMANTS, FRAMES), Hz."""


@dataclass
class Noise:
    """Noise with a level curve at CONTROL_HOP in a band."""

    level: np.ndarray
    centre_hz: float
    octaves: float


@dataclass
class Clip:
    """Everything about one clip of training audio, before it is rendered."""

    lanes: list[Lane] = field(default_factory=list)
    noises: list[Noise] = field(default_factory=list)
    pitch: np.ndarray = field(default_factory=lambda: np.full(FRAMES, -1.0, np.float32))
    """MIDI pitch of the note at each frame as played, -1 where there is none."""
    events: np.ndarray = field(default_factory=lambda: np.zeros((3, FRAMES), np.float32))
    audio: np.ndarray | None = None
    """Sound already rendered elsewhere, shape (SAMPLES,)."""
    dry: bool = False
    family: str = ""


def pick(rng: np.random.Generator, low: float, high: float) -> float:
    """A value between two bounds, evenly on a logarithmic scale."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def label(
    clip: Clip, played: Played, cents: float, fill_s: float = 0.06, means: np.ndarray | None = None
) -> None:
    """Write the frame labels. Gaps shorter than `fill_s` belong to the note before them.

    means : MIDI pitch that each note is sung at, where that is not the written one plus cents
    """
    onsets = np.array(played.onset_s)
    for i, (onset, end) in enumerate(zip(played.onset_s, played.end_s, strict=True)):
        following = played.onset_s[i + 1] if i + 1 < len(onsets) else 1e9
        stop = following if following - end < fill_s else end
        first, last = int(np.ceil(onset / HOP_S - 0.5)), int(np.ceil(stop / HOP_S - 0.5))
        midi = played.midi[i] + cents / 100 if means is None else means[i]
        clip.pitch[max(first, 0) : max(last, 0)] = midi
        if played.ornament[i]:
            clip.events[2, max(first, 0) : max(last, 0)] = 1.0
        _mark(clip.events[0], onset)
        if following - end >= fill_s:
            _mark(clip.events[1], end)


def _mark(track: np.ndarray, time_s: float) -> None:
    at = time_s / HOP_S
    for frame in range(int(at) - 1, int(at) + 3):
        if 0 <= frame < FRAMES:
            track[frame] = max(track[frame], 1.0 - abs(frame - at) / 2.0)


# ---------------------------------------------------------------- curves


def hold(played: Played, values: np.ndarray, starts_s: np.ndarray | None = None) -> np.ndarray:
    """One value per note, held from its onset (or start) to the next, at control rate."""
    starts_s = np.array(played.onset_s) if starts_s is None else starts_s
    index = np.searchsorted(starts_s, TIMES, side="right") - 1
    return np.asarray(values)[np.maximum(index, 0)]


def since_onset(played: Played) -> np.ndarray:
    """Seconds since the onset of the current note, at control rate."""
    return np.maximum(TIMES - hold(played, np.array(played.onset_s)), 0.0)


def smooth(curve: np.ndarray, seconds: float, lag: float = 0.5) -> np.ndarray:
    """Moving average with a bell of this length; `lag` 0.5 starts to move where the step is."""
    n = int(seconds / CONTROL_S)
    if n < 2:
        return curve
    bell = np.hanning(n + 2)[1:-1]
    padded = np.concatenate([np.full(n, curve[0]), curve, np.full(n, curve[-1])])
    smoothed = np.convolve(padded, bell / bell.sum(), mode="same")
    start = n - round(lag * n)
    return smoothed[start : start + len(curve)]


def gates(played: Played, levels: np.ndarray) -> np.ndarray:
    """Level of each note while it sounds and 0 in the gaps, at control rate."""
    return (
        hold(played, levels)
        * (hold(played, np.array(played.end_s)) > TIMES)
        * (played.onset_s[0] <= TIMES)
    )


def dip(curve: np.ndarray, centre_s: float, width_s: float, depth_db: float) -> None:
    """Lower a level curve in place for a moment."""
    first, last = (
        int((centre_s - width_s / 2) / CONTROL_S),
        int((centre_s + width_s / 2) / CONTROL_S) + 1,
    )
    first, last = max(first, 0), min(last, len(curve))
    if last > first:
        shape = np.sin(np.pi * (np.arange(first, last) - first + 0.5) / (last - first)) ** 2
        curve[first:last] *= 1.0 - (1.0 - 10 ** (-depth_db / 20)) * shape


def wander(
    rng: np.random.Generator, size: float, slowest_hz: float, fastest_hz: float
) -> np.ndarray:
    """A smooth random curve with about this standard deviation, at control rate."""
    curve = np.zeros(CONTROLS)
    for _ in range(4):
        rate = pick(rng, slowest_hz, fastest_hz)
        curve += np.sin(2 * np.pi * (rate * TIMES + rng.random()))
    return curve * size / np.sqrt(2)


def vibrato(rng: np.random.Generator, played: Played, cents: float, delay_s: float) -> np.ndarray:
    """Vibrato in semitones that sets in after a delay in every note, at control rate."""
    rate = rng.uniform(4.0, 7.8) + wander(rng, 0.3, 0.2, 1.0)
    phase = 2 * np.pi * (np.cumsum(rate) * CONTROL_S + rng.random())
    grown = np.clip((since_onset(played) - delay_s) / max(0.15, delay_s), 0, 1)
    depth = cents * hold(played, rng.uniform(0.5, 1.2, len(played.midi)))
    return np.sin(phase) * grown * depth / 100


def colour(curve: np.ndarray) -> np.ndarray:
    """Control rate -> frame rate."""
    return curve[:: HOP // CONTROL_HOP].astype(np.float32)


def spectrum(rng: np.random.Generator, spread_db: float) -> np.ndarray:
    """Random strengths of the harmonics around an even spectrum."""
    return (10 ** (rng.normal(0, spread_db, HARMONICS) / 20)).astype(np.float32)


def leave_gaps(rng: np.random.Generator, played: Played, shortest: float, longest: float) -> None:
    """End notes before a tongued note a little early, so that the tongue is heard."""
    gap = rng.uniform(shortest, longest)
    for i in range(len(played.midi) - 1):
        if played.begin[i + 1] == TONGUE:
            room = played.onset_s[i + 1] - played.onset_s[i]
            stop = played.onset_s[i + 1] - min(gap * rng.uniform(0.6, 1.4), 0.4 * room)
            played.end_s[i] = min(played.end_s[i], stop)
