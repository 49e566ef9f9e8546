"""Task: ask the ear again where a note may be one long one or two of one pitch.

In: Timeline, Form and the moments at which the ear was not sure. Out: the Timeline with such notes
    parted or joined.
Method: once bars and form are known, every place at which a pitch goes on is asked about: where
    this pass or another of the same bar strikes it again, and where the ear half believed it. A
    logistic score weighs what the ear believed at that time, here and in the other passes, how
    many passes have the note, how often this place of the bar has one in the rest of the tune, and
    what the place is; so a note that three of four passes have needs little from the ear, one that
    the page alone wants needs much. Nothing is put in where the ear believed nothing, unless the
    passes agree on it by themselves (repeated.py), nor against most of the passes, unless the ear
    half heard it in those too; nothing is taken out unless most passes lack it: what one singer
    repeats once is as often meant as not. Where no doubtful moment is told (notes read from a
    file) the passes decide alone.
References: logistic regression; weights and how they were fitted: models/metre/again.json and its
    card.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from liltwright.models import read_json
from liltwright.notate.bars.beats import unit_of
from liltwright.notate.bars.passes import passes_of_bars
from liltwright.notate.bars.repeated import mended, only, with_notes
from liltwright.notate.bars.timeline import Timeline
from liltwright.notate.form.segments import Form
from liltwright.notate.form.similarity import SLOT
from liltwright.notate.metre.kind import QUAVER, bend

NEAR_S = 0.065
"""So far from the time that the page expects a doubtful moment may lie."""
APART_S = 0.05  # no two notes are nearer than this
LEAST = 0.1  # belief from which on a moment is asked about that no pass asks about
SUREST, BELIEVED = 0.005, 0.02
"""Of how sure the ear is of a note, and of its belief in an onset, from 0 and from 1, so that their
log odds stay within bounds."""

PUT_IN = 0.5
"""Log odds above which a note is put in; 0 does as well on dev, and puts in more."""
HALF_HEARD = 1.5
"""Mean log odds above none, about a belief of 0.08, from which on passes that lack a note do not
vote against it: the ear half heard it there too."""

Moments = tuple[tuple[float, float], ...]
"""Seconds and belief in an onset, in order."""


@dataclass(frozen=True, slots=True)
class Repetition:
    """A place at which a pitch sounds already and may be struck again."""

    tick: int
    midi: int
    there: bool
    """Whether the ear listed it."""
    belief: float
    """The ear's, 0..1: of a note that is there how sure it is, else in an onset near by."""
    moment: int | None
    """Number of the doubtful moment near by; None where there is none, or the note is listed."""
    after: int
    """Ticks to the next note."""


