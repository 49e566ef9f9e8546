"""Concert pitch of a recording: how far it lies from A = 440 Hz, and how that drifts.

Task   : notes on A4 = 440 Hz -> the offset at every note, taken out by the caller.
In     : times, fractional MIDI numbers and weights of the notes.
Out    : cents above A = 440 at each note, a smooth curve.
Method : the deviation of a note from the nearest semitone is the offset plus an error of the
         player; it is known only modulo a semitone. Best path (Viterbi) over offsets two cents
         apart: a normal error with a share of outliers for each note, a random walk between
         notes. The path is not wrapped, so a singer who sinks by more than a quarter tone in the
         course of the tune stays in the same key. Instruments give a flat curve of themselves,
         because moving costs and brings nothing.
References: G. D. Forney, "The Viterbi algorithm", Proc. IEEE 61, 1973. Concert pitch against
         A = 440 Hz: ISO 16:1975. How far singers drift: M. Mauch, K. Frieler, S. Dixon,
         "Intonation in unaccompanied singing", JASA 136, 2014.
"""

from __future__ import annotations

import numpy as np

STEP_CENTS = 2.0  # grid of offsets
REACH_CENTS = 200.0  # farthest offset looked at, on both sides
PLAYER_ERROR_CENTS = 18.0  # standard deviation of a player's pitch about what is meant
OUTLIER = 0.08  # share of notes that tell nothing of concert pitch
DRIFT_CENTS_PER_ROOT_S = 1.5  # how fast a voice wanders, as a random walk
BAND = 12  # grid steps that the offset may move from note to note


def concert_pitch(times_s: np.ndarray, pitch_midi: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Offset in cents at each note, shape (n,); its weighted mean lies within 50 cents of 0.

    times_s    : onset of each note in seconds, rising, shape (n,)
    pitch_midi : fractional MIDI number of each note on A4 = 440 Hz, shape (n,)
    weights    : how much each note tells, 0 to 1 (length and confidence), shape (n,)
    """
    if not len(times_s):
        return np.zeros(0)
    offsets = np.arange(-REACH_CENTS, REACH_CENTS + 1, STEP_CENTS)
    costs = weights[:, None] * _note_costs(pitch_midi, offsets)
    path = offsets[_best_path(times_s, costs)]
    path = _smooth(times_s, path, weights)
    mean = float(np.average(path, weights=np.maximum(weights, 1e-6)))
    return path - 100.0 * np.round(mean / 100.0)


def _note_costs(pitch_midi: np.ndarray, offsets: np.ndarray) -> np.ndarray:
    """Negative log likelihood of each offset for each note, shape (notes, offsets)."""
    error = 100.0 * pitch_midi[:, None] - offsets[None, :]
    error -= 100.0 * np.round(error / 100.0)
    normal = np.exp(-0.5 * (error / PLAYER_ERROR_CENTS) ** 2)
    return -np.log(OUTLIER + (1 - OUTLIER) * normal)


def _best_path(times_s: np.ndarray, costs: np.ndarray) -> np.ndarray:
    notes, states = costs.shape
    shifts = np.arange(-BAND, BAND + 1)
    came_from = np.zeros((notes, states), dtype=np.int16)
    centre = np.abs(np.arange(states) - states // 2) * STEP_CENTS
    total = costs[0] + 1e-3 * centre  # of equal offsets the one nearest to A = 440
    for i in range(1, notes):
        gap_s = max(0.1, float(times_s[i] - times_s[i - 1]))
        move = 0.5 * (shifts * STEP_CENTS) ** 2 / (DRIFT_CENTS_PER_ROOT_S**2 * gap_s)
        padded = np.pad(total, BAND, constant_values=np.inf)
        choices = np.lib.stride_tricks.sliding_window_view(padded, 2 * BAND + 1) + move
        best = np.argmin(choices, axis=1)
        came_from[i] = np.clip(np.arange(states) + shifts[best], 0, states - 1)
        total = choices[np.arange(states), best] + costs[i]
    path = np.empty(notes, dtype=np.int64)
    state = int(np.argmin(total))
    for i in range(notes - 1, -1, -1):
        path[i] = state
        state = came_from[i, state]
    return path


def _smooth(times_s: np.ndarray, path: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Kernel average over about ten seconds, so that steps of the grid do not show."""
    if len(path) < 3 or path.min() == path.max():
        return path
    half = 60
    smooth = np.empty_like(path)
    for i in range(len(path)):
        near = slice(max(0, i - half), i + half + 1)
        kernel = np.exp(-0.5 * ((times_s[near] - times_s[i]) / 4.0) ** 2) * (weights[near] + 1e-3)
        smooth[i] = np.average(path[near], weights=kernel)
    return smooth
