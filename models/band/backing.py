"""What accompanies: strummed and picked chords, vamps, bass, pads, drones, regulators, drums.

In     : a piece with its chords, a numpy random generator.
Out    : Parts, notes in seconds.
Method : patterns of the beat group as players use them (common practice), with random voicings,
         accents and spread.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from liltwright.models.band.sound import Part, Strike
from liltwright.models.band.tunes import Piece, Under
from liltwright.models.ear.curves import CLIP_S

GUITARS = (24, 25, 25, 25, 26, 27, 105, 104, 15, 46)
PIANOS = (0, 0, 1, 3, 6)
BASSES = (32, 33, 34, 43, 58)
HELD = (21, 21, 22, 16, 19, 48, 49, 109, 20, 52)


def parts(rng: np.random.Generator, what: Piece) -> list[Part]:
    """One to four parts that play together."""
    makers: list[Callable[[np.random.Generator, Piece], Part]] = [
        strummed, picked, vamp, bass, pad, drone, stabs, second,
    ]  # fmt: skip
    chances = np.array((0.28, 0.26, 0.12, 0.09, 0.07, 0.07, 0.03, 0.08))
    count = int(rng.choice((1, 2, 3), p=(0.5, 0.35, 0.15)))
    chosen = rng.choice(len(makers), count, replace=False, p=chances)
    found = [makers[i](rng, what) for i in chosen]
    if rng.random() < 0.4:
        found.append(percussion(rng, what))
    return [part for part in found if part.strikes]


def gain(rng: np.random.Generator) -> float:
    """A random share in the accompaniment."""
    return float(10 ** (rng.uniform(-9, 0) / 20))


def tones(chord: Under, low: int, high: int) -> list[int]:
    """All tones of the chord in a range, from below."""
    steps = {0, 7} | ({chord.third} if chord.third else set())
    return [m for m in range(low, high + 1) if (m - chord.root) % 12 in steps]


def _clip(strikes: list[Strike]) -> tuple[Strike, ...]:
    inside = [one for one in strikes if 0 <= one.onset_s < CLIP_S - 0.02]
    return tuple(sorted(inside, key=lambda one: one.onset_s))


def strummed(rng: np.random.Generator, what: Piece) -> Part:
    """Chords across four to six strings, down and up."""
    strings, bottom = int(rng.integers(3, 7)), int(rng.integers(38, 56))
    damp = rng.random() < 0.4
    pattern = rng.random(2 * what.bar) < rng.uniform(0.25, 0.95)
    pattern[:: what.group] |= rng.random(len(pattern[:: what.group])) < 0.9
    finer = rng.random() < 0.35
    spread = rng.uniform(0.003, 0.016)
    strikes: list[Strike] = []
    for chord in what.chords:
        voicing = tones(chord, bottom, bottom + 30)[:strings]
        for step in np.arange(0, chord.length, 0.5 if finer else 1.0):
            place = chord.start + step
            if not pattern[int(place) % len(pattern)] and step != 0:
                continue
            onset = what.seconds(place) + rng.normal(0, 0.006)
            strong = place % what.group == 0
            down = round(place) % 2 == 0
            loud = (1.0 if strong else rng.uniform(0.35, 0.8)) * rng.uniform(0.8, 1.1)
            held = what.unit_s * (rng.uniform(0.3, 0.9) if damp else 3.0)
            order = list(enumerate(voicing if down else voicing[::-1]))
            for k, midi in order[: None if strong else int(rng.integers(2, strings + 1))]:
                at = onset + k * spread
                string = voicing.index(midi)
                strikes.append(Strike(at, at + held, midi, min(loud, 1.0) * 0.8, string))
    return Part(_clip(strikes), int(rng.choice(GUITARS)), "plucked", gain(rng))


def picked(rng: np.random.Generator, what: Piece) -> Part:
    """Chord tones one after another."""
    bottom, count = int(rng.integers(38, 62)), int(rng.integers(3, 7))
    pattern = rng.integers(0, count, what.group * 2)
    busy = rng.uniform(0.5, 1.0)
    strikes: list[Strike] = []
    for chord in what.chords:
        voicing = tones(chord, bottom, bottom + 30)[:count]
        for step in range(int(chord.length)):
            place = chord.start + step
            if step and rng.random() > busy:
                continue
            k = 0 if step == 0 else int(pattern[int(place) % len(pattern)]) % len(voicing)
            onset = what.seconds(place) + rng.normal(0, 0.006)
            held = what.unit_s * rng.uniform(1, 4)
            loud = rng.uniform(0.5, 0.9)
            strikes.append(Strike(onset, onset + held, voicing[k], loud, k))
    return Part(_clip(strikes), int(rng.choice((*GUITARS, 0, 46))), "plucked", gain(rng))


def vamp(rng: np.random.Generator, what: Piece) -> Part:
    """Left hand on the beat, right hand after it."""
    low, mid = int(rng.integers(31, 43)), int(rng.integers(50, 62))
    octaves = rng.random() < 0.5
    strikes: list[Strike] = []
    for chord in what.chords:
        right = tones(chord, mid, mid + 14)[: int(rng.integers(2, 5))]
        for step in np.arange(0, chord.length, what.group):
            place = chord.start + step
            root = low + (chord.root + (7 if step and rng.random() < 0.5 else 0) - low) % 12
            onset = what.seconds(place) + rng.normal(0, 0.006)
            for k in range(1 + octaves):
                strikes.append(Strike(onset, onset + what.unit_s * 1.5, root + 12 * k, 0.8, k))
            offs: tuple[float, ...] = (what.group / 2,)
            if what.group == 3:
                offs = (2.0,) if rng.random() < 0.6 else (1.0, 2.0)
            for late in offs:
                at = what.seconds(place + late) + rng.normal(0, 0.006)
                for k, midi in enumerate(right):
                    strikes.append(Strike(at, at + what.unit_s * 0.9, midi, 0.55, 2 + k))
    return Part(_clip(strikes), int(rng.choice(PIANOS)), "plucked", gain(rng))


def bass(rng: np.random.Generator, what: Piece) -> Part:
    """Root and fifth, or a line that walks."""
    low, walks = int(rng.integers(28, 40)), rng.random() < 0.4
    strikes: list[Strike] = []
    for chord in what.chords:
        for step in np.arange(0, chord.length, what.group):
            move = int(rng.choice((0, 7, chord.third or 7, 10))) if step or walks else 0
            midi = low + (chord.root + move - low) % 12
            onset = what.seconds(chord.start + step) + rng.normal(0, 0.008)
            held = what.unit_s * what.group * rng.uniform(0.5, 1)
            strikes.append(Strike(onset, onset + held, midi, 0.85, 0))
    return Part(_clip(strikes), int(rng.choice(BASSES)), "plucked", gain(rng))


def pad(rng: np.random.Generator, what: Piece) -> Part:
    """Held chords of an accordion, an organ, strings."""
    bottom, count = int(rng.integers(45, 62)), int(rng.integers(2, 5))
    strikes: list[Strike] = []
    for chord in what.chords:
        onset, end = what.seconds(chord.start), what.seconds(chord.start + chord.length)
        for k, midi in enumerate(tones(chord, bottom, bottom + 24)[:count]):
            strikes.append(Strike(max(onset, 0.0), end, midi, rng.uniform(0.5, 0.8), k))
    return Part(_clip(strikes), int(rng.choice(HELD)), "held", gain(rng))


def drone(rng: np.random.Generator, what: Piece) -> Part:
    """One to three notes that stay."""
    root = int(rng.integers(36, 60))
    root += (what.tonic - root) % 12
    steps = (0, 12, 7, -12)[: int(rng.integers(1, 4))]
    strikes = [Strike(0.0, CLIP_S, root + s, rng.uniform(0.4, 1), k) for k, s in enumerate(steps)]
    return Part(_clip(strikes), int(rng.choice((109, 109, 20, 19, 110, 48))), "held", gain(rng))


def stabs(rng: np.random.Generator, what: Piece) -> Part:
    """Short reed chords on beats, as of regulators."""
    bottom = int(rng.integers(43, 56))
    strikes: list[Strike] = []
    for chord in what.chords:
        voicing = tones(chord, bottom, bottom + 14)[:3]
        for step in np.arange(0, chord.length, what.group):
            if rng.random() < 0.3:
                continue
            onset = what.seconds(chord.start + step)
            held = what.unit_s * rng.uniform(0.4, 1.2)
            strikes += [Strike(onset, onset + held, m, 0.7, k) for k, m in enumerate(voicing)]
    return Part(_clip(strikes), int(rng.choice((20, 68, 70, 21))), "held", gain(rng))


def second(rng: np.random.Generator, what: Piece) -> Part:
    """A second line below the tune: thirds, sixths, chord tones; seldom as loud as the tune."""
    below = int(rng.choice((2, 4, 5)))
    strikes: list[Strike] = []
    ladder = [m for m in range(30, 100) if (m - what.tonic) % 12 in what.scale]
    for note in what.notes:
        if rng.random() < 0.3:
            continue
        at = int(np.searchsorted(ladder, note.midi)) - below
        onset, end = what.seconds(note.start), what.seconds(note.start + note.length)
        midi = ladder[max(at, 0)] - (12 if rng.random() < 0.02 else 0)
        strikes.append(Strike(onset + rng.normal(0, 0.008), end, midi, 0.6, 0))
    kind = "plucked" if rng.random() < 0.5 else "held"
    program = int(rng.choice(GUITARS if kind == "plucked" else (40, 41, 73, 21)))
    return Part(_clip(strikes), program, kind, gain(rng) * rng.uniform(0.4, 0.9))


def percussion(rng: np.random.Generator, what: Piece) -> Part:
    """A drum in the rhythm of the dance."""
    keys = rng.choice((35, 36, 38, 37, 39, 42, 44, 54, 60, 61, 63, 64, 69, 70, 75, 76), 2)
    busy = rng.uniform(0.2, 1.0)
    strikes: list[Strike] = []
    for place in range(int(what.chords[-1].start + what.chords[-1].length)):
        strong = place % what.group == 0
        if not strong and rng.random() > busy:
            continue
        onset = what.seconds(place) + rng.normal(0, 0.006)
        loud = rng.uniform(0.7, 1) if strong else rng.uniform(0.2, 0.7)
        strikes.append(Strike(onset, onset + 0.1, int(keys[0 if strong else 1]), loud, 0))
    return Part(_clip(strikes), 128, "drum", gain(rng) * 0.7)