@dataclass(frozen=True)
class _Ear:
    """A performance as it is asked about."""

    line: Timeline
    moments: Moments

    @cached_property
    def times(self) -> list[float]:
        return [at for at, _ in self.moments]

    @cached_property
    def at(self) -> dict[int, int]:
        """The note on each tick."""
        return {tick: i for i, tick in enumerate(self.line.ticks.tolist())}

    @cached_property
    def bent(self) -> np.ndarray:
        return bend(self.line.kind, self.line.ticks.astype(float), self.line.ratio)

    def expected_s(self, tick: int | np.ndarray) -> np.ndarray:
        """Seconds at which a tick passes."""
        line = self.line
        bent = bend(line.kind, np.asarray(tick, float), line.ratio)
        return np.asarray(np.interp(bent, self.bent, line.onset_s))

    def repeats(self) -> Iterator[int]:
        """Ticks at which the ear has a note struck again."""
        same = np.flatnonzero(np.diff(self.line.midi) == 0) + 1
        yield from self.line.ticks[same].tolist()

    def doubts(self) -> Iterator[int]:
        """Ticks of the page near the doubtful moments."""
        line = self.line
        for at_s, belief in self.moments:
            i = int(np.searchsorted(line.onset_s, at_s)) - 1
            if belief < LEAST or not 0 <= i < len(line.ticks) - 1:
                continue
            first = (int(line.ticks[i]) // SLOT + 1) * SLOT
            ticks = np.arange(first, int(line.ticks[i + 1]), SLOT)
            if len(ticks):
                off_s = np.abs(self.expected_s(ticks) - at_s)
                if off_s.min() <= NEAR_S:
                    yield int(ticks[off_s.argmin()])

    def ask(self, tick: int, midi: int) -> Repetition | None:
        """The question whether this note begins here; None where it makes no sense."""
        line = self.line
        i = self.at.get(tick)
        before = bisect_left(self.ticks, tick) - 1
        if before < 0 or line.midi[before] != midi or tick - line.ticks[before] > self._bar:
            return None
        last = i if i is not None else before
        after = int(line.ticks[last + 1]) - tick if last + 1 < len(line.ticks) else QUAVER
        if i is not None:
            if line.midi[i] != midi or line.broken[i]:
                return None
            return Repetition(tick, midi, True, float(line.fit[i]), None, after)
        if before + 1 >= len(line.ticks) or line.broken[before + 1]:
            return None
        at_s = float(self.expected_s(tick))
        earliest_s = float(line.onset_s[before]) + APART_S
        latest_s = float(line.onset_s[before + 1]) - APART_S
        if not earliest_s < at_s < latest_s:
            return None
        low = bisect_left(self.times, max(at_s - NEAR_S, earliest_s))
        high = bisect_right(self.times, min(at_s + NEAR_S, latest_s))
        moment = max(range(low, high), key=lambda k: self.moments[k][1], default=None)
        belief = 0.0 if moment is None else self.moments[moment][1]
        return Repetition(tick, midi, False, belief, moment, after)

    @cached_property
    def ticks(self) -> list[int]:
        return self.line.ticks.tolist()

    @property
    def _bar(self) -> int:
        return self.line.kind.bar_ticks


def heard_again(line: Timeline, form: Form, moments: Moments) -> Timeline:
    """The timeline with doubtful repetitions decided. `form` counts bars from line.first_bar."""
    agreed = mended(line, form)
    if not moments:
        return agreed
    asked, seen = questions(line, form, moments)
    table = read_json("metre/again.json")
    score = seen @ np.array([table["weights"][name] for name in FEATURES]) + table["bias"]
    votes = seen[:, FEATURES.index("passes")]
    against = (votes < 0) & (seen[:, FEATURES.index("others believed")] < HALF_HEARD)
    parted, joined = (score > PUT_IN) & ~against, (score < 0) & (votes < 0)
    gone = {one.tick for one, yes in zip(asked, joined, strict=True) if one.there and yes}
    gone.discard(next(t for t in line.ticks.tolist() if t // line.kind.bar_ticks == line.last_bar))
    told = {one.tick for one in asked if one.there or one.moment is not None}
    added = {
        tick: midi
        for tick, midi in zip(agreed.ticks.tolist(), agreed.midi.tolist(), strict=True)
        if tick not in told and tick not in line.ticks
    }
    used: set[int] = set()
    for k in np.argsort(-score, kind="stable").tolist():
        one = asked[k]
        if one.moment is None or one.moment in used or not parted[k]:
            continue
        if all(abs(one.tick - tick) >= SLOT for tick in added):
            added[one.tick] = one.midi
            used.add(one.moment)
    if not added and not gone:
        return line
    return with_notes(only(line, ~np.isin(line.ticks, list(gone))), added)


FEATURES = (
    "there", "sure", "believed", "passes", "others believed", "place", "short", "on the beat",
)  # fmt: skip


def questions(line: Timeline, form: Form, moments: Moments) -> tuple[list[Repetition], np.ndarray]:
    """What is asked, and what speaks for it, shape (n_questions, len(FEATURES))."""
    bar, first = line.kind.bar_ticks, line.first_bar
    ear = _Ear(line, moments)
    count = line.last_bar - first + 1
    played = np.zeros((count, bar), bool)
    played[line.ticks // bar - first, line.ticks % bar] = True
    doubtful: dict[int, set[tuple[int, int]]] = {}
    for tick in (*ear.repeats(), *ear.doubts()):
        before = bisect_left(ear.ticks, tick) - 1
        places = doubtful.setdefault(tick // bar - first, set())
        places.add((tick % bar, int(line.midi[before])))
    groups = passes_of_bars(form)
    groups += [[one] for one in sorted(set(range(count)) - {b for g in groups for b in g})]
    asked: list[Repetition] = []
    rows: list[list[float]] = []
    for group in groups:
        rest = np.ones(count, bool)
        rest[group] = False
        for place, midi in sorted(set().union(*(doubtful.get(one, set()) for one in group))):
            mine = [ear.ask((one + first) * bar + place, midi) for one in group]
            found = [one for one in mine if one is not None]
            usual = (played[rest, place].sum() + 0.5) / (rest.sum() + 1)
            for one in found:
                others = [other for other in found if other is not one]
                asked.append(one)
                rows.append(_row(one, others, usual, unit_of(line.kind)))
    return asked, np.array(rows).reshape(len(asked), len(FEATURES))


def _row(one: Repetition, others: list[Repetition], usual: float, beat: int) -> list[float]:
    have = sum(other.there for other in others)
    lack = [_log_odds(other.belief, BELIEVED) for other in others if not other.there]
    none = _log_odds(0.0, BELIEVED)
    return [
        one.there,
        _log_odds(one.belief, SUREST) if one.there else 0.0,
        0.0 if one.there else _log_odds(one.belief, BELIEVED),
        float(np.log((have + 0.5) / (len(lack) + 0.5))),
        float(np.mean(lack)) - none if lack else 0.0,
        _log_odds(usual, BELIEVED),
        one.after < QUAVER,
        one.tick % beat == 0,
    ]


def _log_odds(belief: float, least: float) -> float:
    kept = min(max(belief, least), 1 - least)
    return float(np.log(kept / (1 - kept)))
