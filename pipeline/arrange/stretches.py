"""The melody cut at the main beats, with what harmony must know of each place.

Task: say what sounds from one main beat to the next, where phrases pause and parts close.
In:   a Tune and its Pulse.
Out:  Stretches in written order, none under pick-ups.
Method: each stretch knows the one that leads to it when the tune is played: the first bar of every
    ending follows the last bar before the endings. Phrases have four bars; in slow dances whose
    parts are long they have eight (models/harmony/rules.json, `phrases`).
References: common practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from liltwright import models
from liltwright.bassbeats import Pulse
from liltwright.tune import Tune

RULES = "harmony/rules.json"


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of melody to harmonise: its tones, its place in bar and phrase."""

    bar: int
    start: Fraction
    length: Fraction
    tones: tuple[tuple[int, float, bool, bool], ...]
    """Pitch class, length in beats, sounds on the span's start, passes by step."""
    after: int
    """Index of the stretch that leads here; -1 for the first of a part."""
    first_in_bar: bool
    last_in_bar: bool
    phrase_end: str
    """ "close" in the last bar of a part, "pause" in every other fourth bar, else empty."""


def stretches(tune: Tune, pulse: Pulse) -> list[Stretch]:
    """The melody of a tune from main beat to main beat."""
    found: list[Stretch] = []
    written = tune.written_bars()
    ends = _phrase_ends(tune)
    held: tuple[int, Fraction] | None = None
    body = -1  # the last stretch of the part before its endings
    for index, bar in enumerate(written):
        sounding = _sounding(bar.notes, held)
        over = max((n.start + n.length for n in bar.notes), default=bar.length) - bar.length
        held = (bar.notes[-1].midi, over) if bar.notes and over > 0 else None
        if bar.kind == "pickup":
            continue
        before = written[index - 1] if index else None
        after = len(found) - 1
        if before is None or before.part != bar.part or before.kind == "pickup":
            after = body = -1
        elif bar.kind == "ending" and (before.kind, before.ending) != (bar.kind, bar.ending):
            after = body
        starts = [beat for beat in pulse.main if beat < bar.length] or [Fraction(0)]
        for place, start in enumerate(starts):
            stop = starts[place + 1] if place + 1 < len(starts) else bar.length
            last = place + 1 == len(starts)
            tones = _tones(sounding, start, stop, pulse.beat)
            found.append(
                Stretch(index, start, stop - start, tones, after, place == 0, last, ends[index])
            )
            after = len(found) - 1
        if bar.kind != "ending":
            body = len(found) - 1
    return found


def _sounding(
    notes: tuple, held: tuple[int, Fraction] | None
) -> list[tuple[int, Fraction, Fraction]]:
    """Pitch, start and end of what sounds in a bar, with a note tied into it."""
    tied = [(held[0], Fraction(0), held[1])] if held else []
    return tied + [(note.midi, note.start, note.start + note.length) for note in notes]


def _tones(
    sounding: list[tuple[int, Fraction, Fraction]], start: Fraction, stop: Fraction, beat: Fraction
) -> tuple[tuple[int, float, bool, bool], ...]:
    tones = []
    for place, (midi, begins, ends) in enumerate(sounding):
        length = min(ends, stop) - max(begins, start)
        if length <= 0:
            continue
        around = sounding[max(place - 1, 0) : place] + sounding[place + 1 : place + 2]
        step = bool(around) and all(abs(other[0] - midi) <= 2 for other in around)
        tones.append((midi % 12, float(length / beat), begins <= start, step))
    return tuple(tones)


def _phrase_ends(tune: Tune) -> list[str]:
    """For each written bar: "close" at the end of a part or ending, "pause" where a phrase ends."""
    found: list[str] = []
    for part in tune.parts:
        found += [""] * bool(part.pickup)
        body = len(part.bars)
        every = _phrase_bars(tune, body + max((len(e.bars) for e in part.endings), default=0))
        found += ["pause" if place % every == every - 1 else "" for place in range(body)]
        if body and not part.endings:
            found[-1] = "close"
        for ending in part.endings:
            places = range(body, body + len(ending.bars))
            found += ["pause" if place % every == every - 1 else "" for place in places]
            if places:
                found[-1] = "close"
    return found


def _phrase_bars(tune: Tune, bars: int) -> int:
    """Bars of a phrase in a part of so many bars."""
    plan = models.read_json(RULES)["phrases"]
    long = plan["long"]
    if tune.tune_type in long["types"] and bars >= long["from_bars"]:
        return int(long["bars"])
    return int(plan["bars"])


def tone_shares(spans: list[Stretch]) -> np.ndarray:
    """Share of the tune's time on each written pitch class, shape (12,)."""
    shares = np.zeros(12)
    for span in spans:
        for tone, beats, _, _ in span.tones:
            shares[tone] += beats
    return shares / max(shares.sum(), 1e-9)
