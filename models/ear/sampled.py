"""Training audio from a small General MIDI sound font, played by FluidSynth's library.

In     : path of the library and of the sound font TimGM6mb.sf2 (GPL data; used to make training
         audio only, nothing of it is shipped).
Out    : Clip with `audio` set, labels of the same kind as those of the synthesised clips.
Method : the library is called through ctypes in the process, so that every note sounds exactly
         where its label says; slurs either start a new note or bend a held one.
"""

from __future__ import annotations

import ctypes
from pathlib import Path

import numpy as np

from liltwright.hear.ears.network import SAMPLE_RATE
from liltwright.models.ear.curves import CLIP_S, SAMPLES, Clip, label, leave_gaps, pick
from liltwright.models.ear.melodies import ORNAMENT, REPEAT_SOFT, SLUR, TONGUE, Habits, Played, play

PLUCKED = (24, 25, 26, 27, 15, 45, 46, 104, 105, 106, 107, 0, 6, 12, 11, 1, 8, 9, 10, 13, 108)
RANGES = {
    73: (60, 96), 72: (74, 102), 74: (65, 98), 75: (60, 91), 76: (60, 91), 77: (55, 84),
    78: (72, 100), 79: (65, 96), 64: (56, 87), 65: (50, 80), 66: (44, 75), 68: (58, 89),
    69: (52, 81), 70: (40, 70), 71: (50, 89), 21: (53, 89), 22: (60, 91), 23: (50, 88),
    20: (48, 84), 40: (55, 96), 41: (48, 84), 42: (40, 76), 110: (55, 93), 109: (60, 86),
    111: (58, 84), 52: (43, 79), 53: (43, 79), 54: (45, 79), 85: (48, 84), 56: (55, 84),
    57: (40, 70), 60: (45, 76), 80: (55, 90), 82: (60, 96), 48: (50, 90), 59: (55, 82),
    19: (48, 86), 16: (48, 86), 44: (50, 88), 67: (38, 65),
}  # fmt: skip
SLOW = (52, 53, 54, 85, 48)
BLOCK = 64
BEND_RANGE = 12


class Sampler:
    """One FluidSynth instance with the sound font loaded."""

    def __init__(self, library: Path, font: Path) -> None:
        """Load both. Raises OSError when the library or the sound font cannot be loaded."""
        self.lib = lib = ctypes.CDLL(str(library))
        for name in ("new_fluid_settings", "new_fluid_synth"):
            getattr(lib, name).restype = ctypes.c_void_p
        settings = ctypes.c_void_p(lib.new_fluid_settings())
        lib.fluid_settings_setnum(settings, b"synth.sample-rate", ctypes.c_double(SAMPLE_RATE))
        lib.fluid_settings_setnum(settings, b"synth.gain", ctypes.c_double(0.5))
        lib.fluid_settings_setint(settings, b"synth.reverb.active", 0)
        lib.fluid_settings_setint(settings, b"synth.chorus.active", 0)
        self.synth = ctypes.c_void_p(lib.new_fluid_synth(settings))
        if lib.fluid_synth_sfload(self.synth, str(font).encode(), 1) < 0:
            raise OSError(f"cannot load {font}")

    def start(self, program: int) -> None:
        """Silence everything and choose an instrument."""
        lib, synth = self.lib, self.synth
        lib.fluid_synth_system_reset(synth)
        lib.fluid_synth_all_sounds_off(synth, -1)
        self.write(np.zeros((2, 32 * BLOCK), np.float32))
        lib.fluid_synth_program_change(synth, 0, program)
        lib.fluid_synth_pitch_wheel_sens(synth, 0, BEND_RANGE)

    def bend(self, semitones: float) -> None:
        """Set the pitch bend."""
        value = int(np.clip(8192 + 8192 * semitones / BEND_RANGE, 0, 16383))
        self.lib.fluid_synth_pitch_bend(self.synth, 0, value)

    def write(self, out: np.ndarray) -> None:
        """Fill a stereo buffer of shape (2, n)."""
        n = out.shape[1]
        left = out[0].ctypes.data_as(ctypes.c_void_p)
        right = out[1].ctypes.data_as(ctypes.c_void_p)
        self.lib.fluid_synth_write_float(self.synth, n, left, 0, 1, right, 0, 1)


