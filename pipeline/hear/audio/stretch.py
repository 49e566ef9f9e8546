"""A stretch of a recording, heard as if nothing were around it.

Task   : listen to what lies between two times only.
In     : Audio, two times in seconds.
Out    : Audio of the same length, silent outside, so that all times stay those of the recording.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liltwright.errors import UsageError, to_type
from liltwright.hear.audio.recording import MIN_DURATION_S, Audio

EDGE_S = 0.01  # fade at the edges of a stretch, so that no click is heard as a note


def only_between(audio: Audio, from_s: float | None, to_s: float | None) -> Audio:
    """The recording between two times; None is its beginning or its end.

    Raises UsageError when the stretch is not in the recording or too short for a tune.
    """
    if from_s is None and to_s is None:
        return audio
    start_s, stop_s = from_s or 0.0, audio.duration_s if to_s is None else to_s
    if start_s >= audio.duration_s:
        raise UsageError(
            f"{to_type('from', 'the start')} {start_s:g} is out of range: the recording lasts "
            f"{audio.duration_s:.1f} s; name a second before that."
        )
    stop_s = min(stop_s, audio.duration_s)
    if stop_s - start_s < MIN_DURATION_S:
        raise UsageError(
            f"{to_type('from and to', 'start and end')} leave {max(stop_s - start_s, 0.0):.1f} s, "
            f"a tune needs at least {MIN_DURATION_S:.0f} s: name times further apart."
        )
    rate = audio.sample_rate
    first, last = round(start_s * rate), round(stop_s * rate)
    beside = None if audio.beside is None else _silent_outside(audio.beside, first, last, rate)
    samples = _silent_outside(audio.samples, first, last, rate)
    return replace(audio, samples=samples, beside=beside)


def _silent_outside(whole: np.ndarray, first: int, last: int, rate: int) -> np.ndarray:
    """A copy that is silent before sample `first` and from sample `last` on."""
    samples = np.zeros_like(whole)
    part = whole[first:last].copy()
    edge = round(EDGE_S * rate)
    ramp = np.linspace(0.0, 1.0, edge, dtype=whole.dtype)
    if first:
        part[:edge] *= ramp
    if last < len(samples):
        part[-edge:] *= ramp[::-1]
    samples[first:last] = part
    return samples
