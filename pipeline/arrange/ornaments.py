"""Ornaments on the guitar: cuts, taps, rolls, triplets and slides by the fretting hand.

Task: play the ornaments that were heard (or written) where the setup allows.
In:   tab bars of all layers; the tune with its ornaments; the melody as it is held.
Out:  the bars with grace notes, hammer-ons, pull-offs and slides; how many were left out.
Method: a cut is a grace note above, pulled off; a tap one below, hammered on; a roll is the note,
    a cut back to it and a tap back to it, in two or three equal parts; a triplet two quick grace
    notes before the note, across two strings when the upper one lies open; a slide comes from the
    fret below. Neighbours are those of the scale. An ornament is played only where its fingers
    are free in every layer, so that it is the same in all of them.
References: none published for the guitar; common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

import numpy as np

from liltwright import keys
from liltwright.arrange.pinned import Pinned
from liltwright.arrange.timeline import MelodyNote, Timeline
from liltwright.arrange.together import pair_ticks
from liltwright.guitar.fretboard import open_midi
from liltwright.guitar.hand import Hand
from liltwright.guitar.states import NEVER, Stop, ways
from liltwright.tab import Setup, TabBar, TabNote, Technique
from liltwright.tune import Ornament, Tune

GRACE = Fraction(1, 32)
SHORTEST_PART = Fraction(1, 8)
"""A roll is divided into parts no shorter than this."""
NEIGHBOUR = 4
"""A scale's next tone lies at most this many semitones away."""


class Neck(NamedTuple):
    """What does not change from note to note."""

    setup: Setup
    hand: Hand
    neck: int
    """Highest hand position in the States of the search."""
    tones: frozenset[int]
    """Pitch classes of the scale as it sounds."""


class Touch(NamedTuple):
    """A fret and the finger that touches it."""

    fret: int
    finger: int


def add_ornaments(
    layers: Sequence[tuple[TabBar, ...]],
    tune: Tune,
    setup: Setup,
    line: Timeline,
    stops: Sequence[Stop],
    *,
    hand: Hand,
    neck: int,
    pinned: Pinned = Pinned(),
) -> tuple[list[tuple[TabBar, ...]], list[int]]:
    """Bars with ornaments, layer by layer, and the written bar of each one left out."""
    tonic, mode = setup.sounds_in.tonic, setup.sounds_in.mode
    scale = frozenset((keys.pitch_class(tonic) + step) % 12 for step in keys.scale_steps(mode))
    ground = Neck(setup, hand, neck, scale)
    asked = {
        (bar, note.start): note.ornament
        for bar, written in enumerate(tune.written_bars())
        for note in written.notes
        if note.ornament
    }
    out = [[list(bar) for bar in bars] for bars in layers]
    left_out = []
    for note, stop in zip(line.notes, stops, strict=True):
        kind = asked.get((note.bar, note.start))
        if kind is None or note.bar in pinned.kept:
            continue
        others = [
            other
            for bars in layers
            for other in bars[note.bar]
            if other.part != "melody"
            and other.start < note.end
            and note.start < other.start + other.length
        ]
        for bars in out:
            bar = bars[note.bar]
            place = next(
                i for i, n in enumerate(bar) if n.part == "melody" and n.start == note.start
            )
            played = _played(kind, bar[place], stop, note, others, ground)
            if any(
                pinned.forbids(note.bar, note.start, (one.string, one.fret, one.finger))
                for one in played
            ):
                played = []
            if played:
                bar[place : place + 1] = played
        if not played:
            left_out.append(note.bar)
    return [tuple(tuple(bar) for bar in bars) for bars in out], left_out


def _played(
    kind: Ornament,
    tab: TabNote,
    stop: Stop,
    note: MelodyNote,
    others: Sequence[TabNote],
    ground: Neck,
) -> list[TabNote]:
    """The note with its ornament; empty when the hand cannot play it here."""
    above = _touch(tab, stop, 1, others, ground)
    below = _touch(tab, stop, -1, others, ground)
    if kind in ("cut", "grace"):
        return _cut(tab, above)
    if kind == "tap":
        return _tap(tab, below)
    if kind == "slide":
        return _slide(tab, others, ground)
    if kind == "triplet":
        return _triplet(tab, above, others, ground)
    return _roll(tab, above, below)


def _neighbour(midi: int, way: int, tones: frozenset[int]) -> int:
    """Semitones to the next tone of the scale, upward (way 1) or downward (-1)."""
    return next(
        (way * size for size in range(1, NEIGHBOUR + 1) if (midi + way * size) % 12 in tones),
        2 * way,
    )


