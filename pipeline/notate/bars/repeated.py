"""Task: put back notes that one pass of a bar lost because they repeat the note before.

In: Timeline and Form. Out: the Timeline with such notes added, or taken out.
Method: two notes of one pitch with hardly a dip between them are the commonest thing an ear gets
    wrong: it hears one long note more often than the other way round. Passes of a bar in which the
    same pitch sounds at every moment were therefore played from the same notes: a pass takes over
    the notes of another that has more, unless more passes lack them; a note that hardly any pass
    has is taken out. Off the beat it is the other way round, because there an ear that cuts one
    note in two makes the cut: such a note needs more passes that have it than lack it, unless the
    ear is sure of it. The time of an added note is interpolated. Bars that differ in pitch are
    variants and stay.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, fields, replace

import numpy as np

from liltwright.notate.bars.beats import unit_of
from liltwright.notate.bars.passes import passes_of_bars
from liltwright.notate.bars.timeline import Timeline, lengths
from liltwright.notate.form.segments import Form
from liltwright.notate.metre.kind import bend

SEEN_TIMES = 3
"""A note is taken out when versions without it are that many times as many."""
ADDED_FIT, SHORTEST_S = 0.5, 0.02
"""Belief in a note that was put back, at most, and its least seconds."""
SURE = 0.97
"""Confidence from which on a note off the beat is not taken for a cut; chosen on dev."""

Version = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class _Pass:
    """One bar as performed: (tick in the bar, midi) of its notes, and what sounds at every tick."""

    notes: Version
    sounds: bytes
    unsure: frozenset[int]
    """Ticks of the notes that the ear is not sure of."""


def mended(line: Timeline, form: Form) -> Timeline:
    """The timeline with lost repetitions put back. `form` counts bars from line.first_bar."""
    bar = line.kind.bar_ticks
    added: dict[int, int] = {}
    gone: set[int] = set()
    for passes in passes_of_bars(form):
        groups: dict[bytes, dict[int, _Pass]] = defaultdict(dict)
        for number in passes:
            one = _heard(line, number)
            groups[one.sounds][number] = one
        for same in groups.values():
            votes = Counter(one.notes for one in same.values())
            for number, mine in same.items() if len(votes) > 1 else ():
                best = _best(mine, votes, unit_of(line.kind))
                start = (number + line.first_bar) * bar
                added |= {start + tick: midi for tick, midi in set(best) - set(mine.notes)}
                gone |= {start + tick for tick, _ in set(mine.notes) - set(best)}
    if not added and not gone:
        return line
    return with_notes(only(line, ~np.isin(line.ticks, list(gone))), added)


def _heard(line: Timeline, number: int) -> _Pass:
    bar = line.kind.bar_ticks
    start = (number + line.first_bar) * bar
    low, high = np.searchsorted(line.ticks, [start, start + bar])
    notes = tuple(
        (int(tick - start), int(midi))
        for tick, midi in zip(line.ticks[low:high], line.midi[low:high], strict=True)
    )
    at = np.searchsorted(line.ticks, start + np.arange(bar), side="right") - 1
    sounds = np.where(at >= 0, line.midi[np.maximum(at, 0)], 0).astype(np.uint8)
    unsure = line.ticks[low:high][line.fit[low:high] < SURE] - start
    return _Pass(notes, sounds.tobytes(), frozenset(unsure.tolist()))


def _best(mine: _Pass, votes: Counter[Version], beat: int) -> Version:
    """The version this pass was played from. beat : ticks from beat to beat."""
    have = votes[mine.notes]

    def cut(notes: set[tuple[int, int]]) -> bool:
        """Whether these may be second halves of notes cut in two."""
        return any(tick % beat for tick, _ in notes)

    def chance(one: Version) -> tuple[float, int]:
        extra, lost = set(one) - set(mine.notes), set(mine.notes) - set(one)
        unsure = cut(lost) and mine.unsure >= {tick for tick, _ in lost if tick % beat}
        more = bool(extra) and not lost and votes[one] >= have + cut(extra)
        fewer = bool(lost) and not extra and votes[one] >= have * (1 if unsure else SEEN_TIMES)
        return (float(votes[one]) if more or fewer else 0.0, len(one))

    best = max(votes, key=chance)
    return best if chance(best)[0] > 0 else mine.notes


def only(line: Timeline, kept: np.ndarray) -> Timeline:
    """The chosen notes of a timeline."""
    values = {}
    for field in fields(line):
        value = getattr(line, field.name)
        if isinstance(value, np.ndarray):
            values[field.name] = value[kept]
    ornament = tuple(o for o, k in zip(line.ornament, kept, strict=True) if k)
    return _lengthened(replace(line, ornament=ornament, **values))


def with_notes(line: Timeline, added: dict[int, int]) -> Timeline:
    """The timeline with notes at these ticks."""
    if not added:
        return line
    ticks = np.array(sorted(added))
    bent = bend(line.kind, line.ticks.astype(float), line.ratio)
    mine = bend(line.kind, ticks.astype(float), line.ratio)
    onset = np.interp(mine, bent, line.onset_s)
    at = np.maximum(np.searchsorted(line.ticks, ticks) - 1, 0)
    order = np.argsort(np.concatenate([line.ticks, ticks]), kind="stable")

    def joined(old: np.ndarray, new: np.ndarray) -> np.ndarray:
        return np.concatenate([old, new])[order]

    begin = joined(line.onset_s, onset)
    end = joined(line.offset_s, np.maximum(line.offset_s[at], onset + SHORTEST_S))
    ornament = [*line.ornament, *(None for _ in ticks)]
    full = replace(
        line,
        ticks=joined(line.ticks, ticks),
        length=joined(line.length, line.length[at]),
        midi=joined(line.midi, np.array([added[tick] for tick in ticks.tolist()])),
        onset_s=begin,
        offset_s=np.minimum(end, np.append(begin[1:], np.inf)),
        fit=joined(line.fit, np.minimum(line.fit[at], ADDED_FIT)),
        placed=joined(line.placed, line.placed[at]),
        stepped=joined(line.stepped, line.stepped[at]),
        broken=joined(line.broken, np.zeros(len(ticks), bool)),
        tick_s=joined(line.tick_s, line.tick_s[at]),
        ornament=tuple(ornament[i] for i in order),
    )
    return _lengthened(full)


def _lengthened(line: Timeline) -> Timeline:
    length = lengths(line.ticks, line.onset_s, line.offset_s, line.tick_s, line.kind)
    return replace(line, length=length)
