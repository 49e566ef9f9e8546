"""Notes of an accompaniment -> sound: lanes of strings and reeds, or a small sound font.

In     : Strike: when, how long, what, how loud, on which string; a numpy random generator.
Out    : lanes and noises, or audio, added to a clip. Nothing is labelled.
Method : strings and reeds as in models.ear; the sound font is played through FluidSynth's library
         with one channel an instrument and the drums on channel 9.
"""

from __future__ import annotations

import ctypes
from dataclasses import dataclass

import numpy as np

from liltwright.hear.ears.network import SAMPLE_RATE
from liltwright.models.ear.curves import (
    CONTROL_S,
    CONTROLS,
    FRAMES,
    HARMONICS,
    SAMPLES,
    Clip,
    Lane,
    Noise,
    colour,
    pick,
    smooth,
    spectrum,
)  # fmt: skip
from liltwright.models.ear.sampled import BLOCK, Sampler

DRUMS = 9


@dataclass(frozen=True, slots=True)
class Strike:
    """One note of an accompaniment."""

    onset_s: float
    end_s: float
    midi: int
    loud: float
    """0 to 1."""
    string: int = 0


@dataclass(frozen=True, slots=True)
class Part:
    """One accompanying instrument. `program` is that of the sound font, 128 for drums."""

    strikes: tuple[Strike, ...]
    program: int
    kind: str
    """"plucked", "held" or "drum"."""
    gain: float


class Band(Sampler):
    """The sound font with several instruments at once."""

    def together(self, rng: np.random.Generator, parts: list[Part], cents: float) -> np.ndarray:
        """All parts as mono samples, shape (SAMPLES,)."""
        self.start(0)
        events: list[tuple[float, int, int, int, int]] = []
        for channel, part in enumerate(parts[:8]):
            where = DRUMS if part.kind == "drum" else channel
            if where != DRUMS:
                self.lib.fluid_synth_program_change(self.synth, where, part.program)
                self.lib.fluid_synth_pitch_wheel_sens(self.synth, where, 2)
                bend = int(np.clip(8192 + 8192 * cents / 200, 0, 16383))
                self.lib.fluid_synth_pitch_bend(self.synth, where, bend)
            for one in part.strikes:
                velocity = int(np.clip(127 * one.loud**0.6 * part.gain**0.5, 8, 127))
                events.append((one.onset_s, 1, where, one.midi, velocity))
                events.append((one.end_s, 0, where, one.midi, 0))
        events.sort()
        out, at, k = np.zeros((2, SAMPLES), np.float32), 0, 0
        side = float(rng.uniform(0.2, 0.8))
        while at < SAMPLES:
            now = at / SAMPLE_RATE
            while k < len(events) and events[k][0] <= now + BLOCK / SAMPLE_RATE / 2:
                _, on, where, midi, velocity = events[k]
                if on:
                    self.lib.fluid_synth_noteon(self.synth, where, midi, velocity)
                else:
                    self.lib.fluid_synth_noteoff(self.synth, where, midi)
                k += 1
            stop = events[k][0] * SAMPLE_RATE if k < len(events) else SAMPLES
            n = min(int(np.clip(round((stop - at) / BLOCK), 1, 60)) * BLOCK, SAMPLES - at)
            piece = np.zeros((2, n), np.float32)
            self.write(piece)
            out[:, at : at + n] = piece
            at += n
        return side * out[0] + (1 - side) * out[1]

    def write(self, out: np.ndarray) -> None:
        """Fill a stereo buffer of shape (2, n)."""
        left = out[0].ctypes.data_as(ctypes.c_void_p)
        right = out[1].ctypes.data_as(ctypes.c_void_p)
        self.lib.fluid_synth_write_float(self.synth, out.shape[1], left, 0, 1, right, 0, 1)


