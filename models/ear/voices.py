"""From notes to control curves: how the families of instruments and voices sound.

In     : a numpy random generator.
Out    : Clip: lanes (harmonic sounds with their curves of pitch, level and colour), noises
         (level curves with a band), labels per frame. models.ear.render makes the sound.
Method : additive synthesis with formants; every habit of a family is a range from which each
         clip draws, so that no two clips share an instrument.
References: J. Sundberg, "The Science of the Singing Voice", 1987 (vibrato, formants, from
         memory); N. Fletcher and T. Rossing, "The Physics of Musical Instruments", 1998
         (attack times, stiff strings, from memory).
"""

from __future__ import annotations
from dataclasses import dataclass, field

import numpy as np

from models.ear.melodies import ORNAMENT, REPEAT_SOFT, SLUR, TONGUE, Habits, Played, play
from pipeline.hear.network import HOP, HOP_S, SAMPLE_RATE

FRAMES = 512
SAMPLES = FRAMES * HOP
CONTROL_HOP = 64
CONTROLS = SAMPLES // CONTROL_HOP
CONTROL_S = CONTROL_HOP / SAMPLE_RATE
CLIP_S = SAMPLES / SAMPLE_RATE
HARMONICS = 40
FORMANTS = 4
MAX_DELAY_S = 0.06

TIMES = (np.arange(CONTROLS) * CONTROL_S).astype(np.float32)
FRAME_TIMES = np.arange(FRAMES) * HOP_S

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


def label(clip: Clip, played: Played, cents: float, fill_s: float = 0.06) -> None:
    """Write the frame labels. Gaps shorter than `fill_s` belong to the note before them."""
    onsets = np.array(played.onset_s)
    for i, (onset, end) in enumerate(zip(played.onset_s, played.end_s, strict=True)):
        following = played.onset_s[i + 1] if i + 1 < len(onsets) else 1e9
        stop = following if following - end < fill_s else end
        first, last = int(np.ceil(onset / HOP_S - 0.5)), int(np.ceil(stop / HOP_S - 0.5))
        clip.pitch[max(first, 0) : max(last, 0)] = played.midi[i] + cents / 100
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
    start = n - int(round(lag * n))
    return smoothed[start : start + len(curve)]


