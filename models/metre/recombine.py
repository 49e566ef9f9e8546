"""New tunes from old ones: phrases that stand at the same place of other tunes of the kind.

In: Page and its kin. Out: a Page with the same form, parts and repeats, in which some phrases
    are those of other tunes, moved to the same tonic. What was alike in the old page is alike in
    the new one. So the network meets the idiom and the form, but not the same tune twice.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liltwright.models.metre.page import Page

NEW = 1_000_000


def recombined(page: Page, kin: list[Page], rng: np.random.Generator) -> Page:
    """The page with phrases of one, two or four bars exchanged."""
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
            lent[key] = (
                _loan(page, kin, mine, int(page.since[at]), end - at, NEW * (len(lent) + 1), rng)
                if rng.random() < share
                else None
            )
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
    page: Page,
    kin: list[Page],
    mine: np.ndarray,
    since: int,
    bars: int,
    name: int,
    rng: np.random.Generator,
) -> np.ndarray | None:
    """The bars of another tune at this place of a part, or None when the first asked has none."""
    lender = kin[int(rng.integers(len(kin)))]
    places = np.flatnonzero((lender.since == since) | (lender.since == since % 8))
    if lender.minor != page.minor or not len(places) or not len(mine):
        return None
    first = int(rng.choice(places))
    if first + bars > len(lender.since):
        return None
    notes = _bars(lender, first, first + bars)
    if not len(notes):
        return None
    shift = (page.tonic - lender.tonic) % 12
    octaves = round((mine[:, 2].mean() - notes[:, 2].mean() - shift) / 12)
    notes[:, 2] += shift + 12 * octaves
    notes[:, 4] = name + np.arange(len(notes))
    return notes
