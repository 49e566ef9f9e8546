"""Task: the tempo, swing and timing of a performance whose score positions are known.

In: score positions in ticks and onsets. Out: TempoTrack: swing ratio, seconds per tick at every
    note, how late every note is, and where time passes that the metre does not know.
Method: the swing ratio is the median over pairs of quavers (the first two of three in compound
    time). With it score time is bent (kind.bend); the tempo at a note is the running median of the
    seconds per bent tick about it, so that single late notes and breaths do not move it. A note's
    lateness is measured against its two neighbours.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np

from liltwright.notate.metre.kind import QUAVER, Kind, bend

REACH = 12
"""Notes to either side that the tempo is taken from."""
BREATH_S = 0.22  # seconds late from which on somebody breathed
FEWEST_PAIRS = 6  # of quavers by which swing is known
MOST_SWING = 4.0  # long to short; more is dotted


@dataclass(frozen=True, slots=True)
class TempoTrack:
    """Arrays of shape (n_notes,)."""

    ratio: float
    tick_s: np.ndarray
    error_s: np.ndarray
    waits: np.ndarray
    """True where the beat waits before the note: a breath, a hesitation."""


def find_tempo(ticks: np.ndarray, onset_s: np.ndarray, jumps: np.ndarray, kind: Kind) -> TempoTrack:
    """Fit the pulse. `jumps` marks notes before which the page jumps; their step is not used."""
    ratio = swing_ratio(ticks, onset_s, kind)
    bent = np.diff(bend(kind, ticks.astype(float), ratio))
    gap = np.diff(onset_s)
    good = ~jumps[1:] & (bent > 0)
    rate = np.where(good, gap / np.where(bent > 0, bent, 1.0), np.nan)
    tick_s = running_median(np.append(rate[:1], rate))
    late = np.where(good, gap - bent * tick_s[1:], 0.0)
    waits = np.append(False, good & (late > np.maximum(BREATH_S, 0.3 * bent * tick_s[1:])))
    inside = np.where(waits[1:], 0.0, late)
    error = 0.5 * (np.append(0.0, inside) - np.append(inside, 0.0))
    return TempoTrack(ratio, tick_s, error, waits)


def swing_ratio(ticks: np.ndarray, onset_s: np.ndarray, kind: Kind) -> float:
    """Long to short of a pair of quavers, or first to second of three; 1.0 when even."""
    group = kind.swing_ticks
    on = (ticks[:-2] % group == 0) & (np.diff(ticks)[:-1] == QUAVER)
    on &= np.diff(ticks)[1:] == QUAVER
    gap = np.diff(onset_s)
    first, second = gap[:-1][on], gap[1:][on]
    if len(first) < FEWEST_PAIRS:
        return 1.0
    share = float(np.median(first / (first + second)))
    return float(np.clip(share / (1 - share), 1.0, MOST_SWING))


def running_median(rate: np.ndarray) -> np.ndarray:
    """Median over REACH values to either side, NaN left out."""
    padded = np.pad(rate, REACH, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * REACH + 1)
    with warnings.catch_warnings():  # a stretch without any value has none; the usual one stands in
        warnings.simplefilter("ignore", RuntimeWarning)
        found = np.nanmedian(windows, axis=1)
    usual = float(np.nanmedian(rate)) if np.isfinite(rate).any() else 0.2 / QUAVER
    return np.where(np.isfinite(found), found, usual)
