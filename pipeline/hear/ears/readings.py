"""In how many of the probable readings of a recording does each note begin?

Task   : places, scores of the stretches and the notes of the best path -> a share per note.
In     : what decode.best_path works with.
Out    : array, shape (n_notes,), 0 to 1.
Method : forward-backward over the same states and prices as the best path. The scores of a path
         are far too sure (neighbouring frames say the same), so all of them are divided by
         TEMPER first. The share of a note is the probability that some note of its pitch (to
         a third of a semitone) begins within 50 ms of it.
References: L. Rabiner, "A tutorial on hidden Markov models", Proc. IEEE 77, 1989 (forward-
         backward, scaled).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

TEMPER = 4.0  # so much flatter are the prices made: the best path is too sure of itself
REACH_FRAMES = 4  # frames, 46 ms: as near is the same onset, as in the scoring of transcription
REACH_CLASSES = 1  # thirds of a semitone: as near is the same pitch


@dataclass(frozen=True, slots=True)
class Prices:
    """Logarithms that the best path adds up; the last state is silence.

    gains   : shape (n_stretches, n_classes + 1), what each stretch says for each state
    stay    : shape (n_stretches,), a note goes on at the beginning of the stretch
    near    : shape (n_stretches,), a note of nearly the same pitch begins there
    far     : shape (n_stretches,), another note begins there
    heard   : bool, shape (n_stretches,), whether there is any onset at all
    step    : shape (n_classes, n_classes), from pitch to pitch
    slurred_step : the same where no onset is heard
    is_near : float, like step, 1 where the two are nearly the same pitch
    rest    : from a note to silence; entry: from silence to a note
    """

    gains: np.ndarray
    stay: np.ndarray
    near: np.ndarray
    far: np.ndarray
    heard: np.ndarray
    step: np.ndarray
    slurred_step: np.ndarray
    is_near: np.ndarray
    rest: float
    entry: float


def shares(prices: Prices, places: np.ndarray, notes: list[tuple[int, int, int]]) -> np.ndarray:
    """Share of each note, given as (first frame, last frame + 1, class)."""
    begins = _begins(prices)
    result = np.empty(len(notes))
    for i, (first, _, state) in enumerate(notes):
        low, high = np.searchsorted(places[:-1], (first - REACH_FRAMES, first + REACH_FRAMES + 1))
        near = begins[low:high, max(state - REACH_CLASSES, 0) : state + REACH_CLASSES + 1]
        result[i] = min(float(near.sum()), 1.0)
    return result


def _begins(prices: Prices) -> np.ndarray:
    """Probability that a note of each class begins at each place, (n_stretches, n_classes)."""
    gains = np.exp((prices.gains - prices.gains.max(axis=1, keepdims=True)) / TEMPER)
    both = [_sides(prices.slurred_step, prices.is_near), _sides(prices.step, prices.is_near)]
    stay, near, far = (np.exp(x / TEMPER) for x in (prices.stay, prices.near, prices.far))
    rest, entry = np.exp(np.array([prices.rest, prices.entry]) / TEMPER)
    count, width = len(gains), len(prices.step)
    ahead = np.empty((count, width + 1), dtype=np.float32)
    fresh = np.zeros((count, width), dtype=np.float32)
    ahead[0] = gains[0] / gains[0].sum()
    fresh[0] = gains[0, :-1]
    for k in range(1, count):
        notes, silence = ahead[k - 1, :-1], ahead[k - 1, -1]
        moved = notes @ both[int(prices.heard[k])]
        fresh[k] = near[k] * moved[:width] + far[k] * (moved[width:] + silence * entry)
        now = np.append(fresh[k] + stay[k] * notes, silence * stay[k] ** 0.5 + notes.sum() * rest)
        now *= gains[k]
        fresh[k] *= gains[k, :-1]
        total = now.sum()
        ahead[k] = now / total
        fresh[k] /= total
    back = np.ones(width + 1, dtype=np.float32)
    fresh[0] /= gains[0].sum()
    turned = [
        np.ascontiguousarray(one.reshape(width, 2, width).transpose(1, 2, 0).reshape(-1, width))
        for one in both
    ]
    for k in range(count - 1, -1, -1):
        weight = float(ahead[k] @ back)
        fresh[k] *= back[:-1] / weight
        later = gains[k] * back
        if k:
            onward = np.concatenate([near[k] * later[:-1], far[k] * later[:-1]])
            onward = onward @ turned[int(prices.heard[k])]
            onward += stay[k] * later[:-1] + rest * later[-1]
            from_rest = stay[k] ** 0.5 * later[-1] + far[k] * entry * later[:-1].sum()
            back = np.append(onward, from_rest)
            back /= back.max()
    return fresh


def _sides(step: np.ndarray, is_near: np.ndarray) -> np.ndarray:
    """Weights of steps to nearly the same pitch and to others, shape (n, 2 * n)."""
    weight = np.exp(-step / TEMPER).astype(np.float32)
    return np.concatenate([weight * is_near, weight * (1 - is_near)], axis=1)
