"""Task: list the performed bars that a user should check by ear.

In: heard bars, the printed tune with its passes, the Timeline, how sure the metre is.
Out: Doubts in the order performed, each with its reason in words.
Method: a logistic regression (models/metre/doubts.json, models/metre/doubt.py) gives each bar a
    probability of being wrong from what the ear, the metre network and the other passes say of it.
    What is listed are printed bars: a second regression (models/metre/printed.json, printed.py)
    tells from the passes of a bar (how many, how many were played as printed, how far the surest
    of these can be trusted) whether the print is right; of a doubtful one the most doubtful pass
    is listed, since one place to listen to is enough. Bars of the ending are printed nowhere.
    The reasons are what can be pointed at: a note left out, a beat that waits, passes that differ,
    places the network is unsure of.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np

from liltwright import models
from liltwright.notate.bars.timeline import Timeline
from liltwright.notate.form.fold import Folded, vote
from liltwright.tune import Bar, Doubt, HeardBar

UNHEARD, UNPLACED, UNSTEPPED, OPEN_METER = 0.6, 0.4, 0.85, 0.1
"""From which value on a reason is named; by the bars of the development split."""
FEATURES = (
    "unplaced most", "unplaced mean", "unstepped most", "unheard most", "unheard mean",
    "passed over", "beat waits", "alone among passes", "two passes differ", "single pass",
    "meter open", "tune unplaced", "tune unheard", "long notes", "odd lengths", "empty",
)  # fmt: skip


SELDOM = 0.15
"""Share of bars unlike the print below which two passes that differ are a slip, not a habit."""
PRINTED = (
    "single pass", "two passes", "unlike", "unlike of two", "none like it", "best worry",
    "mean worry", "tune unlike", "meter odds", "tune unread", "weakest note", "note left out",
)  # fmt: skip
LEAST_OPEN = 1e-3  # probability of another metre
UNREAD_MOST = 1.0  # log probability a note
PASSES = [
    FEATURES.index(name) for name in ("alone among passes", "two passes differ", "single pass")
]


@dataclass(frozen=True, slots=True)
class BarEvidence:
    """What speaks against each performed bar."""

    seen: np.ndarray
    """Shape (n_bars, len(FEATURES))."""
    reasons: tuple[tuple[str, ...], ...]
    """What can be said of the bar in words, most telling first; may be empty."""


def find_doubts(
    bars: tuple[HeardBar, ...],
    folded: Folded,
    line: Timeline,
    *,
    passed_over_s: np.ndarray,
    meter_chance: float,
    path_odds: float,
) -> tuple[Doubt, ...]:
    """The bars to check.

    passed_over_s : onsets of heard notes that the reading left out, shape (n,). meter_chance :
    probability of the metre. path_odds : log probability of a note on the best path.
    """
    evidence = bar_evidence(bars, folded, line, passed_over_s, meter_chance)
    model = models.read_json("metre/doubts.json")
    chance = _chance(evidence.seen, model)
    listed = _to_check(bars, folded, evidence.seen, chance, model, path_odds)
    first = 0 if bars and bars[0].notes and bars[0].notes[0].start else 1
    return tuple(
        Doubt(at + first, bar.start_s, "; ".join(reasons) or "a note may be missing or too many")
        for at, (bar, reasons) in enumerate(zip(bars, evidence.reasons, strict=True))
        if at in listed
    )


def _chance(seen: np.ndarray, model: dict[str, Any]) -> np.ndarray:
    """Probability that each bar is wrong, shape (n_bars,)."""
    raw = seen @ [model["weights"][name] for name in FEATURES] + model["bias"]
    return np.asarray(1 / (1 + np.exp(-raw)))


def _to_check(
    bars: tuple[HeardBar, ...],
    folded: Folded,
    seen: np.ndarray,
    chance: np.ndarray,
    model: dict[str, Any],
    path_odds: float,
) -> set[int]:
    """The heard bars to list: of every doubtful printed bar the pass that is doubted most."""
    if not folded.passes:
        return {at for at in range(len(bars)) if chance[at] >= model["threshold"]}
    known = models.read_json("metre/printed.json")
    groups, rows = printed_evidence(bars, folded, seen, path_odds)
    raw = rows @ np.array([known["weights"][name] for name in PRINTED]) + known["bias"]
    doubtful = 1 / (1 + np.exp(-raw)) >= known["threshold"]
    slips = rows[:, PRINTED.index("unlike of two")] > 0
    doubtful |= slips & (rows[:, PRINTED.index("tune unlike")] < SELDOM)
    doubtful |= np.array([_unsettled(same, bars, seen, chance, model) for same in groups], bool)
    found = {
        max(same, key=lambda at: float(chance[at]))
        for same, doubted in zip(groups, doubtful, strict=True)
        if doubted
    }
    return found | ({0} if 0 not in folded.passes and chance[0] >= model["threshold"] else set())


def _unsettled(
    same: tuple[int, ...],
    bars: tuple[HeardBar, ...],
    seen: np.ndarray,
    chance: np.ndarray,
    model: dict[str, Any],
) -> bool:
    """Whether a pass of three or more is doubted, and no two passes as printed settle that, one of
    them beyond doubt."""
    if len(same) < 3 or max(chance[list(same)]) < model["threshold"]:
        return False
    printed = _content(vote([(bars[at].notes, 0.05 + bars[at].confidence) for at in same]))
    mine = [at for at in same if _content(bars[at].notes) == printed]
    agreeing = seen[mine].copy()
    agreeing[:, PASSES] = 0.0
    return len(mine) < 2 or float(min(_chance(agreeing, model))) >= model["threshold"]


def printed_evidence(
    bars: tuple[HeardBar, ...], folded: Folded, seen: np.ndarray, path_odds: float
) -> tuple[list[tuple[int, ...]], np.ndarray]:
    """Of every printed bar its passes, and what speaks against it, shape (bars, len(PRINTED)).

    seen : what speaks against the performed bars, see BarEvidence.
    """
    model = models.read_json("metre/doubts.json")
    agreeing = seen.copy()
    agreeing[:, PASSES] = 0.0
    chance = _chance(agreeing, model)
    worry = np.log(chance / (1 - chance))
    groups = sorted(set(folded.passes.values()))
    tune_open = seen[0, FEATURES.index("meter open")] if len(seen) else 0.0
    tune_open = np.clip(tune_open, LEAST_OPEN, 1 - LEAST_OPEN)
    tune = (np.log(tune_open / (1 - tune_open)), min(max(-path_odds, 0.0), UNREAD_MOST))
    rows = np.zeros((len(groups), len(PRINTED)))
    for row, same in zip(rows, groups, strict=True):
        printed = _content(vote([(bars[at].notes, 0.05 + bars[at].confidence) for at in same]))
        mine = [at for at in same if _content(bars[at].notes) == printed]
        unlike = 1 - len(mine) / len(same)
        row[:] = [
            len(same) == 1, len(same) == 2, unlike, unlike * (len(same) == 2), len(mine) == 0,
            min(worry[at] for at in mine or same), np.mean(worry[list(same)]), 0.0, *tune,
            *_disputed(same, bars, printed),
        ]  # fmt: skip
    rows[:, PRINTED.index("tune unlike")] = rows[:, PRINTED.index("unlike")].mean()
    return groups, rows


def _disputed(
    same: tuple[int, ...], bars: tuple[HeardBar, ...], printed: tuple[tuple[int, str], ...]
) -> tuple[float, float]:
    """(share of the passes that lack the weakest printed note, most that have one that is not
    printed), weighted as in the vote."""
    support: dict[tuple[int, str], float] = {}
    total = 0.0
    for at in same:
        weight = 0.05 + bars[at].confidence
        total += weight
        for note in set(_content(bars[at].notes)):
            support[note] = support.get(note, 0.0) + weight
    weakest = min((support.get(note, 0.0) for note in printed), default=total)
    left_out = max((value for note, value in support.items() if note not in printed), default=0.0)
    return 1 - weakest / total, left_out / total


def bar_evidence(
    bars: tuple[HeardBar, ...],
    folded: Folded,
    line: Timeline,
    passed_over_s: np.ndarray,
    meter_chance: float,
) -> BarEvidence:
    """Features and reasons of every bar."""
    which = line.ticks // line.kind.bar_ticks - line.first_bar
    tune = (1 - float(line.placed.mean()), 1 - float(line.fit.mean()))
    seen = np.zeros((len(bars), len(FEATURES)))
    reasons = []
    for at, bar in enumerate(bars):
        inside = np.flatnonzero(which == at)
        passed = bool(np.any((passed_over_s >= bar.start_s) & (passed_over_s < bar.end_s)))
        waits = bool(at and np.any(line.broken[inside]))
        alone, differ, single = _passes(at, bars, folded)
        ticks, lengths = line.ticks[inside], line.length[inside]
        placed, stepped = 1 - line.placed[inside], 1 - line.stepped[inside]
        unheard = 1 - line.fit[inside]
        seen[at] = [
            placed.max(initial=0), placed.mean() if len(inside) else 0, stepped.max(initial=0),
            unheard.max(initial=0), unheard.mean() if len(inside) else 0, passed, waits, alone,
            differ, single, 1 - meter_chance, *tune, (lengths >= 24).sum() / 4,
            np.any(ticks % 6 != 0), not len(inside),
        ]  # fmt: skip
        reasons.append(_reasons(seen[at], len(folded.passes.get(at, ()))))
    return BarEvidence(seen, tuple(reasons))


def _passes(at: int, bars: tuple[HeardBar, ...], folded: Folded) -> tuple[bool, bool, bool]:
    """(no other of several passes is like this one, both passes differ, there is only one)."""
    same = folded.passes.get(at, ())
    if len(same) < 2:
        return False, False, True
    versions = Counter(_content(bars[one].notes) for one in same)
    mine = versions[_content(bars[at].notes)]
    return mine == 1 and len(same) > 2, mine == 1 and len(same) == 2, False


def _content(bar: Bar) -> tuple[tuple[int, str], ...]:
    return tuple((note.midi, str(note.start)) for note in bar)


def _reasons(seen: np.ndarray, passes: int) -> tuple[str, ...]:
    """In words, the most telling first."""
    of = dict(zip(FEATURES, seen.tolist(), strict=True))
    found = {
        "no note was heard": of["empty"],
        "a note that does not fit the rhythm was left out": of["passed over"],
        "the beat breaks off or waits here": of["beat waits"],
        f"differs from the other {passes - 1} times through": of["alone among passes"],
        "the two times through differ": of["two passes differ"],
        "some notes were hard to make out": of["unheard most"] > UNHEARD,
        "where the bar line falls is unsure": of["unplaced mean"] > UNPLACED,
        "how long a note is, is unsure": of["unstepped most"] > UNSTEPPED,
        "another metre fits nearly as well": of["meter open"] > OPEN_METER,
    }
    return tuple(words for words, holds in found.items() if holds)
