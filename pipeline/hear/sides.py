"""What speaks for another tune at every place of a recording.

Task   : notes of a recording and their likeness -> one row of looks for every place between notes.
In     : onsets, ends and pitches of plain notes; likeness of all pairs (changes.likeness).
Out    : float, shape (n_notes + 1, len(LOOKS)); row c is the place before note c.
Method : across a change nothing comes back, and what is played is in another key, moves at another
         pace or in another register. Each is told of the whole of both sides, and of some seconds
         next to the place.
References: novelty as unlikeness of the two sides of a place: J. Foote, "Automatic audio
         segmentation using a measure of audio novelty", 2000; divergence of two distributions:
         J. Lin, "Divergence measures based on the Shannon entropy", 1991.
"""

from __future__ import annotations

import numpy as np

LOOKS = (
    "back", "ahead", "back near", "ahead near", "own left", "own right", "returns left",
    "returns right", "shorter side", "length", "key near", "key far", "pace near", "pace far",
    "register",
)  # fmt: skip
NEAR_S, FAR_S = 14.0, 40.0  # seconds on either side: about a part, about a tune
PACES = np.array([0.09, 0.11, 0.135, 0.16, 0.19, 0.23, 0.28, 0.34, 0.42, 0.55, 0.75])
"""Edges of the classes of time between onsets, in seconds."""
FEW = 0.5
"""Seconds added to every pitch class, so that few notes do not look like a key."""


def looks(
    onset_s: np.ndarray, end_s: np.ndarray, midi: np.ndarray, alike: np.ndarray
) -> np.ndarray:
    """The looks of every place.

    onset_s, end_s, midi : shape (n,), notes in order of onset
    alike                : bool, shape (n, n)
    """
    count = len(onset_s)
    cuts = np.arange(count + 1)
    step_s = np.append(np.diff(onset_s), end_s[-1] - onset_s[-1])
    length_s = np.minimum(end_s - onset_s, step_s)
    any_alike = alike.any(axis=1)
    earliest = np.where(any_alike, alike.argmax(axis=1), count)
    latest = np.where(any_alike, count - 1 - alike[:, ::-1].argmax(axis=1), -1)
    starts = np.append(onset_s, end_s[-1])
    near = _windows(onset_s, starts, NEAR_S)
    far = _windows(onset_s, starts, FAR_S)
    index = np.arange(count)
    back = _covered(earliest + 1, index, np.ones(count), count)
    ahead = _covered(index + 1, latest, np.ones(count), count)
    before = np.tril(alike, -1)
    own_left = _from(np.where(before.any(axis=1), count + 1, index + 1), length_s, count)
    last = np.where(before.any(axis=1), count - 1 - before[:, ::-1].argmax(axis=1), -1)
    own_right = _covered(last + 1, index, length_s, count)
    returns_left = _from(np.maximum(index, earliest) + 1, np.ones(count), count)
    returns_right = _covered(np.zeros(count, int), np.minimum(index, latest), np.ones(count), count)
    side_s = np.minimum(starts - onset_s[0], end_s[-1] - starts)
    classes = np.eye(12)[np.round(midi).astype(int) % 12] * np.minimum(length_s, 1.0)[:, None]
    paces = np.eye(len(PACES) + 1)[np.digitize(step_s, PACES)] * np.minimum(step_s, 1.0)[:, None]
    columns = [
        back / np.maximum(count - cuts, 1), ahead / np.maximum(cuts, 1),
        _near_back(earliest, near), _near_ahead(latest, near),
        own_left, own_right,
        returns_left / np.maximum(cuts, 1), returns_right / np.maximum(count - cuts, 1),
        side_s, np.full(count + 1, end_s[-1] - onset_s[0]),
        _unlike(classes, near), _unlike(classes, far), _unlike(paces, near), _unlike(paces, far),
        _higher(midi, near),
    ]  # fmt: skip
    return np.stack(columns, axis=1)


def _windows(onset_s: np.ndarray, starts: np.ndarray, width_s: float) -> np.ndarray:
    """First note of the left window, the place, end of the right one; shape (n + 1, 3)."""
    left = np.searchsorted(onset_s, starts - width_s)
    right = np.searchsorted(onset_s, starts + width_s)
    return np.stack([left, np.arange(len(starts)), right], axis=1)


def _covered(first: np.ndarray, last: np.ndarray, worth: np.ndarray, count: int) -> np.ndarray:
    """Sum of the worths of all ranges first..last that hold each place, shape (count + 1,)."""
    real = last >= first
    change = np.zeros(count + 3)
    np.add.at(change, first[real], worth[real])
    np.add.at(change, last[real] + 1, -worth[real])
    return np.cumsum(change)[: count + 1]


def _from(first: np.ndarray, worth: np.ndarray, count: int) -> np.ndarray:
    """Sum of the worths of all ranges that begin at or before each place, shape (count + 1,)."""
    return _covered(np.minimum(first, count + 1), np.full(len(first), count + 1), worth, count)


def _near_back(earliest: np.ndarray, near: np.ndarray) -> np.ndarray:
    """Share of the notes just after each place that were played before it."""
    return np.array([(earliest[c:b] < c).mean() if b > c else 0.0 for _, c, b in near])


def _near_ahead(latest: np.ndarray, near: np.ndarray) -> np.ndarray:
    """Share of the notes just before each place that come back after it."""
    return np.array([(latest[a:c] >= c).mean() if c > a else 0.0 for a, c, _ in near])


def _unlike(weights: np.ndarray, windows: np.ndarray) -> np.ndarray:
    """Jensen-Shannon divergence in bits between the two windows of each place, shape (n + 1,)."""
    total = np.concatenate((np.zeros((1, weights.shape[1])), np.cumsum(weights, axis=0)))
    a, c, b = windows.T
    sides = [total[c] - total[a] + FEW / 12, total[b] - total[c] + FEW / 12]
    left, right = (one / one.sum(axis=1, keepdims=True) for one in sides)
    mean = (left + right) / 2
    return 0.5 * sum((one * np.log2(one / mean)).sum(axis=1) for one in (left, right))


def _higher(midi: np.ndarray, windows: np.ndarray) -> np.ndarray:
    """Semitones between the mean pitches of the two windows, shape (n + 1,)."""
    total = np.concatenate(([0.0], np.cumsum(midi)))
    a, c, b = windows.T
    left = (total[c] - total[a]) / np.maximum(c - a, 1)
    right = (total[b] - total[c]) / np.maximum(b - c, 1)
    return np.where((c > a) & (b > c), np.abs(left - right), 0.0)
