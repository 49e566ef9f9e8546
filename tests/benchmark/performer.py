"""Task: play a printed tune the way people do, and keep the whole truth about it.

In: a Tune (tests.benchmark.collections), a Manner, a seed.
Out: `perform(...) -> Performance`: strokes in seconds (what sounds), and the truth as a Tune:
    `heard` the strokes as an ideal ear would report them, `bars_heard` the plain notes bar by
    bar as performed, `parts` the printed tune in the key it was played in.
Method: rounds of the printed tune; tempo of the type with drift, rubato in airs, a breath that
    takes time now and then; lilt of jigs and swing of hornpipes and reels as a warp inside the
    beat; jitter; small variations; ornaments by family (tests.benchmark.gracing); intonation,
    drift and concert pitch. Everything comes from one seeded generator.
References: tempi models/dances; lilt, swing and ornaments common practice, ranges as in
    Kokuer et al. 2019 (cuts 30-50 ms) from memory.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from liltwright.dances import dances
from liltwright.keys import KeyName, scale_steps, signature_of, transpose_key
from liltwright.tune import HeardBar, ScoreNote, Tune
from tests.benchmark.collections import map_notes
from tests.benchmark.gracing import decorate
from tests.benchmark.manners import MANNERS, Family, Manner
from tests.benchmark.playing import Clock, Performance, PlainNote, as_heard
from tests.benchmark.pretend import Habits, changed, softened
from tests.benchmark.timeline import RoundNote, whole_round

QUAVER = Fraction(1, 8)


def perform(
    tune: Tune,
    family: Family,
    *,
    seed: int,
    rounds: int | None = None,
    late_start: bool = False,
    variations: float = 0.04,
    longest_s: float = 75.0,
    beats_per_minute: float | None = None,
    shift: int | None = None,
    habits: Habits | None = None,
) -> Performance:
    """Play `tune` as the family does.

    rounds : times through; None: usually two, as many as fit into `longest_s` seconds.
    late_start : the recording begins inside the first bar.
    variations : share of the bars in which something is varied.
    beats_per_minute, shift : tempo and transposition in semitones; None: as usual for the family.
    habits : what real players do beyond that (pretend.py); None: nothing of it.
    Raises ValueError for a tune that cannot be laid out (see timeline.whole_round).
    """
    rng = np.random.default_rng(seed)
    manner = MANNERS[family]
    tune, octave = _in_key_of(tune, manner, shift, rng)
    layout = whole_round(tune)
    if layout is None:
        raise ValueError(f"{tune.title}: its pick-ups and bars collide")
    round_notes, bars = layout
    dance = dances()[tune.tune_type]
    bpm = float(rng.uniform(*dance.usual_bpm) * rng.uniform(*manner.tempo))
    bpm = beats_per_minute or max(bpm, dance.slowest_bpm)
    round_s = bars * float(tune.bar_length / tune.beat) * 60 / bpm
    if rounds is None:
        rounds = int(np.clip(longest_s // round_s, 1, rng.choice([1, 2, 2, 2, 3])))
    notes = _varied(_rounds(round_notes, bars * tune.bar_length, rounds), tune, rng, variations)
    played = bars * rounds
    if habits is not None:
        notes, played = changed(notes, tune, played, habits, rng)
    if late_start:
        first = tune.bar_length * Fraction(int(rng.integers(1, 4)), 8)
        notes = [note for note in notes if note.position >= first]
    clock, swing = _clock(tune, played, bpm, manner, rng, habits)
    lead = float(rng.uniform(0.3, 1.5)) - clock.seconds(notes[0].position)
    clock = replace(clock, beat_s=clock.beat_s + lead)
    plain = _timed(notes, tune, clock, manner, rng, habits)
    drift = _drift(manner, plain, rng)
    strokes = decorate(plain, tune, manner, octave, drift, rng)
    truth = _truth(tune, plain, clock, played)
    truth = replace(
        truth, beats_per_minute=bpm, rounds=rounds, octave_shift=-octave, swing=swing,
        tuning_offset_cents=drift[0],
        heard=tuple(as_heard(stroke, drift[0]) for stroke in strokes),
    )  # fmt: skip
    return Performance(family, truth, strokes, strokes[-1].offset_s + 0.6)


# ---------------------------------------------------------------- which notes


def _in_key_of(
    tune: Tune, manner: Manner, wanted: int | None, rng: np.random.Generator
) -> tuple[Tune, int]:
    """The tune in the key it is played in, and the octaves it sounds above that."""
    pitches = [note.midi for bar in tune.written_bars() for note in bar.notes]
    low, high = min(pitches), max(pitches)
    shifts = [0] * 9 + [int(rng.integers(-5, 6))]
    shift = int(rng.integers(-5, 6)) if manner.any_key else int(rng.choice(shifts))
    shift = shift if wanted is None else wanted
    octave = min(
        manner.octaves, key=lambda o: _outside(low + shift + 12 * o, high + shift + 12 * o, manner)
    )
    while low + shift + 12 * octave < manner.low and shift < 6:
        shift += 1
    while high + shift + 12 * octave > manner.high and shift > -6:
        shift -= 1
    key = transpose_key(KeyName(tune.tonic, tune.mode), shift)
    moved = map_notes(tune, lambda note: replace(note, midi=note.midi + shift))
    signature = signature_of(key.tonic, key.mode)
    return replace(moved, tonic=key.tonic, signature=signature), octave


def _outside(low: int, high: int, manner: Manner) -> int:
    return max(manner.low - low, 0) + max(high - manner.high, 0)


def _rounds(notes: tuple[RoundNote, ...], round_length: Fraction, rounds: int) -> list[RoundNote]:
    """All rounds in a row; whole_round has checked that the pick-up fits into the last bar."""
    return [
        replace(note, position=note.position + round_length * which)
        for which in range(rounds)
        for note in notes
    ]


def _varied(
    notes: list[RoundNote], tune: Tune, rng: np.random.Generator, share: float
) -> list[RoundNote]:
    """Now and then another passing note, two notes held as one, or a note played twice."""
    scale = _scale(tune)
    out: list[RoundNote] = []
    skip = False
    for note, after in pairwise([*notes, notes[-1]]):
        if skip:
            skip = False
            continue
        odd = note.position % (2 * QUAVER) != 0
        adjacent = note.position + note.length == after.position
        chance = rng.random() / (share / 4 + 1e-12)
        if odd and note.length == QUAVER and chance < 1:
            near = [pitch for pitch in (note.midi - 2, note.midi - 1, note.midi + 1, note.midi + 2)
                    if pitch % 12 in scale]  # fmt: skip
            out.append(replace(note, midi=int(rng.choice(near or [note.midi]))))
        elif note.length == QUAVER == after.length and not odd and adjacent and chance < 1:
            out.append(replace(note, length=2 * QUAVER))
            skip = True
        elif note.length == 2 * QUAVER and not odd and not note.treble and chance < 1:
            out.append(replace(note, length=QUAVER))
            out.append(replace(note, position=note.position + QUAVER, length=QUAVER))
        else:
            out.append(note)
    return out


def _scale(tune: Tune) -> set[int]:
    from liltwright.keys import pitch_class

    return {(pitch_class(tune.tonic) + step) % 12 for step in scale_steps(tune.mode)}


# ---------------------------------------------------------------- when


def _clock(
    tune: Tune,
    bars: int,
    bpm: float,
    manner: Manner,
    rng: np.random.Generator,
    habits: Habits | None,
) -> tuple[Clock, float]:
    per_bar = int(tune.bar_length / tune.beat)
    first, count = -2 * per_bar, (bars + 4) * per_bar
    rubato = 0.05 if tune.tune_type == "air" else 0.006
    wander = np.zeros(count)
    for at in range(1, count):
        wander[at] = 0.97 * wander[at - 1] + rng.normal(0, rubato)
    rush = rng.normal(0.01, 0.015) * np.linspace(-0.5, 0.5, count)
    lengths = 60 / bpm * np.exp(-wander - rush)
    if manner.breath:  # a breath that takes time, at the end of a four-bar phrase
        ends = np.arange(4 * per_bar - first - 1, count, 4 * per_bar)
        lengths[ends] += np.where(rng.random(len(ends)) < 0.2, rng.uniform(0.05, 0.3, len(ends)), 0)
    times = np.concatenate([[0.0], np.cumsum(lengths)])
    knots, swing = _feel(tune, rng, habits)
    return Clock(tune.beat, first, times, knots), swing


SWING = {
    "reel": (1.0, 1.35), "hornpipe": (1.5, 2.6), "barn dance": (1.3, 2.2), "waltz": (1.0, 1.3),
    "march": (1.0, 1.2), "polka": (1.0, 1.15), "air": (1.0, 1.2), "mazurka": (1.0, 1.3),
}  # fmt: skip


def _feel(tune: Tune, rng: np.random.Generator, habits: Habits | None) -> tuple[np.ndarray, float]:
    """Quaver positions inside a beat, and the long-to-short ratio."""
    quavers = int(tune.beat / QUAVER)
    if tune.beat == Fraction(3, 8):
        lilt = np.array([1.0, 1.0, 1.0]) + rng.uniform(0, 1) * np.array([0.18, -0.16, -0.02])
        return np.concatenate([[0], np.cumsum(lilt / lilt.sum())]), float(lilt[0] / lilt[1])
    usual = SWING.get(tune.tune_type, (1.0, 1.0))
    swing = float(rng.uniform(*(habits.swing if habits and habits.swing else usual)))
    if tune.meter.endswith("/8") or quavers % 2:
        swing = 1.0
    pair = [swing / (1 + swing), 1 / (1 + swing)]
    shares = np.array(pair * (quavers // 2)) if quavers % 2 == 0 else np.ones(quavers)
    return np.concatenate([[0], np.cumsum(shares / shares.sum())]), swing


def _timed(
    notes: list[RoundNote],
    tune: Tune,
    clock: Clock,
    manner: Manner,
    rng: np.random.Generator,
    habits: Habits | None,
) -> list[PlainNote]:
    """Due times with jitter; order and a least distance of 45 ms kept."""
    places = [note.position for note in notes]
    if habits is not None and tune.beat == Fraction(3, 8):
        pairs = zip([None, *notes[:-1]], notes, strict=True)
        places = [softened(note.position, before, habits.soft) for before, note in pairs]
    due = np.array([clock.seconds(place) for place in places])
    onsets = due + np.clip(rng.normal(0, manner.jitter_s, len(due)), -0.025, 0.025)
    for at in range(1, len(onsets)):
        onsets[at] = max(onsets[at], onsets[at - 1] + 0.045)
    out = []
    for at, note in enumerate(notes):
        end_position = note.position + note.length
        end = clock.seconds(end_position)
        last = at + 1 == len(notes)
        if not last and notes[at + 1].position == end_position:
            end = onsets[at + 1]
        if last:
            end += float(rng.uniform(0.1, 0.6))
        out.append(
            PlainNote(note.position, note.length, note.midi, float(onsets[at]),
                      float(max(end, onsets[at] + 0.05)), note.treble)
        )  # fmt: skip
    return _breathing(out, tune, rng) if manner.breath else out


def _breathing(notes: list[PlainNote], tune: Tune, rng: np.random.Generator) -> list[PlainNote]:
    """A breath shortens a note about every second or fourth bar."""
    out = list(notes)
    next_breath = float(tune.bar_length) * float(rng.integers(2, 5))
    for at, note in enumerate(notes):
        room = note.offset_s - note.onset_s
        if float(note.position) >= next_breath - float(tune.bar_length) / 2 and room > 0.2:
            cut = min(float(rng.uniform(0.08, 0.25)), room * 0.5)
            out[at] = replace(note, offset_s=note.offset_s - cut)
            next_breath = float(note.position) + float(tune.bar_length) * float(rng.integers(2, 5))
    return out


def _drift(
    manner: Manner, plain: list[PlainNote], rng: np.random.Generator
) -> tuple[float, np.ndarray]:
    """(concert pitch in cents, cents added to each plain note)."""
    offset = float(np.clip(rng.normal(0, manner.offset_cents), -38, 38))
    times = np.array([note.onset_s for note in plain])
    end = manner.drift_cents * float(np.clip(rng.normal(), -2, 2))
    slow = end * times / 60
    own = np.clip(rng.normal(0, 1, len(plain)) * manner.spread_cents, -30, 30)
    return offset, np.clip(slow, -40, 40) + own


# ---------------------------------------------------------------- truth


def _truth(tune: Tune, plain: list[PlainNote], clock: Clock, bars: int) -> Tune:
    full = tune.bar_length
    inside: dict[int, list[ScoreNote]] = defaultdict(list)
    onset_at: dict[Fraction, float] = {note.position: note.onset_s for note in plain}
    for note in plain:
        which = int(note.position // full)
        start = note.position - which * full
        inside[which].append(ScoreNote(note.midi, start, note.length))
    heard_bars = []
    for which in range(min(inside), bars):
        line, after = full * which, full * (which + 1)
        starts = onset_at.get(line, clock.seconds(line))
        if which == min(inside) and which < 0:
            starts = plain[0].onset_s
        ends = onset_at.get(after, clock.seconds(after))
        heard_bars.append(HeardBar(starts, ends, tuple(inside.get(which, ()))))
    return replace(tune, bars_heard=tuple(heard_bars))
