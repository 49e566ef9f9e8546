"""People who sing a tune at sight: clear syllables, long gaps, wrong beginnings put right.

In     : a numpy random generator, the notes of a performance.
Out    : habits of such a singer, ends of notes moved, a pitch curve that is added to the rest.
Method : ranges whose quantiles lie around those measured on 47 amateur singers (length of notes,
         gaps between them, how far the pitch wanders inside a note, where it begins); the figures
         were looked at, no sound of them is used.
"""

from __future__ import annotations

import numpy as np

from liltwright.models.ear.curves import CONTROL_S, CONTROLS, hold, pick, since_onset, smooth
from liltwright.models.ear.melodies import SLUR, TONGUE, Habits, Played

SHORTEST_S = 0.08


def habits(rng: np.random.Generator, low: int, high: int) -> Habits:
    """A slow to middling tune, one syllable a note, few slurs."""
    span = int(rng.integers(9, 17))
    base = int(rng.integers(low, max(low + 1, high - span + 1)))
    return Habits(
        base, min(base + span, high), pick(rng, 0.22, 0.8),
        slur=rng.choice((0.02, 0.1, 0.25)), ornaments=0.0,
        repeats=rng.uniform(0.1, 0.45), rests=rng.uniform(0, 0.06),
        gap=(0.0, 0.02), chromatic=rng.choice((0.0, 0.03, 0.1)),
        timing_s=rng.uniform(0.005, 0.04),
    )  # fmt: skip


def leave_syllables(rng: np.random.Generator, played: Played) -> None:
    """End notes 20 to 250 ms before the next syllable, in place."""
    usual = pick(rng, 0.03, 0.16)
    for i in range(len(played.midi) - 1):
        if played.begin[i + 1] == SLUR:
            continue
        room = played.onset_s[i + 1] - played.onset_s[i]
        gap = min(usual * pick(rng, 0.5, 2.0), 0.4 * room)
        end = min(played.end_s[i], played.onset_s[i + 1] - gap)
        played.end_s[i] = max(end, played.onset_s[i] + min(SHORTEST_S, 0.5 * room))


def voiced_gaps(rng: np.random.Generator, played: Played, level: np.ndarray) -> np.ndarray:
    """The level with the gaps before some syllables filled by a quieter voice (l, m, d, r)."""
    share, usual_db = rng.uniform(0.0, 0.9), rng.uniform(4, 20)
    filled = level.copy()
    for i in range(1, len(played.midi)):
        if rng.random() > share:
            continue
        a, b = (int(t / CONTROL_S) for t in (played.end_s[i - 1], played.onset_s[i]))
        a, b = max(a - 4, 0), min(b + 4, CONTROLS)
        if b - a < 3 or (b - a) * CONTROL_S > 0.3:
            continue
        after = level[min(b + 12, CONTROLS - 1)]
        quiet = min(level[max(a - 12, 0)], after) * 10 ** (-usual_db * rng.uniform(0.4, 1.6) / 20)
        filled[a:b] = np.maximum(filled[a:b], quiet)
    return filled


def wrong_beginnings(rng: np.random.Generator, played: Played, means: np.ndarray) -> np.ndarray:
    """Semitones to add: notes begun beside their pitch, held there for a moment, then put right.

    Most begin on the side of the note before; a few long notes are moved once more on the way.
    """
    count = len(means)
    length = np.diff(np.append(played.onset_s, CONTROLS * CONTROL_S))
    length = np.minimum(length, np.array(played.end_s) - np.array(played.onset_s))
    fresh = np.array(played.begin) == TONGUE
    often = rng.uniform(0.0, 0.45)
    size = np.clip(rng.exponential(0.7, count) + 0.25, 0.0, 2.2)
    side = -np.sign(np.diff(means, prepend=means[0] + 1e-6))
    side = np.where(rng.random(count) < 0.4, -1.0, np.where(side == 0, -1.0, side))
    chosen = (rng.random(count) < often) & (fresh | (rng.random(count) < 0.3)) & (length > 0.12)
    held = np.minimum(rng.uniform(0.03, 0.22, count), 0.45 * length)
    age = since_onset(played)
    curve = hold(played, side * size * chosen) * (age < hold(played, held))
    late = (rng.random(count) < rng.uniform(0, 0.15)) & (length > 0.4)
    step = rng.normal(0, 0.35, count) * late
    turn = hold(played, length * rng.uniform(0.3, 0.7, count))
    curve = curve + hold(played, step) * (np.clip(age - turn, -0.04, 0.04) / 0.08 - 0.5)
    return smooth(curve, pick(rng, 0.015, 0.07))


def unsteady(rng: np.random.Generator, played: Played) -> np.ndarray:
    """Factor of the level: swellings and sags of a few decibels inside long notes."""
    count = len(played.midi)
    age = since_onset(played)
    depth = hold(played, rng.uniform(0.0, 0.5, count) * (rng.random(count) < 0.5))
    turns = age * hold(played, rng.uniform(0.8, 4.0, count)) + hold(played, rng.random(count))
    return np.asarray(1.0 - depth * (0.5 + 0.5 * np.sin(2 * np.pi * turns)))
