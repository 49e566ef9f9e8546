"""Task: find the bars that are truly longer or shorter than the metre, in every pass.

In: a Timeline and the reading it comes from, as the networks tell it. Out: `straightened(...)`: the
    Timeline with the bar lines moved where bars are crooked; in it a short bar has a hole at its
    end, a long one is a full bar and a short one, so that all bars keep their numbers.
Method: the beats that repeat one another (beats) are one beat of the page and stand at one place
    of the bar. Two beats that follow each other stand side by side, or a bar is crooked there,
    which costs once however often it is played. Beginning with the reading as it is, stretches of
    the page are moved by beats as long as that makes the whole likelier.
Reference: moves of whole stretches as in Y. Boykov, O. Veksler & R. Zabih, "Fast approximate
    energy minimization via graph cuts", IEEE PAMI 23(11), 2001, here searched exhaustively.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from liltwright.models import read_lines
from liltwright.notate.bars.beats import Beats, beats_of
from liltwright.notate.bars.timeline import Timeline, lengths
from liltwright.notate.metre.places import places
from liltwright.notate.metre.viterbi import COSTS, Told

LEAST_GAIN = 1e-6  # nats; less is rounding
FEWEST_BARS = 4  # of a tune whose bars can be told crooked


def place_logs(told: Told, unit: int) -> np.ndarray:
    """Log probability of every note's place, moved by 0, 1, ... beats; shape (n_notes, beats).

    unit : ticks of a beat
    """
    table = places()
    which = table.meters.index(told.path.meter)
    bar = table.bar_ticks[which]
    moved = (told.path.ticks[:, None] % unit + unit * np.arange(bar // unit)[None]) % bar
    number = table.number[which, moved]
    found = np.take_along_axis(told.said.place, np.maximum(number, 0), 1)
    logs = np.where(number >= 0, found, -np.inf)
    logs = logs - np.logaddexp.reduce(logs, axis=1, keepdims=True)
    return np.maximum(np.nan_to_num(logs, nan=0.0), read_lines(COSTS)["least_place"])


@dataclass(frozen=True, slots=True)
class _Page:
    """The beats of the page and what follows what; a place is a beat of the bar."""

    word: np.ndarray
    """Log score of every place of every beat of the page, shape (n, in_bar)."""
    one: np.ndarray
    other: np.ndarray
    """Beats that follow each other somewhere, shape (edges,)."""
    cost: np.ndarray
    """Of not standing side by side, shape (edges,)."""

    def paid(self, place: np.ndarray) -> np.ndarray:
        """What every edge costs; place has shape (..., n)."""
        size = self.word.shape[1]
        after = place[..., self.other]
        apart = (place[..., self.one] + 1) % size != after
        return np.where(apart, self.cost + read_lines(COSTS)["inside"] * (after != 0), 0.0)

    def score(self, place: np.ndarray) -> float:
        """The less the likelier."""
        word = self.word[np.arange(len(place)), place]
        return float(self.paid(place).sum() - word.sum())


def straightened(line: Timeline, told: Told) -> Timeline:
    """The timeline with crooked bars as holes, the same where there are none.

    told : the reading of its notes
    """
    jumps = told.path.jumps
    beats = beats_of(line, jumps)
    if len(beats.root) < FEWEST_BARS * beats.in_bar:
        return line
    page = _page(beats, place_logs(told, beats.unit), told.said.jump[:, 0])
    _, first = np.unique(beats.root, return_index=True)
    starts = (beats.place[first], _along(page))
    place = min((_settled(page, start) for start in starts), key=page.score)
    place = _to_bar_lines(place[np.searchsorted(beats.root[first], beats.root)], beats.in_bar)
    return _laid(line, beats, place, jumps)


def _page(beats: Beats, logs: np.ndarray, jump_logs: np.ndarray) -> _Page:
    roots, number, passes = np.unique(beats.root, return_inverse=True, return_counts=True)
    word = np.zeros((len(roots), beats.in_bar))
    np.add.at(word, number[beats.beat], logs)
    costs = read_lines(COSTS)
    word *= costs["place"] / np.sqrt(passes)[:, None]
    likely = np.full(len(beats.root), costs["least_jump"])
    np.maximum.at(likely, beats.beat, jump_logs)
    about = np.pad(passes[number], beats.in_bar, constant_values=1)
    about = np.lib.stride_tricks.sliding_window_view(about, 2 * beats.in_bar + 1).max(axis=1)
    paid = np.where(about == 1, costs["once"], costs["crooked"])
    paid -= costs["crooked_jump"] * likely
    ends, which = np.unique(np.stack([number[:-1], number[1:]]), axis=1, return_inverse=True)
    which = which.reshape(-1)
    cost = np.bincount(which, weights=paid[1:]) / np.bincount(which)
    return _Page(word, ends[0], ends[1], cost)


def _along(page: _Page) -> np.ndarray:
    """The best places when every beat of the page follows the one before it."""
    n, size = page.word.shape
    costs = read_lines(COSTS)
    never = costs["crooked_jump"] * costs["least_jump"]
    score, came = page.word[0], np.zeros((n, size), int)
    turn = (np.arange(size) - 1) % size
    for at in range(1, n):
        stay, jump = score[turn], score.max() - costs["crooked"] + never
        came[at] = np.where(stay >= jump, turn, score.argmax())
        score = np.maximum(stay, jump) + page.word[at]
    place = np.zeros(n, int)
    place[-1] = score.argmax()
    for at in range(n - 1, 0, -1):
        place[at - 1] = came[at, place[at]]
    return place


def _settled(page: _Page, place: np.ndarray) -> np.ndarray:
    """The places after every move of a stretch that makes the page likelier."""
    n, size = page.word.shape
    while True:
        best, chosen = LEAST_GAIN, None
        paid = page.paid(place)
        for by in range(1, size):
            moved = (place + by) % size
            gain = page.word[np.arange(n), moved] - page.word[np.arange(n), place]
            total = np.append(0.0, np.cumsum(gain))
            whole = total[None, :] - total[:, None]  # [first, end]
            whole -= _edge_change(page, place, moved, paid)
            whole[np.tril_indices(n + 1)] = -np.inf
            at = int(whole.argmax())
            if whole.flat[at] > best:
                best, chosen = float(whole.flat[at]), (*divmod(at, n + 1), by)
        if chosen is None:
            return place
        begin, end, by = chosen
        place = place.copy()
        place[begin:end] = (place[begin:end] + by) % size


def _edge_change(page: _Page, place: np.ndarray, moved: np.ndarray, paid: np.ndarray) -> np.ndarray:
    """What the edges cost more when beats first..end-1 are moved; shape (n + 1, n + 1)."""
    n, size = page.word.shape
    change = np.zeros((n + 2, n + 2))
    one, other, cost = page.one, page.other, page.cost
    inside = read_lines(COSTS)["inside"]

    def price(left: np.ndarray, right: np.ndarray) -> np.ndarray:
        return np.where((left + 1) % size != right, cost + inside * (right != 0), 0.0)

    left_only = price(moved[one], place[other]) - paid
    right_only = price(place[one], moved[other]) - paid
    both = price(moved[one], moved[other]) - paid
    # a beat k is inside first..end-1 where first <= k < end: rectangles of (first, end)
    for beat, value in ((one, left_only), (other, right_only)):
        _add(change, 0 * beat, beat, beat + 1, n + 0 * beat, value)
    low, high = np.minimum(one, other), np.maximum(one, other)
    _add(change, 0 * low, low, high + 1, n + 0 * low, both - left_only - right_only)
    return np.cumsum(np.cumsum(change, axis=0), axis=1)[: n + 1, : n + 1]


def _add(
    change: np.ndarray,
    top: np.ndarray,
    bottom: np.ndarray,
    left: np.ndarray,
    right: np.ndarray,
    value: np.ndarray,
) -> None:
    """Add values to rectangles (ends included) of what is summed up later."""
    np.add.at(change, (top, left), value)
    np.add.at(change, (bottom + 1, left), -value)
    np.add.at(change, (top, right + 1), -value)
    np.add.at(change, (bottom + 1, right + 1), value)


def _to_bar_lines(place: np.ndarray, in_bar: int) -> np.ndarray:
    """The places with every jump put off to the next bar line."""
    place = place.copy()
    apart = (place[:-1] + 1) % in_bar != place[1:]
    for at in 1 + np.flatnonzero(apart):
        while at < len(place) and place[at] and place[at] != (place[at - 1] + 1) % in_bar:
            place[at] = (place[at - 1] + 1) % in_bar
            at += 1
    return place


def _laid(line: Timeline, beats: Beats, place: np.ndarray, jumps: np.ndarray) -> Timeline:
    """The notes with every beat at its place; the page goes on after what is left out."""
    step = (place[1:] - place[:-1] - 1) % beats.in_bar + 1
    lost = step > 1
    at = place[0] + np.append(0, np.cumsum(step))
    ticks = at[beats.beat] * beats.unit + beats.inside
    ticks -= ticks[0] // line.kind.bar_ticks * line.kind.bar_ticks
    shift = (ticks[0] - beats.inside[0]) // beats.unit - at[beats.beat[0]]
    seen = {end: beats.passes(end + 1) for end in np.flatnonzero(lost & (place[1:] == 0)).tolist()}
    ends = [end for end, (led, all_) in seen.items() if led > 1 or all_ == 1]
    if 2 * (lost.sum() - len(ends)) >= max(len(ends), 1):
        return line
    short = tuple(
        (int((at[end] + shift) // beats.in_bar), int(place[end] + 1) * beats.unit) for end in ends
    )
    breaks = np.append(False, lost)[beats.beat]
    breaks &= np.append(True, np.diff(beats.beat) > 0)
    broken = line.broken & ~jumps | breaks
    length = lengths(ticks, line.onset_s, line.offset_s, line.tick_s, line.kind)
    return replace(line, ticks=ticks, length=length, broken=broken, short=short)
