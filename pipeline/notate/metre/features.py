"""Task: what the metre network sees of heard notes.

In: onsets and offsets in seconds, whole MIDI numbers, arrays of shape (n_notes,).
Out: `describe(...)`: "numbers" of shape (n_notes, NUMBERS), "before", "after" and "chroma", classes
    of shape (n_notes,), and "clock" of shape (n_notes,), onsets in units of the median step.
Method: gaps on a logarithmic scale, absolute and against the median gap; pitch movement before
    and after; pitch class and height. Nothing depends on how sure the ear was.
"""

from __future__ import annotations

import numpy as np

NUMBERS = 10  # columns of the network's input
FARTHEST = 12  # semitones; wider steps are one class
LONGEST_GAP_S = 4.0  # a longer rest tells no more


def describe(onset_s: np.ndarray, offset_s: np.ndarray, midi: np.ndarray) -> dict[str, np.ndarray]:
    """The network's input. Needs at least two notes."""
    gap = np.clip(np.diff(onset_s), 0.02, LONGEST_GAP_S)
    usual = float(np.median(gap))
    before, after = np.append(usual, gap), np.append(gap, usual)
    sounding = np.clip(offset_s - onset_s, 0.01, LONGEST_GAP_S)
    silence = np.maximum(after - sounding, 0.0)
    step = np.diff(midi)
    into, out = np.append(0, step), np.append(step, 0)
    numbers = np.stack(
        [
            np.log(before / usual), np.log(after / usual), np.log(after / before),
            np.log(sounding / usual), sounding / after, np.minimum(silence, 1.0) * 3,
            np.log(after / 0.2), np.full(len(midi), np.log(usual / 0.2)),
            (midi - midi.mean()) / 6.0, np.minimum(np.append(0, silence[:-1]), 1.0) * 3,
        ],
        axis=1,
    )  # fmt: skip
    return {
        "numbers": numbers.astype(np.float32),
        "before": np.clip(into, -FARTHEST, FARTHEST).astype(np.int64) + FARTHEST,
        "after": np.clip(out, -FARTHEST, FARTHEST).astype(np.int64) + FARTHEST,
        "chroma": (midi % 12).astype(np.int64),
        "clock": ((onset_s - onset_s[0]) / usual).astype(np.float32),
    }
