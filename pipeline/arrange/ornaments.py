"""Ornaments on the guitar: cuts, taps, rolls, triplets and slides by the fretting hand.

Task: play the ornaments that were heard (or written) where the setup allows.
In:   tab bars of all layers; the tune with its ornaments; the melody as it is held.
Out:  the bars with grace notes, hammer-ons, pull-offs and slides; how many were left out.
Method: a cut is a grace note above, pulled off; a tap one below, hammered on; a roll is the note,
    a cut back to it and a tap back to it, in two or three equal parts; a triplet two quick grace
    notes before the note, across two strings when the upper one lies open; a slide comes from the
    fret below. Neighbours are those of the scale; grace notes that are written keep their pitches
    where they lie on the note's string. An ornament is played only where the note lasts long enough
    at the tune's tempo (models/ornaments) and its fingers are free in every layer, so that it is
    the same in all of them.
References: none published for the guitar; common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Literal, NamedTuple

import numpy as np

from liltwright import keys, models
from liltwright.arrange.pinned import Pinned
from liltwright.arrange.timeline import TuneEvents
from liltwright.arrange.together import pair_ticks
from liltwright.guitar.fretboard import open_midi
from liltwright.guitar.hand import Hand
from liltwright.guitar.states import NEVER, Stop, ways
from liltwright.tab import Setup, TabBar, TabNote, Technique
from liltwright.tune import ScoreNote, Tune
from liltwright.units import whole_notes_to_seconds

FILE = "ornaments/ornaments.json"
GRACE = Fraction(1, 32)  # of a whole note: a grace note is never longer
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
    whole_s: float
    """Seconds that a whole note lasts."""


class UnplayedOrnament(NamedTuple):
    """An ornament that is not played: its written bar and start, and why."""

    bar: int
    start: Fraction
    why: Literal["fingers", "tempo"]


class Touch(NamedTuple):
    """A fret and the finger that touches it."""

    fret: int
    finger: int


def add_ornaments(
    layers: Sequence[tuple[TabBar, ...]],
    tune: Tune,
    setup: Setup,
    line: TuneEvents,
    stops: Sequence[Stop],
    *,
    hand: Hand,
    neck: int,
    pinned: Pinned = Pinned(),
) -> tuple[list[tuple[TabBar, ...]], list[UnplayedOrnament]]:
    """Bars with ornaments, layer by layer, and those that are left out."""
    tonic, mode = setup.sounds_in.tonic, setup.sounds_in.mode
    scale = frozenset((keys.pitch_class(tonic) + step) % 12 for step in keys.scale_steps(mode))
    whole_s = whole_notes_to_seconds(Fraction(1), tune.beat, tune.beats_per_minute)
    ground = Neck(setup, hand, neck, scale, whole_s)
    least_s = models.read_json(FILE)["least_seconds"]
    asked = {
        (bar, note.start): note
        for bar, written in enumerate(tune.written_bars())
        for note in written.notes
        if note.ornament
    }
    out = [[list(bar) for bar in bars] for bars in layers]
    left_out = []
    for note, stop in zip(line.notes, stops, strict=True):
        written = asked.get((note.bar, note.start))
        if written is None or written.ornament is None or note.bar in pinned.kept:
            continue
        if float(note.end - note.start) * whole_s < least_s[written.ornament]:
            left_out.append(UnplayedOrnament(note.bar, note.start, "tempo"))
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
            played = _played(written, bar[place], stop, others, ground)
            if any(
                pinned.forbids(note.bar, note.start, (one.string, one.fret, one.finger))
                for one in played
            ):
                played = []
            if played:
                bar[place : place + 1] = played
        if not played:
            left_out.append(UnplayedOrnament(note.bar, note.start, "fingers"))
    return [tuple(tuple(bar) for bar in bars) for bars in out], left_out


def _played(
    written: ScoreNote, tab: TabNote, stop: Stop, others: Sequence[TabNote], ground: Neck
) -> list[TabNote]:
    """The note with its ornament; empty when the hand cannot play it here."""
    kind = written.ornament
    as_written = _as_written(written.graces, tab, stop, others, ground)
    if as_written and kind in ("cut", "tap", "grace"):
        return as_written
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
    return _roll(tab, above, below, ground)


def _neighbour(midi: int, way: int, tones: frozenset[int]) -> int:
    """Semitones to the next tone of the scale, upward (way 1) or downward (-1)."""
    return next(
        (way * size for size in range(1, NEIGHBOUR + 1) if (midi + way * size) % 12 in tones),
        2 * way,
    )


def _as_written(
    graces: tuple[int, ...], tab: TabNote, stop: Stop, others: Sequence[TabNote], ground: Neck
) -> list[TabNote]:
    """The note with its written grace notes on its own string; empty where that cannot be."""
    reach = models.read_json(FILE)["reach_semitones"]
    if not 0 < len(graces) <= 2 or any(not 0 < abs(size) <= reach for size in graces):
        return []
    found: list[TabNote] = []
    last: int | None = None
    for size in graces:
        touch = _touch(tab, stop, 1 if size > 0 else -1, others, ground, tab.fret + size)
        if touch is None:
            return []
        found.append(_grace(tab, touch, _slur(last, touch.fret)))
        last = touch.fret
    return [*found, replace(tab, technique=_slur(last, tab.fret))]


def _slur(before: int | None, fret: int) -> Technique | None:
    """How the fretting hand goes from fret to fret on one string."""
    if before is None or before == fret:
        return None
    return "hammer-on" if fret > before else "pull-off"


def _touch(
    tab: TabNote,
    stop: Stop,
    way: int,
    others: Sequence[TabNote],
    ground: Neck,
    fret: int | None = None,
) -> Touch | None:
    """How a fret of the same string is touched without moving the hand.

    way : 1 when it lies above the note, -1 below; fret : of the neighbour in the scale when None
    """
    if fret is None:
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
        length=min(GRACE, tab.length / 2),
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


def _roll(tab: TabNote, above: Touch | None, below: Touch | None, ground: Neck) -> list[TabNote]:
    """Note, cut and tap, in as many equal parts as the note has room for."""
    if above is None:
        return []
    parts = next((n for n in (3, 2) if _plain(tab.length / n, ground.whole_s)), 1)
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


def _plain(length: Fraction, whole_s: float) -> bool:
    """Whether a part of a roll is one plain note value and long enough."""
    halved = length.denominator & (length.denominator - 1) == 0
    long = float(length) * whole_s >= models.read_json(FILE)["part_seconds"]
    return long and length.numerator == 1 and halved
