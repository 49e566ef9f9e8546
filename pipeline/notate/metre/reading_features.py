"""Task: what a reading looks like, as a row of numbers.

In: a MetrePath and the notes it reads. Out: `looks(...)`, shape (len(LOOKS),), NaN where a
    figure has no meaning: how fast, how dense, which note values, which beats are struck and held,
    how often a bar comes back after 1, 2, 4 ... bars, where the long notes stand in a phrase.
Method: what a player who sees the page and hears the tempo goes by, when two readings fit the
    notes nearly as well: a polka has two bars where a reel has one.
"""

from __future__ import annotations

import numpy as np

from liltwright.notate.metre.places import places
from liltwright.notate.metre.viterbi import MetrePath

LAGS = (1, 2, 4, 8, 16, 32)  # bars after which a bar may come back
RHYTHM_LAGS = (1, 2, 4)  # bars after which a rhythm may come back
VALUES = (6, 8, 12, 18, 24, 36, 48, 72)
"""Note values in ticks of 1/96."""
BEATS = 4  # of a bar that are looked at
ALIKE = 0.7  # share of a bar that is the same where it comes back
SLOT = 6  # ticks, a semiquaver
LOOKS = (
    *(f"meter {at}" for at in range(5)),
    "bar s", "beat s", "notes in a beat", "timing", "same pitch", "movement", "into bar",
    *(f"value {ticks}" for ticks in VALUES), "longer",
    *(f"struck {beat}" for beat in range(BEATS)), *(f"held {beat}" for beat in range(BEATS)),
    "struck half", "held half",
    *(f"back {lag}" for lag in LAGS), *(f"rhythm back {lag}" for lag in RHYTHM_LAGS),
    "end 4", "end 8", "bars", "eights", "spread on bar", "spread on half",
)  # fmt: skip


def looks(path: MetrePath, onset_s: np.ndarray, midi: np.ndarray) -> np.ndarray:
    """The row of a reading. onset_s and midi of shape (n_notes,), as the path."""
    kept = path.ticks >= 0
    ticks, onset, pitch = path.ticks[kept], onset_s[kept], midi[kept].astype(int)
    table = places()
    which = table.meters.index(path.meter)
    bar, beat = table.bar_ticks[which], 36 if path.meter.endswith("/8") else 24
    ticks = ticks - ticks[0] // bar * bar
    step, gap, move = np.diff(ticks), np.diff(onset), np.abs(np.diff(pitch))
    sound = ~path.jumps[kept][1:] & (step > 0)
    tick_s = float(np.median(gap[sound] / step[sound])) if sound.any() else 0.01
    bars = int(ticks[-1] // bar) + 1
    place, starts = ticks % bar, ticks % bar == 0
    length = np.append(step, bar) / beat
    return np.array(
        [
            *(float(at == which) for at in range(5)),
            np.log(bar * tick_s), np.log(beat * tick_s), len(ticks) * beat / (bars * bar),
            _median(np.abs(np.log(gap[sound] / (step[sound] * tick_s)))),
            np.mean(move == 0), np.minimum(move, 12).mean(), _mean(move[starts[1:]] - move.mean()),
            *((np.abs(step - ticks) <= 1).mean() for ticks in VALUES), np.mean(step > VALUES[-1]),
            *_beats(place, length, bar, beat, bars),
            np.sum(place == bar // 2) / bars, _mean(length[place == bar // 2]),
            *_returns(ticks, pitch, bar, bars),
            *_phrase_ends(ticks, length, bar, bars),
            np.log(bars), abs((bars + 3) % 8 - 3), _spread(pitch[starts]),
            _spread(pitch[place == bar // 2]),
        ]
    )  # fmt: skip


def _mean(values: np.ndarray) -> float:
    return float(values.mean()) if len(values) else np.nan


def _median(values: np.ndarray) -> float:
    return float(np.median(values)) if len(values) else np.nan


def _beats(place: np.ndarray, length: np.ndarray, bar: int, beat: int, bars: int) -> list[float]:
    """How often each beat is struck, and how long its note is held in beats."""
    on = [place == at * beat if at * beat < bar else None for at in range(BEATS)]
    struck = [np.nan if mine is None else float(mine.sum()) / bars for mine in on]
    held = [np.nan if mine is None else _mean(length[mine]) for mine in on]
    return [*struck, *held]


def _returns(ticks: np.ndarray, pitch: np.ndarray, bar: int, bars: int) -> list[float]:
    """Share of bars that are those of so many bars before, by their notes and by their rhythm."""
    grid = np.zeros((bars, bar // SLOT))
    grid[ticks // bar, ticks % bar // SLOT] = pitch
    notes = np.maximum((grid > 0).sum(axis=1), 1)

    def back(lag: int, same: np.ndarray) -> float:
        return float(np.mean(same / np.maximum(notes[lag:], notes[:-lag]) > ALIKE))

    out = []
    for lags, by_pitch in ((LAGS, True), (RHYTHM_LAGS, False)):
        for lag in lags:
            if bars <= lag + 1:
                out.append(np.nan)
                continue
            one, other = grid[lag:], grid[:-lag]
            same = (one == other) & (one > 0) if by_pitch else (one > 0) & (other > 0)
            out.append(back(lag, same.sum(axis=1)))
    return out


def _phrase_ends(ticks: np.ndarray, length: np.ndarray, bar: int, bars: int) -> list[float]:
    """By how much the longest note of each fourth and eighth bar is longer than usual, in beats."""
    longest = np.zeros(bars)
    np.maximum.at(longest, ticks // bar, np.minimum(length, 4.0))
    return [
        float(max(longest[at::every].mean() for at in range(every)) - longest.mean())
        if bars > every
        else np.nan
        for every in (4, 8)
    ]


def _spread(pitch: np.ndarray) -> float:
    """Entropy of pitch classes in bits."""
    if not len(pitch):
        return np.nan
    share = np.bincount(pitch % 12, minlength=12) / len(pitch)
    return float(-(share[share > 0] * np.log2(share[share > 0])).sum())