def lanes(rng: np.random.Generator, clip: Clip, part: Part, cents: float) -> None:
    """A part as lanes, one a string."""
    slope, dull = rng.uniform(0.5, 2.2), rng.uniform(0.3, 3.0)
    base = spectrum(rng, 5)
    stiffness = pick(rng, 1e-6, 2e-4) if part.kind == "plucked" else 0.0
    ring_s = pick(rng, 0.3, 4.0)
    attack_s = pick(rng, 0.001, 0.006) if part.kind == "plucked" else pick(rng, 0.01, 0.08)
    for string in sorted({one.string for one in part.strikes}):
        mine = [one for one in part.strikes if one.string == string]
        midi, level, age = _curves(mine, part.kind, ring_s, attack_s)
        midi += cents / 100 + rng.normal(0, 0.02)
        clip.lanes.append(Lane(
            midi.astype(np.float32), (level * part.gain).astype(np.float32),
            colour(slope + dull * np.minimum(age, 2.0) * (part.kind == "plucked")),
            base * spectrum(rng, 1), stiffness,
        ))  # fmt: skip


def _curves(
    mine: list[Strike], kind: str, ring_s: float, attack_s: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pitch, level and age of one string."""
    midi, level = np.full(CONTROLS, float(mine[0].midi)), np.zeros(CONTROLS)
    age = np.zeros(CONTROLS)
    for k, one in enumerate(mine):
        a = max(int(one.onset_s / CONTROL_S), 0)
        b = int(mine[k + 1].onset_s / CONTROL_S) if k + 1 < len(mine) else CONTROLS
        b = min(b, CONTROLS)
        if b <= a:
            continue
        t = np.arange(b - a) * CONTROL_S
        held = one.end_s - one.onset_s
        curve = one.loud * np.minimum(1.0, (t + CONTROL_S / 2) / attack_s)
        if kind == "plucked":
            curve = curve * np.exp(-t / (ring_s / 4 * 2 ** (-(one.midi - 60) / 24)))
        level[a:b] = curve * np.exp(-np.maximum(t - held, 0) / 0.03)
        midi[a:b], age[a:b] = one.midi, t
    return midi, level, age


def drums(rng: np.random.Generator, clip: Clip, strikes: tuple[Strike, ...], gain: float) -> None:
    """Frame drum, bones, claps or brushes as bursts of noise, the drum with a falling pitch."""
    kind = rng.choice(("frame drum", "bones", "claps", "brushes"), p=(0.5, 0.2, 0.15, 0.15))
    centre, octaves, tail = {
        "frame drum": (pick(rng, 60, 300), rng.uniform(0.5, 1.5), rng.uniform(0.02, 0.15)),
        "bones": (pick(rng, 1200, 4500), rng.uniform(0.4, 1.0), rng.uniform(0.004, 0.02)),
        "claps": (pick(rng, 900, 2500), rng.uniform(0.5, 1.2), rng.uniform(0.01, 0.04)),
        "brushes": (pick(rng, 2500, 8000), 1.2, rng.uniform(0.02, 0.1)),
    }[str(kind)]
    level = np.zeros(CONTROLS)
    for one in strikes:
        at = int(max(one.onset_s, 0) / CONTROL_S)
        n = min(int(6 * tail / CONTROL_S) + 2, CONTROLS - at)
        if n > 0:
            level[at : at + n] += one.loud * np.exp(-np.arange(n) * CONTROL_S / tail)
    level *= gain
    clip.noises.append(Noise(level.astype(np.float32), centre, octaves))
    if kind == "frame drum":
        click = 0.3 * rng.random() * level * 0.5
        clip.noises.append(Noise(click.astype(np.float32), pick(rng, 800, 3000), 1.2))
        only = np.zeros(HARMONICS, np.float32)
        only[:2] = 1.0, rng.uniform(0, 0.4)
        pitch = 69 + 12 * np.log2(pick(rng, 60, 180) / 440)
        near = smooth((level > 0.5 * level.max()).astype(float), 0.02)
        clip.lanes.append(Lane(
            (pitch + 3 * near).astype(np.float32),
            (level * rng.uniform(0.2, 1.2)).astype(np.float32),
            np.zeros(FRAMES, np.float32), only,
        ))  # fmt: skip
