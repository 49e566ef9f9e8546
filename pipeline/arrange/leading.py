"""What it costs the ear to go from bass note to bass note.

Task: price every next pitch of a bass line by the pitches before it.
In:   the Places for a bass, the pitches that it has.
Out:  arrays of hurries.
Method: a table of step sizes by where the step leads, together with how likely each interval is in
    the basses of four-part chorales given the interval before (models/leading), corrected by what
    the note before demands.
References: two-part writing as in any school of counterpoint, e.g. Fux 1725, Gradus ad Parnassum;
    the sizes of the costs stand in models/bass/costs.json, `line`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from liltwright import models
from liltwright.arrange.bass import FILE
from liltwright.arrange.timeline import Event

LEARNED = "leading/leading.json"
KINDS = ("none", "same", "step up", "step down", "leap up", "leap down")
WIDEST = 12  # semitones; a wider leap counts as an octave
ON, OFF, LATER = 0, 1, 2
"""The last note fell on a main beat; off it, right after one; or the last main beat is unknown."""
OCTAVE, FIFTH = 0, 7  # semitones within an octave: perfect intervals, whose parallels are heard


def line_price(name: str) -> float:
    """One cost of the line, in hurries."""
    return float(models.read_json(FILE)["line"][name])


@dataclass(frozen=True, eq=False)
class BassPlace:
    """One place for a bass, its costs in hurries.

    number : index of the event; way, cost : of the best way to strike each pitch, shape (pitches,)
    skip : no strike here
    """

    number: int
    event: Event
    way: np.ndarray
    cost: np.ndarray
    skip: float
    above: int | None
    """The melody as it sounds; None in a rest."""
    rising: int
    """Where the melody has gone since the last place: 1, 0 or -1."""
    goal: bool
    """The chord is new here."""


@cache
def learned(where: str) -> np.ndarray:
    """Nats by kind of the interval before and the interval, -12 to 12, shape (6, 25).

    Counted from the likeliest interval of each kind. Kinds: none, same, step up, step down, leap
    up, leap down. Given that the bass moves at all: a chorale repeats a note for its text, which
    says nothing of dance music, so a repetition costs nothing here.
    """
    rows = models.read_json(LEARNED)["intervals"][where]
    table = np.array([rows[kind] for kind in KINDS])
    table[:, WIDEST] = np.inf
    table -= table.min(axis=1, keepdims=True)
    table[:, WIDEST] = 0.0
    return table


def _taste(midi: np.ndarray, new: np.ndarray, where: str) -> np.ndarray:
    """Nats of going on to each new pitch, shape (before last, last, new)."""
    came = midi[None, :] - midi[:, None]
    size = np.abs(came)
    kind = np.where(size == 0, 1, np.where(size <= 2, 2, 4) + (came < 0))
    kind[-1] = 0
    going = np.clip(new - midi[:, None], -WIDEST, WIDEST) + WIDEST
    return learned(where)[kind[:, :, None], going[None]]


def rocking(n: int) -> np.ndarray:
    """Cost of a-b-a-b, shape (n + 1, n + 1, n + 1, n)."""
    i = np.arange(n + 1)
    a, b, c, d = i[:, None, None, None], i[:, None, None], i[:, None], i[:n]
    again = (a == c) & (b == d) & (a != b) & (a < n) & (b < n)
    return (line_price("rocking") * again).astype(np.float32)


def step_costs(
    pitches: np.ndarray,
    usable: np.ndarray,
    place: BassPlace,
    before: BassPlace | None,
    main: BassPlace | None,
) -> np.ndarray:
    """Going from the last two pitches to a new one, shape (3, n + 1, n + 1, usable)."""
    n = len(pitches)
    midi = np.append(pitches, 0)
    last, new = midi[:, None], pitches[usable]
    going = new - last  # (n + 1, usable)
    size = np.abs(going)
    step = (size > 0) & (size <= 2)
    table = models.read_json(FILE)["line"]
    where = "goal" if place.goal else "beat" if place.event.slot == "main" else "walk"
    sizes = np.array([*table["sizes"][where], table["sizes"]["beyond"]])
    pair = sizes[np.minimum(size, len(sizes) - 1)]
    against = np.sign(going) * place.rising < 0
    bonus = table["contrary_at_close" if place.event.closes else "contrary"] * against
    bonus[n] = 0.0
    taste = table["learned"] * _taste(midi, new, where)
    both = table["rules"] * pair + taste
    both = both - bonus
    both[:, n] = 0.0
    cost = np.broadcast_to(both, (3, *both.shape)).copy()
    came = (midi[None, :] - midi[:, None])[:, :, None]  # (n + 1, n + 1, 1)
    known = np.ones((n + 1, n + 1, 1), dtype=bool)
    known[n], known[:, n] = False, False
    back = known & (midi[:, None, None] == new) & (came != 0)
    cost += table["and_back"] * back
    leaps = known & (np.abs(came) > 4) & (size > 4) & (np.sign(came) == np.sign(going))
    cost += table["two_leaps"] * leaps
    if place.event.slot == "main":
        through = known & (np.abs(came) <= 2) & step & (np.sign(came) == np.sign(going))
        cost[OFF:] -= table["passing"] * through
    if before is not None and before.event.span is not None:
        loose = ~np.isin(midi % 12, list(before.event.span.chord.tones))[:, None] & ~step
        loose[n] = False
        cost[OFF:] += table["left_by_leap"] * loose
    if place.event.slot == "walk" and place.event.span is not None:
        strange = ~np.isin(new % 12, list(place.event.span.chord.tones)) & ~step
        cost += table["met_by_leap"] * strange
    if place.event.slot == "main" and main is not None:
        bad = _parallel(midi, new, place, main)
        bad[n] = False
        cost[ON] += table["parallel"] * bad
        cost[OFF] += table["parallel"] * bad[:, None]
    return cost.astype(np.float32)


def _parallel(midi: np.ndarray, new: np.ndarray, place: BassPlace, main: BassPlace) -> np.ndarray:
    """Whether a bass of the last main beat (rows) and a new one make bare parallels."""
    if place.above is None or main.above is None or (place.above - main.above) % 12 == 0:
        return np.zeros((len(midi), len(new)), dtype=bool)
    one, two = (main.above - midi) % 12, (place.above - new) % 12
    return (one[:, None] == two) & np.isin(two, (OCTAVE, FIFTH))