def gates(played: Played, levels: np.ndarray) -> np.ndarray:
    """Level of each note while it sounds and 0 in the gaps, at control rate."""
    return (
        hold(played, levels)
        * (TIMES < hold(played, np.array(played.end_s)))
        * (TIMES >= played.onset_s[0])
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


# ---------------------------------------------------------------- sustained families


@dataclass(frozen=True)
class Family:
    """Ranges of one family of sustained sounds."""

    low: int
    high: int
    attack_s: tuple[float, float]
    glide_s: tuple[float, float]
    gap_s: tuple[float, float]
    slope: tuple[float, float]
    spread_db: float
    slur: tuple[float, float]
    dip_db: tuple[float, float]
    dip_s: tuple[float, float]
    vibrato: float = 0.4
    """Share of clips with vibrato."""
    cents: tuple[float, float] = (8, 40)
    odd: float = 0.0
    """Share of clips with weak even harmonics."""
    breath_db: tuple[float, float] = (-60, -30)
    ornaments: tuple[float, float] = (0.0, 0.35)
    drift: float = 0.0
    """Semitones of slow drift."""
    unit_s: tuple[float, float] = (0.1, 0.3)
    swell: float = 0.3


FAMILIES = {
    "flute": Family(59, 98, (0.012, 0.06), (0.006, 0.03), (0.0, 0.04), (0.8, 2.6), 6,
                    (0.1, 0.9), (3, 25), (0.02, 0.07), 0.45, breath_db=(-50, -20)),
    "whistle": Family(72, 99, (0.008, 0.04), (0.004, 0.025), (0.0, 0.035), (1.2, 3.2), 6,
                      (0.1, 0.95), (3, 25), (0.015, 0.06), 0.3, breath_db=(-50, -20),
                      ornaments=(0.05, 0.4)),
    "reed": Family(48, 90, (0.01, 0.05), (0.004, 0.03), (0.0, 0.04), (0.2, 1.6), 8,
                   (0.1, 0.9), (4, 25), (0.015, 0.06), 0.35, odd=0.4),
    "free reed": Family(50, 91, (0.01, 0.06), (0.001, 0.004), (0.0, 0.04), (0.3, 1.5), 8,
                        (0.0, 0.6), (5, 30), (0.02, 0.06), 0.05, breath_db=(-70, -45)),
    "bowed": Family(50, 96, (0.01, 0.09), (0.004, 0.04), (0.0, 0.03), (0.6, 1.6), 7,
                    (0.2, 0.8), (2, 22), (0.015, 0.09), 0.5, (8, 45), breath_db=(-55, -28)),
    "pipes": Family(60, 88, (0.004, 0.03), (0.003, 0.012), (0.0, 0.02), (0.0, 1.2), 8,
                    (0.5, 1.0), (8, 30), (0.012, 0.04), 0.15, odd=0.25,
                    ornaments=(0.2, 0.5), breath_db=(-70, -45), swell=0.05),
    "lip whistle": Family(70, 103, (0.012, 0.07), (0.01, 0.08), (0.0, 0.06), (2.5, 5.0), 5,
                          (0.2, 0.9), (2, 20), (0.025, 0.09), 0.6, (8, 60),
                          breath_db=(-40, -12), drift=0.12, ornaments=(0.0, 0.2)),
    "hum": Family(38, 76, (0.02, 0.1), (0.02, 0.12), (0.0, 0.06), (1.2, 3.0), 6,
                  (0.2, 0.9), (2, 18), (0.03, 0.1), 0.5, (8, 60), breath_db=(-60, -30),
                  drift=0.15, ornaments=(0.0, 0.1), unit_s=(0.13, 0.4)),
    "voice": Family(41, 84, (0.015, 0.08), (0.015, 0.12), (0.0, 0.05), (0.4, 1.8), 3,
                    (0.1, 0.7), (2, 15), (0.03, 0.1), 0.6, (10, 100), breath_db=(-50, -22),
                    drift=0.15, ornaments=(0.0, 0.12), unit_s=(0.12, 0.5)),
    "lilt": Family(41, 84, (0.008, 0.04), (0.01, 0.07), (0.0, 0.04), (0.4, 1.8), 3,
                   (0.05, 0.4), (3, 15), (0.02, 0.07), 0.3, (8, 40), breath_db=(-50, -22),
                   drift=0.12, ornaments=(0.0, 0.2), unit_s=(0.11, 0.3)),
    "choir": Family(45, 84, (0.03, 0.2), (0.01, 0.1), (0.0, 0.03), (0.6, 2.0), 3,
                    (0.1, 0.9), (2.5, 12), (0.04, 0.12), 0.8, (8, 40), breath_db=(-60, -28),
                    drift=0.05, ornaments=(0.0, 0.1), unit_s=(0.13, 0.5)),
}  # fmt: skip
SYLLABLES = ("voice", "lilt")


def habits(rng: np.random.Generator, family: Family) -> Habits:
    """A player of this family with a random instrument of its range."""
    span = int(rng.integers(12, 25))
    low = int(rng.integers(family.low, max(family.low + 1, family.high - span + 1)))
    return Habits(
        low=low,
        high=min(low + span, family.high),
        unit_s=pick(rng, *family.unit_s),
        slur=rng.uniform(*family.slur),
        ornaments=rng.uniform(*family.ornaments) if rng.random() < 0.75 else 0.0,
        repeats=rng.uniform(0.05, 0.3),
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
    if name in ("voice", "lilt", "choir", "hum"):
        formants, slope_extra = _syllables(rng, clip, played, level, name)
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
    if name == "hum" and rng.random() < 0.5:
        slope += 1.0
    pitch = _pitch(rng, family, name, played, cents)
    bright = slope + slope_extra - 0.4 * np.log10(np.maximum(level, 1e-3)) * rng.uniform(0, 1)
    detune = rng.uniform(2, 25)
    for voice in range(count):
        midi = (
            pitch
            if count == 1 or (name == "free reed" and voice == 0)
            else (pitch + _voice_detune(rng, name, voice, detune, played))
        )
        lane_base = base if voice == 0 else base * spectrum(rng, 2)
        octave = 12 if name == "free reed" and voice == 2 and rng.random() < 0.5 else 0
        clip.lanes.append(Lane(
            (midi - octave).astype(np.float32), (level / np.sqrt(count)).astype(np.float32),
            colour(bright), lane_base, 0.0, formants,
        ))  # fmt: skip
    if name in ("flute", "whistle", "lip whistle", "reed") and rng.random() < 0.35:
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
    remnant = smooth(high, 0.01) * level * 10 ** (rng.uniform(-40, -17) / 20)
    below = 12 if rng.random() < 0.8 else 19
    clip.lanes.append(Lane(
        (pitch - below).astype(np.float32), remnant.astype(np.float32),
        np.full(FRAMES, rng.uniform(0, 1.0), np.float32), base,
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


def _syllables(
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
    """One consonant before note i: 0 voiced stop, 1 unvoiced stop, 2 nasal, 3 glide, 4 fricative."""
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


# ---------------------------------------------------------------- plucked and struck strings


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
    for string in range(strings):
        mine = np.flatnonzero(where == string)
        if len(mine):
            lane = _string(rng, played, mine, levels, ring_s, stop_s, attack, damped, slope, dull)
            lane.midi += cents / 100
            lane.base, lane.stiffness = base, stiffness
            clip.lanes.append(lane)
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
