"""New tunes from old ones: phrases that stand at the same place of other tunes of the kind.

In: Page and its kin. Out: a Page with the same form, parts and repeats, in which some phrases
    are those of other tunes, moved to the same tonic. What was alike in the old page is alike in
    the new one. In some pages the lent phrases keep their rhythm and take their pitches from a
    third tune of any type and metre, by place in the bar: few tunes of a type give many rhythms
    when each may carry any melody. So the network meets the idiom and the form, but not the same
    tune twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from liltwright.models.metre.page import Page

NEW = 1_000_000
ASKED = 4
"""Tunes asked for a phrase until one has it."""
DENSE = 0.7
"""Notes of a phrase that lends pitches, against those of the rhythm that takes them, at least."""


def recombined(
    page: Page, kin: Sequence[Page], rng: np.random.Generator, others: Sequence[Page] = ()
) -> Page:
    """The page with phrases of one, two or four bars exchanged.

    others : tunes of any type that lend pitches; none when empty.
    """
    size = int(rng.choice([1, 2, 2, 4]))
    share = float(rng.uniform(0.3, 1.0))
    lent: dict[bytes, np.ndarray | None] = {}
    pieces = [page.notes[page.notes[:, 0] < 0]]
    at = 0
    while at < len(page.since):
        end = _unit_end(page, at, size)
        mine = _bars(page, at, end)
        key = np.append(mine[:, :3].ravel(), end - at).tobytes()
        if key not in lent:
            since, bars = int(page.since[at]), end - at
            loan = _loan(page, kin, mine, since, bars, rng) if rng.random() < share else None
            if len(others) and len(mine):
                loan = _carrying(page, others, mine if loan is None else loan, since, bars, rng)
            if loan is not None:
                loan[:, 4] = NEW * (len(lent) + 1) + np.arange(len(loan))
            lent[key] = loan
        loan = lent[key]
        new = (mine if loan is None else loan).copy()
        new[:, 0] += at * page.bar
        pieces.append(new)
        at = end
    notes = np.concatenate(pieces)
    return replace(page, notes=notes) if len(notes) > 16 else page


def _unit_end(page: Page, at: int, size: int) -> int:
    """Bars up to the next multiple of `size` of the same pass."""
    end = at + 1
    while end < len(page.since) and page.since[end] == page.since[end - 1] + 1:
        if page.since[end] % size == 0:
            break
        end += 1
    return end


def _bars(page: Page, first: int, end: int) -> np.ndarray:
    """The notes of some bars, counted from the first of them."""
    low, high = np.searchsorted(page.notes[:, 0], [first * page.bar, end * page.bar])
    notes = page.notes[low:high].copy()
    notes[:, 0] -= first * page.bar
    return notes


def _loan(
    page: Page, kin: Sequence[Page], mine: np.ndarray, since: int, bars: int,
    rng: np.random.Generator,
) -> np.ndarray | None:  # fmt: skip
    """The bars of another tune at this place of a part, or None when none of those asked has it."""
    for _ in range(ASKED):
        lender = kin[int(rng.integers(len(kin)))]
        if lender.minor != page.minor or not len(mine):
            continue
        places = np.flatnonzero((lender.since == since) | (lender.since == since % 8))
        places = places[places + bars <= len(lender.since)]
        if not len(places):
            continue
        first = int(rng.choice(places))
        notes = _bars(lender, first, first + bars)
        if len(notes):
            shift = (page.tonic - lender.tonic) % 12
            octaves = round((mine[:, 2].mean() - notes[:, 2].mean() - shift) / 12)
            notes[:, 2] += shift + 12 * octaves
            return notes
    return None


def _carrying(
    page: Page, others: Sequence[Page], notes: np.ndarray, since: int, bars: int,
    rng: np.random.Generator,
) -> np.ndarray:  # fmt: skip
    """The rhythm of the notes with what sounds at the same share of the bars of another tune."""
    notes = notes.copy()
    for _ in range(ASKED):
        lender = others[int(rng.integers(len(others)))]
        scaled = notes.copy()
        scaled[:, 0] = notes[:, 0] * lender.bar // page.bar
        lent = _loan(page, (lender,), scaled, since, bars, rng)
        if lent is not None and len(lent) >= DENSE * len(notes):
            sounding = np.searchsorted(lent[:, 0], scaled[:, 0], side="right") - 1
            notes[:, 2] = lent[np.maximum(sounding, 0), 2]
            break
    return notes