def sampled(rng: np.random.Generator, sampler: Sampler) -> Clip:
    """A random clip played by a random instrument of the sound font."""
    clip = Clip(family="sampled")
    if rng.random() < 0.3:
        program, (low, high) = int(rng.choice(PLUCKED)), (45, 88)
        strings = True
    else:
        program = int(rng.choice([*RANGES, *(SLOW * 4)]))
        (low, high), strings = RANGES[program], False
    slow = program in SLOW
    span = int(rng.integers(12, 25))
    base = int(rng.integers(low, max(low + 1, high - span + 1)))
    how = Habits(
        base, min(base + span, high), pick(rng, 0.13 if slow else 0.09, 0.35 if slow else 0.3),
        slur=rng.choice((0.0, 0.3, 0.7)), ornaments=0.0 if slow else rng.choice((0.0, 0.15, 0.35)),
        repeats=rng.uniform(0.05, 0.5 if slow else 0.3), rests=rng.uniform(0, 0.08),
        gap=(0.0, rng.choice((0.0, 0.1, 0.4))), timing_s=rng.uniform(0, 0.01),
    )  # fmt: skip
    stop = CLIP_S if rng.random() < 0.7 else rng.uniform(3.0, CLIP_S)
    played = play(rng, how, rng.uniform(0, 0.3), stop)
    cents = float(rng.uniform(-50, 50)) if rng.random() < 0.7 else 0.0
    if not played.midi:
        return clip
    bends = not strings and not slow and rng.random() < 0.5
    leave_gaps(rng, played, 0.0, 0.03)
    ring = strings and rng.random() < 0.5
    clip.audio = _perform(rng, sampler, program, played, cents, bends, ring)
    if strings:
        for i in range(len(played.midi)):
            following = played.onset_s[i + 1] if i + 1 < len(played.midi) else CLIP_S
            if ring:
                played.end_s[i] = min(following, played.onset_s[i] + 0.8)
    label(clip, played, cents)
    return clip


def _perform(
    rng: np.random.Generator,
    sampler: Sampler,
    program: int,
    played: Played,
    cents: float,
    bends: bool,
    ring: bool,
) -> np.ndarray:
    events = _events(rng, played, bends, ring)
    sampler.start(program)
    out = np.zeros((2, SAMPLES), np.float32)
    vibrato = rng.uniform(0.05, 0.5) if rng.random() < 0.3 else 0.0
    rate, at, k, interval = rng.uniform(4.5, 7), 0, 0, 0.0
    while at < SAMPLES:
        now = at / SAMPLE_RATE
        while k < len(events) and events[k][0] <= now + BLOCK / SAMPLE_RATE / 2:
            _, what, midi, value = events[k]
            if what == "on":
                sampler.lib.fluid_synth_noteon(sampler.synth, 0, midi, int(value))
            elif what == "off":
                sampler.lib.fluid_synth_noteoff(sampler.synth, 0, midi)
            elif what == "bend":
                interval = value
            else:
                sampler.lib.fluid_synth_cc(sampler.synth, 0, 11, int(value))
            k += 1
        sampler.bend(interval + cents / 100 + vibrato * np.sin(2 * np.pi * rate * now))
        stop = events[k][0] * SAMPLE_RATE if k < len(events) else SAMPLES
        longest = 2 * BLOCK if vibrato else 40 * BLOCK
        blocks = int(np.clip(round((stop - at) / BLOCK), 1, longest // BLOCK))
        n = min(blocks * BLOCK, SAMPLES - at)
        piece = np.zeros((2, n), np.float32)
        sampler.write(piece)
        out[:, at : at + n] = piece
        at += n
    mono = out.mean(axis=0)
    return mono / max(float(np.abs(mono).max()), 1e-4)


def _events(
    rng: np.random.Generator, played: Played, bends: bool, ring: bool
) -> list[tuple[float, str, int, float]]:
    """Note-ons, note-offs, bends and dips of the expression control in order of time."""
    events: list[tuple[float, int, str, int, float]] = []
    loud, spread = rng.uniform(60, 115), rng.uniform(2, 18)
    overlap = rng.uniform(0, 0.03) if rng.random() < 0.5 else 0.0
    anchor = played.midi[0]
    for i, midi in enumerate(played.midi):
        onset, end = played.onset_s[i], played.end_s[i]
        held = i > 0 and bends and played.begin[i] in (SLUR, ORNAMENT) and abs(midi - anchor) < 8
        soft = i > 0 and bends and played.begin[i] == REPEAT_SOFT and abs(midi - anchor) < 8
        last = i + 1 == len(played.midi)
        goes_on = (
            not last
            and bends
            and played.begin[i + 1] in (SLUR, ORNAMENT, REPEAT_SOFT)
            and abs(played.midi[i + 1] - (anchor if held or soft else midi)) < 8
        )
        if held or soft:
            events.append((onset, 1, "bend", 0, float(midi - anchor)))
            if soft:
                width, depth = rng.uniform(0.012, 0.04), rng.uniform(20, 85)
                events.append((onset - width / 2, 1, "level", 0, depth))
                events.append((onset + width / 2, 1, "level", 0, 127.0))
        else:
            anchor = midi
            events.append((onset, 1, "bend", 0, 0.0))
            events.append((onset, 2, "on", midi, float(np.clip(rng.normal(loud, spread), 25, 127))))
        if not goes_on:
            tied = not last and played.begin[i + 1] != TONGUE
            later = 0.6 if ring else overlap if tied else 0.0
            following = played.onset_s[i + 1] if not last else CLIP_S
            same = not last and played.midi[i + 1] == anchor
            off = min(end + later, following) if same else end + later
            events.append((off, 0, "off", anchor, 0.0))
    return [(t, what, midi, value) for t, _, what, midi, value in sorted(events)]
