"""Task: how a reading moves: what tells one tune type from another within a metre.

In: score positions and onsets of a reading. Out: `manner(...)`, shape (len(MANNER),).
Method: the pulse, the swing, what the beats are filled with, the cadence of three crotchets that
    closes the parts of hornpipes (common practice), how wide the melody moves, and how much comes
    back after 16 and 32 beats: parts of slides have 16 beats where those of hornpipes have 32.
"""

from __future__ import annotations

import numpy as np

from liltwright.notate.metre.kind import Kind
from liltwright.notate.metre.tempo import find_tempo

FILLED = {False: ((0,), (0, 12), (0, 18), (0, 6), (0, 8, 16), (0, 6, 12, 18)),
          True: ((0,), (0, 24), (0, 12, 24), (0, 18, 24), (0, 12), (0, 6, 12, 24))}  # fmt: skip
"""By compound time or not: how the notes of a beat stand, in ticks."""
CADENCE = (0, 24, 48)  # ticks of the three crotchets by which hornpipes close
LEAST_BEATS = 8
"""So much must come after the lag before what does not come back says anything."""
MANNER = ("pulse s", "swing", "one", "pair", "dotted", "snap", "three", "four", "other", "empty",
          "cadence", "cadences", "movement", "same pitch", "after 16", "after 32")  # fmt: skip


def manner(ticks: np.ndarray, onset_s: np.ndarray, midi: np.ndarray, meter: str) -> np.ndarray:
    """The row of a reading; ticks, onset_s and midi of the notes on the page, shape (n_notes,)."""
    compound = meter.endswith("/8")
    kind = Kind("jig" if compound else "reel", meter)
    beat = kind.swing_ticks
    pulse = find_tempo(ticks, onset_s, np.zeros(len(ticks), bool), kind)
    filled = _filled(ticks, beat)
    shares = [filled.count(one) for one in FILLED[compound]]
    empty = filled.count(())
    shares += [len(filled) - sum(shares) - empty, empty]
    move = np.abs(np.diff(midi))
    return np.array([
        np.log(float(np.median(pulse.tick_s)) * beat), np.log(pulse.ratio),
        *(share / len(filled) for share in shares), *_cadences(ticks, kind.bar_ticks),
        np.minimum(move, 12).mean(), (move == 0).mean(),
        *(_returns(ticks, midi, beat, lag) for lag in (16, 32)),
    ])  # fmt: skip


def _filled(ticks: np.ndarray, beat: int) -> list[tuple[int, ...]]:
    """Where the notes of every beat stand, between the first beat and the last."""
    which, inside = np.divmod(ticks, beat)
    found: list[list[int]] = [[] for _ in range(int(which[-1] - which[0]) + 1)]
    for at, tick in zip((which - which[0]).tolist(), inside.tolist(), strict=True):
        found[at].append(tick)
    return [tuple(one) for one in found]


def _cadences(ticks: np.ndarray, bar: int) -> tuple[float, float]:
    """Share of bars that move in three crotchets: of the bars at one place of four, of all."""
    which, inside = np.divmod(ticks, bar)
    close = np.zeros(int(which[-1]) + 1)
    for at in range(len(close)):
        notes = inside[which == at]
        close[at] = tuple(notes[notes < 72].tolist()) == CADENCE
    return max(float(close[at::4].mean()) for at in range(min(4, len(close)))), float(close.mean())


def _returns(ticks: np.ndarray, midi: np.ndarray, beat: int, lag: int) -> float:
    """Share of notes that stand so many beats after one of the same pitch; NaN where too little
    was played to tell."""
    where = set(zip(ticks.tolist(), midi.tolist(), strict=True))
    late = [(t - lag * beat, p) for t, p in zip(ticks.tolist(), midi.tolist(), strict=True)]
    late = [one for one in late if one[0] >= ticks[0]]
    if not late or late[-1][0] - ticks[0] < LEAST_BEATS * beat:
        return float("nan")
    return sum(one in where for one in late) / len(late)