def _touch(
    tab: TabNote, stop: Stop, way: int, others: Sequence[TabNote], ground: Neck
) -> Touch | None:
    """How the neighbour on the same string is touched without moving the hand."""
    fret = tab.fret + _neighbour(tab.midi, way, ground.tones)
    if fret < 0:
        return None
    if fret == 0:
        return Touch(0, 0)
    for finger, position, _ in sorted(ways(fret, ground.neck, ground.hand)):
        if position != stop.position or (finger - tab.finger) * way <= 0 < tab.finger:
            continue
        touch = Touch(fret, finger)
        held = [tab] if way > 0 and tab.fret else []
        if _free(tab.string, touch, others, ground) and _spans(touch, held, ground):
            return touch
    return None


def _free(string: int, touch: Touch, others: Sequence[TabNote], ground: Neck) -> bool:
    """Whether a finger can touch a fret while the other notes are held."""
    for other in others:
        if other.finger and other.finger == touch.finger:
            return False
        mine = (string, touch.fret, touch.finger)
        upper, lower = sorted((mine, (other.string, other.fret, other.finger)))
        ticks = pair_ticks(np.array([upper]), np.array([lower]), ground.neck, ground.hand)
        if ticks[0, 0] >= NEVER:
            return False
    return True


def _spans(touch: Touch, held: Sequence[TabNote], ground: Neck) -> bool:
    """Whether two fingers of one string reach both frets; as if on neighbouring strings."""
    for note in held:
        upper = np.array([(1, touch.fret, touch.finger)])
        lower = np.array([(2, note.fret, note.finger)])
        if pair_ticks(upper, lower, ground.neck, ground.hand)[0, 0] >= NEVER:
            return False
    return True


def _grace(tab: TabNote, touch: Touch, technique: Technique | None = None) -> TabNote:
    return replace(
        tab,
        fret=touch.fret,
        finger=touch.finger,
        midi=tab.midi + touch.fret - tab.fret,
        length=min(GRACE, tab.length),
        grace=True,
        technique=technique,
    )


def _cut(tab: TabNote, above: Touch | None) -> list[TabNote]:
    return [_grace(tab, above), replace(tab, technique="pull-off")] if above else []


def _tap(tab: TabNote, below: Touch | None) -> list[TabNote]:
    return [_grace(tab, below), replace(tab, technique="hammer-on")] if below else []


def _slide(tab: TabNote, others: Sequence[TabNote], ground: Neck) -> list[TabNote]:
    touch = Touch(tab.fret - 1, tab.finger)
    if touch.fret < 1 or not _free(tab.string, touch, others, ground):
        return []
    return [_grace(tab, touch), replace(tab, technique="slide")]


def _triplet(
    tab: TabNote, above: Touch | None, others: Sequence[TabNote], ground: Neck
) -> list[TabNote]:
    """Note, upper neighbour, note: across two strings where the upper one is open and free."""
    upper = tab.midi + _neighbour(tab.midi, 1, ground.tones)
    string = tab.string - 1
    taken = {other.string for other in others}
    first = _grace(tab, Touch(tab.fret, tab.finger))
    free = string >= 1 and string not in taken and tab.pluck in ("i", "m")
    if free and open_midi(ground.setup.strings_midi, string) + ground.setup.capo == upper:
        crossed = replace(
            first, string=string, fret=0, finger=0, midi=upper,
            pluck="m" if tab.pluck == "i" else "a",
        )  # fmt: skip
        return [first, crossed, tab]
    if above is None:
        return []
    return [first, _grace(tab, above, "hammer-on"), replace(tab, technique="pull-off")]


def _roll(tab: TabNote, above: Touch | None, below: Touch | None) -> list[TabNote]:
    """Note, cut and tap, in as many equal parts as the note has room for."""
    if above is None:
        return []
    parts = next((n for n in (3, 2) if _plain(tab.length / n)), 1)
    if parts == 1:
        return _cut(tab, above)
    part = tab.length / parts
    if below is None:
        # No fret below: the note, then a cut into the rest of it.
        first = replace(tab, length=part)
        rest = replace(tab, start=tab.start + part, length=tab.length - part)
        return [first, _grace(rest, above, "hammer-on"), replace(rest, technique="pull-off")]
    steps: list[tuple[Touch | None, Technique | None, Technique | None]] = [
        (None, None, None),
        (above, "hammer-on", "pull-off"),
        (below, "pull-off", "hammer-on"),
    ]
    if parts == 2:
        steps = [(above, None, "pull-off"), steps[2]]
    found = []
    for index, (touch, into, onto) in enumerate(steps):
        one = replace(tab, start=tab.start + index * part, length=part, technique=onto)
        found += [_grace(one, touch, into)] if touch else []
        found.append(one)
    return found


def _plain(length: Fraction) -> bool:
    """Whether a part of a roll is one plain note value and long enough."""
    halved = length.denominator & (length.denominator - 1) == 0
    return length >= SHORTEST_PART and length.numerator == 1 and halved
