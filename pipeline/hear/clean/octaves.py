"""Octave errors inside a phrase, put right.

Task   : notes and what was measured in them -> for each note a shift of -12, 0 or 12 semitones.
In     : rough pitches, NotePitch.
Out    : int array, shape (n_notes,).
Method : best path over the three shifts. A shift pays for what the sound says against it: a note
         that really lies an octave higher is as periodic at half its period as at its period; one
         that lies an octave lower is clearly more periodic at twice the period. Leaps wider than
         a melody makes pay too. A true octave leap has the sound on its side and stays.
References: best path: G. D. Forney, "The Viterbi algorithm", Proc. IEEE 61, 1973. Leaps beyond
         an octave are rare in melodies of all cultures: D. Huron, "Sweet Anticipation", 2006.
"""

from __future__ import annotations

import numpy as np

from liltwright.hear.clean.finepitch import NotePitch

SHIFTS = (-12, 0, 12)  # semitones that a note may be put right by
PHRASE_GAP_S = 1.0
"""After so long a rest nothing is expected of the next note."""

TOO_BRIEF_S, UNMEASURED = 0.07, 12.0
"""Of a note that hardly fills a frame of the measurement nothing is known, and it stays."""


def octave_shifts(
    onset_s: np.ndarray, offset_s: np.ndarray, pitch_midi: np.ndarray, measured: NotePitch
) -> np.ndarray:
    """Semitones to add to each note, arrays of shape (n_notes,); all zero for a sound line."""
    if not len(pitch_midi):
        return np.zeros(0, dtype=int)
    costs = _sound_costs(measured)
    costs[offset_s - onset_s < TOO_BRIEF_S, ::2] = UNMEASURED
    total = costs[0]
    came_from = np.zeros((len(pitch_midi), 3), dtype=np.int8)
    shifts = np.array(SHIFTS)
    for i in range(1, len(pitch_midi)):
        step = pitch_midi[i] - pitch_midi[i - 1] + shifts[None, :] - shifts[:, None]
        free = onset_s[i] - offset_s[i - 1] > PHRASE_GAP_S
        choices = total[:, None] + (0.0 if free else _leap_cost(step))
        came_from[i] = np.argmin(choices, axis=0)
        total = choices.min(axis=0) + costs[i]
    state = int(np.argmin(total))
    path = np.empty(len(pitch_midi), dtype=int)
    for i in range(len(path) - 1, -1, -1):
        path[i] = SHIFTS[state]
        state = int(came_from[i, state])
    return path


def _leap_cost(semitones: np.ndarray) -> np.ndarray:
    """0 up to a minor seventh, 0.6 at an octave, then steeply more."""
    size = np.abs(semitones)
    return 0.3 * np.clip(size - 10.0, 0.0, 2.5) + 0.8 * np.clip(size - 12.5, 0.0, 8.0)


def _sound_costs(measured: NotePitch) -> np.ndarray:
    """What the sound says against each shift, shape (n_notes, 3)."""
    clear = np.maximum(measured.clarity, 0.2)
    up_ratio = measured.half_clarity / clear
    up = 2.0 + 10.0 * np.maximum(0.0, 0.85 - up_ratio) - 25.0 * np.maximum(0.0, up_ratio - 0.9)
    up -= 40.0 * np.maximum(0.0, up_ratio - 0.945)  # no instrument's own spectrum is like that
    gain = measured.double_clarity - measured.clarity
    down = 4.0 + 10.0 * np.maximum(0.0, 0.1 - gain) - 10.0 * np.maximum(0.0, gain - 0.2)
    return np.stack((np.maximum(down, -0.5), np.zeros_like(up), np.maximum(up, -0.5)), axis=1)
