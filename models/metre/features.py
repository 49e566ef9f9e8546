"""What the metre network sees of the notes, and what it is taught about them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from liltwright.models.metre.faults import heard
from liltwright.models.metre.page import Page
from liltwright.models.metre.performances import NOWHERE, Notes, play
from liltwright.notate.metre.features import describe
from liltwright.notate.metre.places import nearest_step, places

IGNORE = -100


def example(
    page: Page, kin: list[Page], rng: np.random.Generator, others: Sequence[Page] = ()
) -> dict[str, np.ndarray]:
    """One training example of whatever length; arguments as of rounds.rounds."""
    notes = heard(play(page, kin, rng, others), rng)
    return {**describe(notes.onset_s, notes.offset_s, notes.midi), **truth(notes, page.bar)}


def truth(notes: Notes, bar: int) -> dict[str, np.ndarray]:
    """Classes by note; IGNORE where there is none."""
    real = notes.ticks > NOWHERE
    table = places()
    which = table.meters.index(notes.meter)
    place = np.full(len(real), IGNORE)
    place[real] = table.number[which, notes.ticks[real] % bar]
    place[place == -1] = IGNORE
    step = np.full(len(real), IGNORE)
    index = np.flatnonzero(real)
    distance = np.diff(notes.ticks[index])
    jump = notes.broken[index[1:]]
    good = (distance > 0) & (distance <= table.steps[-1]) & ~jump
    step[index[:-1][good]] = nearest_step(distance[good])
    since = np.where(real, np.minimum(notes.since, table.bars_in_pass - 1), IGNORE)
    kind = table.kinds.index(notes.kind)
    if notes.kind == "march" and notes.meter == "6/8":
        kind = IGNORE  # nobody can tell it from a jig by ear
    return {
        "place": place, "step": step, "since": since, "real": real.astype(np.float32),
        "broken": notes.broken.astype(np.float32), "kind": np.full(len(real), kind),
        "meter": np.full(len(real), which),
    }  # fmt: skip
