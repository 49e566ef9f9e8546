"""From a printed page to the notes of some rounds, varied as players and other printings vary.

In: Page (a printed round as arrays), a seeded generator. Out: an array of shape (n_notes, 6) whose
    columns are AT (ticks from the first bar line), PLAYED (the same without the stretches that are
    left out of a crooked bar), LONG (ticks), MIDI, TREBLE and SINCE (bars since the pass began).
Method: whatever is altered before the rounds are laid out is altered alike in every pass.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from liltwright.models.metre.page import Page
from liltwright.models.metre.recombine import recombined
from liltwright.models.metre.retune import retuned

AT, PLAYED, LONG, MIDI, TREBLE, SINCE = range(6)
QUAVER = 12
RECOMBINED = 0.9
"""Share of performances whose tune is put together anew."""
SLIDE_SHARE = 0.6
SLIDES = 0.15
"""Share of jigs that become slides by losing the second quaver of nearly every beat."""
CROOKED = 0.06
"""Share of tunes with a bar that is too short; as many have one that is too long."""
VARIED, ENDED = 0.5, 0.3
"""Share of performances with whole phrases changed in one pass, and with an ending."""
PHRASE = 0.15
"""Share of the phrases that such a performance changes."""


def rounds(
    page: Page, kin: list[Page], rng: np.random.Generator, others: Sequence[Page] = ()
) -> tuple[np.ndarray, str]:
    """The notes of one to three rounds, and the tune type they now have.

    kin : tunes that may lend their phrases; others : those that may lend pitches; may be empty.
    """
    if kin and rng.random() < RECOMBINED:
        page = recombined(page, kin, rng, others)
    share = float(rng.choice([0.0, 0.05, 0.15, 0.4]))
    notes = _altered(page.notes, page.bar, share, rng)
    notes, kind = _recast(notes, page, rng)
    notes = retuned(notes, page, rng)
    rows = np.zeros((len(notes), 6), np.int64)
    rows[:, [AT, LONG, MIDI, TREBLE]] = notes[:, :4]
    rows[:, PLAYED] = rows[:, AT]
    rows[:, SINCE] = page.since[(rows[:, AT] // page.bar) % len(page.since)]
    size = len(page.since) * page.bar
    if rng.random() < CROOKED:
        rows = _crooked(rows, page, rng)
    elif rng.random() < CROOKED:
        rows = _lengthened(rows, page, rng)
        size += page.bar
    times = max(1, min(int(rng.choice([1, 2, 2, 2, 3])), 1400 // len(rows)))
    lap = rows[-1, AT] - rows[-1, PLAYED]
    laid = []
    for which in range(times):
        one = rows.copy()
        one[:, AT] += which * size
        one[:, PLAYED] += which * (size - lap)
        laid.append(one)
    rows = np.concatenate(laid)
    if rng.random() < VARIED:
        rows = _phrases(rows, page, rng)
    rows = _passing(rows, float(rng.choice([0.0, 0.01, 0.03])), rng)
    return (_ended(rows, page, times * size, rng) if rng.random() < ENDED else rows), kind


def _altered(notes: np.ndarray, bar: int, share: float, rng: np.random.Generator) -> np.ndarray:
    """Notes moved, joined and divided, alike in every pass."""
    if share == 0.0:
        return notes
    names, place = np.unique(notes[:, 4], return_inverse=True)
    chance = rng.random(len(names))[place]
    step = rng.choice([-2, -1, 1, 2], len(names))[place]
    notes = notes.copy()
    notes[:, 2] += np.where(chance < share, step, 0)
    odd = notes[:, 0] % (2 * QUAVER) != 0
    follows = np.append(False, notes[:-1, 0] + notes[:-1, 1] == notes[1:, 0])
    joined = (chance > 1 - share / 2) & odd & follows & (notes[:, 1] <= QUAVER)
    joined &= notes[:, 0] % bar != 0
    before = np.flatnonzero(joined) - 1
    notes[before, 1] += notes[joined, 1]
    notes = notes[~joined]
    divided = (chance[~joined] > 0.5) & (chance[~joined] < 0.5 + share / 2)
    divided &= notes[:, 1] == 2 * QUAVER
    notes[divided, 1] = QUAVER
    second = notes[divided].copy()
    second[:, 0] += QUAVER
    second[:, 2] += step[~joined][divided]
    second[:, 4] += 200_000
    both = np.concatenate([notes, second])
    return both[np.argsort(both[:, 0], kind="stable")]


def _recast(notes: np.ndarray, page: Page, rng: np.random.Generator) -> tuple[np.ndarray, str]:
    """Types that the collections lack, from their nearest relatives (common practice): a hop jig
    is a slip jig in crotchets and quavers, a mazurka a waltz that divides its first beat, some
    slides are jigs in crotchets and quavers. What was varied is a slide when most of its beats are
    crotchet and quaver or one note, else a jig."""
    if page.kind in ("jig", "slide") and page.meter == "6/8":
        if page.kind == "jig" and rng.random() < SLIDES:
            middle = (notes[:, 0] % 36 == QUAVER) & (rng.random(len(notes)) < rng.uniform(0.7, 1))
            notes = _without(notes, middle)
        beats = np.bincount(np.maximum(notes[:, 0], 0) // 36)
        return notes, "slide" if (beats[beats > 0] <= 2).mean() > SLIDE_SHARE else "jig"
    if page.kind == "slip jig" and rng.random() < 0.2:
        middle = (notes[:, 0] % 36 == QUAVER) & (rng.random(len(notes)) < 0.85)
        return _without(notes, middle), "hop jig"
    if page.kind == "waltz" and rng.random() < 0.2:
        first = (notes[:, 0] % 72 == 0) & (notes[:, 1] == 24) & (rng.random(len(notes)) < 0.8)
        notes = notes.copy()
        notes[first, 1] = 18
        second = notes[first].copy()
        second[:, 0] += 18
        second[:, 1] = 6
        second[:, 2] += rng.choice([-2, 0, 2], len(second))
        second[:, 4] += 300_000
        both = np.concatenate([notes, second])
        return both[np.argsort(both[:, 0], kind="stable")], "mazurka"
    return notes, page.kind


def _without(rows: np.ndarray, gone: np.ndarray, length: int = 1, at: int = 0) -> np.ndarray:
    """The rows without some; the note before a lost one is held on where they touched."""
    rows = rows.copy()
    for index in np.flatnonzero(gone):
        if index and rows[index - 1, at] + rows[index - 1, length] == rows[index, at]:
            rows[index - 1, length] += rows[index, length]
            rows[index, [at, length]] = rows[index - 1, [at, length]]
    return rows[~gone]


def _crooked(rows: np.ndarray, page: Page, rng: np.random.Generator) -> np.ndarray:
    """The end of one bar is left out."""
    beat = 36 if page.meter.endswith("/8") else 24
    bar = int(rng.integers(1, len(page.since)))
    line = bar * page.bar
    lost = beat * int(rng.integers(1, max(page.bar // beat, 2)))
    inside = (rows[:, AT] >= line - lost) & (rows[:, AT] < line)
    rows = rows.copy()
    rows[rows[:, AT] >= line, PLAYED] -= lost
    rows = rows[~inside]
    last = np.flatnonzero(rows[:, AT] < line)[-1]
    rows[last, LONG] = max(min(rows[last, LONG], line - lost - rows[last, AT]), 6)
    return rows


def _lengthened(rows: np.ndarray, page: Page, rng: np.random.Generator) -> np.ndarray:
    """The end of one bar is played again, or its last note held on: a short bar of its own."""
    beat = 36 if page.meter.endswith("/8") else 24
    line = int(rng.integers(1, len(page.since))) * page.bar
    more = beat * int(rng.integers(1, max(page.bar // beat, 2)))
    before, after = rows[rows[:, AT] < line].copy(), rows[rows[:, AT] >= line].copy()
    after[:, AT] += page.bar
    after[:, PLAYED] += more
    again = before[before[:, AT] >= line - more].copy()
    if not len(again) or rng.random() < 0.4:
        before[-1, LONG] += more
        return np.concatenate([before, after])
    again[:, [AT, PLAYED]] += more
    again[:, SINCE] += 1
    return np.concatenate([before, again, after])


def _phrases(rows: np.ndarray, page: Page, rng: np.random.Generator) -> np.ndarray:
    """In some phrases of one pass other notes of the scale, or another octave."""
    rows = rows.copy()
    scale = np.unique(rows[:, MIDI] % 12)
    phrase = rows[:, AT] // (page.bar * int(rng.choice([2, 4])))
    for one in np.unique(phrase):
        if rng.random() < PHRASE:
            mine = np.flatnonzero(phrase == one)
            if rng.random() < 0.3:
                rows[mine[int(rng.integers(len(mine))) :], MIDI] += int(rng.choice([-12, 12]))
                continue
            some = mine[rng.random(len(mine)) < rng.uniform(0.2, 0.8)]
            moved = rows[some, MIDI] + rng.integers(-5, 6, len(some))
            rows[some, MIDI] = np.where(np.isin(moved % 12, scale), moved, rows[some, MIDI])
    return rows


def _ended(rows: np.ndarray, page: Page, line: int, rng: np.random.Generator) -> np.ndarray:
    """After the last round a held note, or its first bars again with their last note held."""
    rows = rows[rows[:, AT] < line]
    bars = int(rng.integers(0, 4))
    again = rows[(rows[:, AT] >= 0) & (rows[:, AT] <= page.bar * max(bars - 1, 0))].copy()
    if not len(again):
        return rows
    if bars == 0:
        again = again[:1]
        again[:, [AT, PLAYED]] = 0
        again[:, MIDI] = rows[-1, MIDI]
    lap = rows[-1, AT] - rows[-1, PLAYED]
    again[:, AT] += line
    again[:, PLAYED] += line - lap
    again[-1, LONG] = page.bar
    rows = rows.copy()
    rows[-1, LONG] = min(rows[-1, LONG], line - rows[-1, AT])
    return np.concatenate([rows, again])


def _passing(rows: np.ndarray, share: float, rng: np.random.Generator) -> np.ndarray:
    """Small differences between the passes."""
    chance = rng.random(len(rows))
    odd = (rows[:, AT] % (2 * QUAVER) != 0) & (rows[:, LONG] == QUAVER)
    rows = rows.copy()
    moved = odd & (chance < share)
    rows[moved, MIDI] += rng.choice([-2, -1, 1, 2], int(moved.sum()))
    touching = np.append(False, rows[:-1, AT] + rows[:-1, LONG] == rows[1:, AT])
    held = odd & touching & (chance > 1 - share)
    return _without(rows, held, LONG, AT)
