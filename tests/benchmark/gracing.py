"""Task: turn plain notes in time into strokes: articulation, ornaments, intonation, loudness.

In: plain notes (performer.PlainNote), the manner of the family. Out: Stroke records in order.
Method: ornaments by chance where they fit (a roll fills a crotchet or dotted crotchet, a cut or
    tap sits on the onset of its note and takes 30 to 55 ms of it, a treble divides a crotchet).
    A plain note that carries one keeps its name; the notes inside it have role "ornament".
References: trade descriptions of cut, tap, roll and treble: common practice.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np

from liltwright.keys import pitch_class, scale_steps
from liltwright.tune import Ornament, Tune
from tests.benchmark.kinds import TREBLED
from tests.benchmark.manners import Manner
from tests.benchmark.playing import PlainNote, Stroke

CROTCHET, DOTTED = Fraction(1, 4), Fraction(3, 8)


def decorate(
    plain: list[PlainNote],
    tune: Tune,
    manner: Manner,
    octave: int,
    drift: tuple[float, np.ndarray],
    rng: np.random.Generator,
) -> tuple[Stroke, ...]:
    """Everything that sounds, in order; nothing overlaps except the ring of plucked strings."""
    offset, cents = drift
    scale = {(pitch_class(tune.tonic) + step) % 12 for step in scale_steps(tune.mode)}
    out: list[Stroke] = []
    for at, note in enumerate(plain):
        before = plain[at - 1] if at else None
        accent = 0.85 + 0.15 * (note.position % tune.beat == 0) + rng.normal(0, 0.05)
        joined = before is not None and note.onset_s - before.offset_s < 0.03
        slurred = bool(
            joined and before is not None and before.midi != note.midi
            and rng.random() < manner.slur
        )  # fmt: skip
        sounding = note.midi + 12 * octave
        stroke = Stroke(note.onset_s, note.offset_s, sounding, accent, slurred)
        trebles = tune.tune_type in TREBLED
        strokes = _ornamented(stroke, note, before, scale, manner, rng, trebles=trebles)
        tuned = (offset + float(cents[at])) / 100
        out += [replace(one, midi=one.midi + tuned) for one in strokes]
    return tuple(_detached(out, manner, rng))


def _ornamented(
    stroke: Stroke,
    note: PlainNote,
    before: PlainNote | None,
    scale: set[int],
    manner: Manner,
    rng: np.random.Generator,
    *,
    trebles: bool,
) -> list[Stroke]:
    room = stroke.offset_s - stroke.onset_s
    if note.treble and room > 0.15:
        return _treble(stroke, rng)
    above, below = _neighbour(stroke.midi, scale, +1), _neighbour(stroke.midi, scale, -1)
    if note.length in (CROTCHET, DOTTED) and 0.24 < room < 0.75:
        if rng.random() < manner.roll:
            return _roll(stroke, above, below, long=note.length == DOTTED or room > 0.34, rng=rng)
        fits = note.length == CROTCHET and room < 0.6 and trebles
        if fits and rng.random() < manner.treble:
            return _treble(stroke, rng)
    repeated = before is not None and before.midi == note.midi
    if room > 0.11:
        if repeated and rng.random() < manner.tap:
            return _graced(stroke, below, "tap", rng)
        if rng.random() < manner.cut * (2.5 if repeated else 1.0):
            return _graced(stroke, above + (2 if rng.random() < 0.3 else 0), "cut", rng)
        if rng.random() < manner.grace:
            return _graced(stroke, float(rng.choice([above, below])), "grace", rng)
    if room > 0.3 and rng.random() < manner.slide * 4:
        return [replace(stroke, glide=-float(rng.uniform(0.9, 2.0)), ornament="slide")]
    return [stroke]


def _neighbour(midi: float, scale: set[int], step: int) -> float:
    pitch = int(midi) + step
    while pitch % 12 not in scale:
        pitch += step
    return float(pitch)


def _graced(stroke: Stroke, pitch: float, kind: Ornament, rng: np.random.Generator) -> list[Stroke]:
    """A short note on the onset; the plain note sounds after it."""
    room = stroke.offset_s - stroke.onset_s
    until = stroke.onset_s + min(float(rng.uniform(0.030, 0.055)), room * 0.4)
    return [
        replace(stroke, offset_s=until, midi=pitch, role="ornament", ornament=kind,
                loudness=stroke.loudness * 0.8),
        replace(stroke, onset_s=until, slurred=True, ornament=kind),
    ]  # fmt: skip


def _roll(
    stroke: Stroke, above: float, below: float, *, long: bool, rng: np.random.Generator
) -> list[Stroke]:
    """Long roll: note, cut note, tap note. Short roll: cut note, tap note."""
    room = stroke.offset_s - stroke.onset_s
    flick = min(float(rng.uniform(0.030, 0.050)), room / 9)
    thirds = [1 / 3, 2 / 3] if long else [0.0, 0.5]
    lean = float(rng.normal(0, 0.02))
    marks = [(stroke.onset_s + room * max(share + (lean if share else 0), 0.0), pitch)
             for share, pitch in zip(thirds, (above, below), strict=True)]  # fmt: skip
    out: list[Stroke] = []
    plain_done = False
    cursor = stroke.onset_s
    for when, pitch in marks:
        if when > cursor:
            out.append(_piece(stroke, cursor, when, stroke.midi, plain=not plain_done))
            plain_done = True
        out.append(_piece(stroke, when, when + flick, pitch, plain=False))
        cursor = when + flick
        if not plain_done:
            out.append(_piece(stroke, cursor, marks[1][0], stroke.midi, plain=True))
            plain_done, cursor = True, marks[1][0]
    out.append(_piece(stroke, cursor, stroke.offset_s, stroke.midi, plain=False))
    return [one if at == 0 else replace(one, slurred=True) for at, one in enumerate(out)]


def _piece(stroke: Stroke, start: float, end: float, midi: float, *, plain: bool) -> Stroke:
    return replace(
        stroke, onset_s=start, offset_s=end, midi=midi, ornament="roll",
        role="note" if plain else "ornament",
    )  # fmt: skip


def _treble(stroke: Stroke, rng: np.random.Generator) -> list[Stroke]:
    """One crotchet as two short strokes and a longer one on the same pitch."""
    room = stroke.offset_s - stroke.onset_s
    even = rng.random() < 0.5
    shares = (0.0, 1 / 3, 2 / 3, 1.0) if even else (0.0, 0.25, 0.5, 1.0)
    marks = [stroke.onset_s + room * share for share in shares]
    return [
        replace(stroke, onset_s=marks[at], offset_s=marks[at + 1], ornament="triplet",
                role="note" if at == 0 else "ornament", slurred=stroke.slurred and at == 0,
                loudness=stroke.loudness * (1.0 if at == 0 else 0.85))
        for at in range(3)
    ]  # fmt: skip


def _detached(strokes: list[Stroke], manner: Manner, rng: np.random.Generator) -> list[Stroke]:
    """Shorten what is followed by a new stroke; plucked strings ring until the next at least."""
    out = []
    for at, stroke in enumerate(strokes):
        after = strokes[at + 1] if at + 1 < len(strokes) else None
        end = stroke.offset_s
        if after is not None:
            end = min(end, after.onset_s)
            if not after.slurred and not manner.ring:
                end -= (end - stroke.onset_s) * float(rng.uniform(*manner.gap))
        out.append(replace(stroke, offset_s=max(end, stroke.onset_s + 0.02)))
    return out
