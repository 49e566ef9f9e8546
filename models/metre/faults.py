"""What an ear gets wrong, done to a performance on purpose.

In: Notes as played, a seeded generator. Out: `heard(...) -> Notes`: dropped, joined, split,
    invented and shifted notes, wrong octaves and semitones; each performance has its own rates.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liltwright.models.metre.performances import NOWHERE, Notes


def heard(notes: Notes, rng: np.random.Generator) -> Notes:
    """The notes with the faults of an ear. The whole is transposed at random."""
    if rng.random() < 0.65:
        notes = _lost(notes, rng)
        notes = _moved(notes, rng)
        notes = _mistaken(notes, rng)
        notes = _invented(notes, rng)
    if rng.random() < 0.5:
        notes = _divided(notes, rng)
    shift = int(rng.integers(-17, 18))
    return replace(notes, midi=notes.midi + shift)


def _rate(rng: np.random.Generator, never: float, most: float) -> float:
    """A share that is zero in some performances."""
    return 0.0 if rng.random() < never else float(rng.uniform(0, most))


def _lost(notes: Notes, rng: np.random.Generator) -> Notes:
    chance = rng.random(len(notes.midi))
    lost = chance < _rate(rng, 0.4, 0.06)
    same = np.append(False, np.diff(notes.midi) == 0)
    joined = same & (rng.random(len(chance)) < _rate(rng, 0.5, 0.7))
    lost[0] = False
    gone = lost | joined
    offset = notes.offset_s.copy()
    for at in np.flatnonzero(joined):
        offset[at - 1] = offset[at]
    broken = notes.broken.copy()
    for at in np.flatnonzero(gone & broken)[::-1]:
        if at + 1 < len(broken):
            broken[at + 1] = True
    return replace(notes, offset_s=offset, broken=broken).only(~gone)


def _moved(notes: Notes, rng: np.random.Generator) -> Notes:
    """Onsets early or late; where a cut was taken for part of the note, late by its length."""
    n = len(notes.midi)
    move = (rng.random(n) < _rate(rng, 0.4, 0.06)) * rng.uniform(0.04, 0.09, n)
    move *= rng.choice([-1, 1], n)
    move += (rng.random(n) < _rate(rng, 0.4, 0.1)) * rng.uniform(0.025, 0.055, n)
    onset = notes.onset_s + move
    for at in range(1, n):
        onset[at] = max(onset[at], onset[at - 1] + 0.03)
    return replace(notes, onset_s=onset, offset_s=np.maximum(notes.offset_s, onset + 0.03))


def _mistaken(notes: Notes, rng: np.random.Generator) -> Notes:
    n = len(notes.midi)
    wrong = (rng.random(n) < _rate(rng, 0.5, 0.03)) * rng.choice([-1, 1], n)
    wrong += (rng.random(n) < _rate(rng, 0.7, 0.03)) * rng.choice([-12, 12], n)
    return replace(notes, midi=notes.midi + wrong)


def _invented(notes: Notes, rng: np.random.Generator) -> Notes:
    """Notes that nobody played: ornaments taken for notes, and bits split off."""
    n = len(notes.midi)
    room = np.append(np.diff(notes.onset_s), 0.3)
    split = (rng.random(n) < _rate(rng, 0.4, 0.05)) & (room > 0.12)
    step = np.where(rng.random(n) < 0.5, 0, rng.choice([-2, -1, 1, 2], n))
    where = notes.onset_s + room * rng.uniform(0.25, 0.75, n)
    graced = (rng.random(n) < _rate(rng, 0.5, 0.06)) & (room > 0.09) & ~split
    flick = rng.uniform(0.03, 0.06, n)
    onset = notes.onset_s + graced * flick
    first = replace(notes, onset_s=onset, offset_s=np.maximum(notes.offset_s, onset + 0.03))
    added = replace(
        notes,
        onset_s=np.where(split, where, notes.onset_s),
        offset_s=np.where(split, notes.offset_s, onset),
        midi=notes.midi + np.where(split, step, rng.choice([-2, -1, 1, 2, 3, 4], n)),
        ticks=np.full(n, NOWHERE),
        broken=np.zeros(n, bool),
    ).only(split | graced)
    return _together(first, added)


def _divided(notes: Notes, rng: np.random.Generator) -> Notes:
    """Rolls and trebles that were not recognised: a long note heard as two or three."""
    room = np.append(np.diff(notes.onset_s), 0.3)
    chance = rng.random(len(room))
    usual = np.median(room)
    rate = _rate(rng, 0.4, 0.1)
    rolled = (chance < np.where(notes.treble, 0.5, rate)) & (room > 1.7 * usual) & (room > 0.25)
    three = room > 2.6 * usual
    pieces = []
    for share in (1, 2):
        mine = rolled & (three | (share == 1))
        start = notes.onset_s + room * share / np.where(three, 3, 2)
        start += rng.normal(0, 0.012, len(room))
        pieces.append(
            replace(
                notes, onset_s=start,
                offset_s=np.minimum(start + 0.9 * room / 3, notes.onset_s + room),
                ticks=np.full(len(room), NOWHERE), broken=np.zeros(len(room), bool),
            ).only(mine)
        )  # fmt: skip
    return _together(_together(notes, pieces[0]), pieces[1])


def _together(one: Notes, other: Notes) -> Notes:
    """Both in order of onset, ends cut at the next onset."""
    names = ("onset_s", "offset_s", "midi", "ticks", "since", "broken", "treble")
    joined = {name: np.concatenate([getattr(one, name), getattr(other, name)]) for name in names}
    both = replace(one, **joined)  # type: ignore[arg-type]
    both = both.only(np.argsort(both.onset_s, kind="stable"))
    end = np.minimum(both.offset_s, np.append(both.onset_s[1:], np.inf))
    return replace(both, offset_s=np.maximum(end, both.onset_s + 0.01))
