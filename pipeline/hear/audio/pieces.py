"""Cutting a long recording into overlapping pieces, so that memory stays bounded.

Task   : where each piece starts and ends, and which part of its frames to keep; and to cut one out.
Method : all pieces have the same length (the last one reaches back), start on the frame grid,
         and meet in the middle of their overlap, so that frames near a cut have context on
         both sides.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece: look at start_s to end_s, keep what lies from keep_from_s to keep_to_s."""

    start_s: float
    end_s: float
    keep_from_s: float
    keep_to_s: float
    is_last: bool


def pieces(
    duration_s: float, length_s: float, overlap_s: float, *, grid_s: float
) -> tuple[Piece, ...]:
    """Pieces of at most `length_s` that overlap by `overlap_s` and start on multiples of grid_s."""
    if duration_s <= length_s + overlap_s:
        return (Piece(0.0, duration_s, 0.0, duration_s, True),)
    step = max(1, round((length_s - overlap_s) / grid_s)) * grid_s
    half = round(overlap_s / 2 / grid_s) * grid_s
    starts = [0.0]
    while starts[-1] + length_s < duration_s:
        starts.append(starts[-1] + step)
    found = []
    for i, start_s in enumerate(starts):
        is_last = i == len(starts) - 1
        found.append(
            Piece(
                start_s,
                duration_s if is_last else start_s + length_s,
                start_s + half if i else 0.0,
                duration_s if is_last else start_s + step + half,
                is_last,
            )
        )
    return tuple(found)


def cut(samples: np.ndarray, start: int, stop: int) -> np.ndarray:
    """Samples start to stop - 1, float32; silence where the recording has none."""
    if start >= 0 and stop <= len(samples):
        return samples[start:stop]
    inside = samples[max(start, 0) : max(stop, 0)]
    before = max(-start, 0)
    result = np.zeros(stop - start, dtype=np.float32)
    result[before : before + len(inside)] = inside
    return result


@cache
def bell(length: int) -> np.ndarray:
    """A Hann window that begins and ends at zero, float32."""
    return np.hanning(length).astype(np.float32)
