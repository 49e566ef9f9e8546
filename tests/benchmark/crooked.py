"""Task: how well are crooked tunes written, whose bars are not all as long as the metre says?

    python -m tests.benchmark.crooked --split dev --count 200

In: printed tunes with Part.bar_lengths (see tune.Part). Out: `layout(...)`: one round along a line;
    `perform_crooked(...)`: what an ideal ear reports of a performance, with the truth bar by bar as
    performed; `slipped(...)`: the same with a slip in a single pass.
Method: hardly any printed tune of the collections is crooked on purpose, so dev tunes are made
    crooked: the end of one bar is left out, or its last note held on, or its end played again, in
    every pass. They are played by tests.benchmark.performer without its layout, which knows whole
    bars only. A slip loses or adds whole beats, exactly in time, at one bar line of a plain tune:
    written as a crooked bar it counts against the program.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from liltwright.dances import dances
from liltwright.notate.notate import notate
from liltwright.tune import Bar, Heard, HeardBar, Part, ScoreNote, Source, Tune
from tests.benchmark import performer
from tests.benchmark.collections import Split, tunes
from tests.benchmark.gracing import decorate
from tests.benchmark.manners import MANNERS, Family
from tests.benchmark.plan import plan
from tests.benchmark.playing import PlainNote, as_heard, truth_heard
from tests.benchmark.score_tune import right_bars
from tests.benchmark.timeline import RoundNote


@dataclass(frozen=True, slots=True)
class Round:
    """One round along a line; position 0 is the first full bar line."""

    notes: tuple[RoundNote, ...]
    lines: tuple[Fraction, ...]
    """Where each full bar begins, and where the last ends."""


def layout(tune: Tune) -> Round | None:
    """One round; None when a pick-up collides with the bar before it."""
    notes: list[RoundNote] = []
    lines = [Fraction(0)]
    written = tune.written_bars()
    for which in tune.performed_order():
        bar = written[which]
        line = lines[-1] - (tune.bar_length if bar.kind == "pickup" else 0)
        if bar.kind != "pickup":
            if any(n.start + n.length > bar.length for n in bar.notes):
                return None
            lines.append(lines[-1] + bar.length)
        notes += [
            RoundNote(line + n.start, n.length, n.midi, which, i, n.ornament == "triplet")
            for i, n in enumerate(bar.notes)
        ]
    starts = [n.position for n in notes]
    ends = [n.position + n.length for n in notes]
    again = lines[-1] + min(starts[0], 0)
    if any(e > s for e, s in zip(ends, [*starts[1:], again], strict=True)):
        return None
    return Round(tuple(notes), tuple(lines))


def perform_crooked(
    tune: Tune, family: Family, *, seed: int, rounds: int = 2, variations: float = 0.04
) -> tuple[Heard, Tune]:
    """Play the tune as the family does. Raises ValueError when it cannot be laid out."""
    rng = np.random.default_rng(seed)
    manner = MANNERS[family]
    tune, octave = performer._in_key_of(tune, manner, None, rng)
    one = layout(tune)
    if one is None:
        raise ValueError(f"{tune.title}: its pick-ups and bars collide")
    length = one.lines[-1]
    dance = dances()[tune.tune_type]
    bpm = float(rng.uniform(*dance.usual_bpm) * rng.uniform(*manner.tempo))
    bpm = max(bpm, dance.slowest_bpm)
    notes = performer._varied(performer._rounds(one.notes, length, rounds), tune, rng, variations)
    clock, swing = performer._clock(
        tune, int(length * rounds / tune.bar_length) + 2, bpm, manner, rng, None
    )
    lead = float(rng.uniform(0.3, 1.5)) - clock.seconds(notes[0].position)
    clock = replace(clock, beat_s=clock.beat_s + lead)
    plain = performer._timed(notes, tune, clock, manner, rng, None)
    drift = performer._drift(manner, plain, rng)
    strokes = decorate(plain, tune, manner, octave, drift, rng)
    lines = [line + length * which for which in range(rounds) for line in one.lines[:-1]]
    lines.append(length * rounds)
    truth = replace(
        tune, beats_per_minute=bpm, rounds=rounds, octave_shift=-octave, swing=swing,
        bars_heard=tuple(_bars(plain, lines, tune.bar_length, clock.seconds)),
        tuning_offset_cents=drift[0],
        heard=tuple(as_heard(stroke, drift[0]) for stroke in strokes),
    )  # fmt: skip
    source = Source("tune.wav", "0" * 64, strokes[-1].offset_s + 0.6)
    return Heard(source, truth.heard, drift[0]), truth


def _bars(
    plain: list[PlainNote],
    lines: list[Fraction],
    full: Fraction,
    seconds: Callable[[Fraction], float],
) -> Iterator[HeardBar]:
    onset = {note.position: note.onset_s for note in plain}
    if plain[0].position < 0:
        inside = [n for n in plain if n.position < 0]
        notes = tuple(ScoreNote(n.midi, full + n.position, n.length) for n in inside)
        yield HeardBar(plain[0].onset_s, onset.get(Fraction(0), seconds(Fraction(0))), notes)
    for low, high in pairwise(lines):
        notes = tuple(
            ScoreNote(n.midi, n.position - low, n.length) for n in plain if low <= n.position < high
        )
        yield HeardBar(onset.get(low, seconds(low)), onset.get(high, seconds(high)), notes)


# ---------------------------------------------------------------- made crooked


def shortened(tune: Tune, part: int, bar: int, by: Fraction) -> Tune:
    """The tune with the end of one bar left out."""
    return _with_bar(tune, part, bar, tune.bar_length - by)


def lengthened(tune: Tune, part: int, bar: int, by: Fraction, *, held: bool) -> Tune:
    """The tune with a bar that goes on: its last note held, or its end played once more."""
    return _with_bar(tune, part, bar, tune.bar_length + by, held=held)


def _with_bar(tune: Tune, part: int, bar: int, length: Fraction, *, held: bool = True) -> Tune:
    one, full = tune.parts[part], tune.bar_length
    old = one.bars[bar]
    notes: Bar = tuple(
        replace(n, length=min(n.length, length - n.start)) for n in old if n.start < length
    )
    if length > full and held:
        notes = (*notes[:-1], replace(notes[-1], length=length - notes[-1].start))
    elif length > full:
        by = length - full
        notes += tuple(replace(n, start=n.start + by) for n in old if n.start >= full - by)
    bars = tuple(notes if at == bar else b for at, b in enumerate(one.bars))
    lengths = tuple(length if at == bar else full for at in range(len(bars)))
    new: Part = replace(one, bars=bars, bar_lengths=lengths)
    return replace(tune, parts=tuple(new if at == part else p for at, p in enumerate(tune.parts)))


# ---------------------------------------------------------------- the benchmark


WAYS = ("short", "held", "again")
CLEAR = ("reel", "jig", "hornpipe", "slip jig", "polka", "waltz", "slide", "march", "strathspey",
         "barn dance")  # fmt: skip
"""Airs are played too freely."""


def unit_of(tune: Tune) -> Fraction:
    """What a bar may lose or gain: a crotchet, in compound time a dotted one."""
    return Fraction(3, 8) if tune.meter.endswith("/8") else Fraction(1, 4)


def cases(split: Split, count: int, seed: int = 1) -> Iterator[tuple[str, int, Heard, Tune]]:
    """(how the bar is crooked, rounds, what is heard, truth) of `count` tunes made crooked."""
    rng = np.random.default_rng(seed)
    pool = [item.tune for item in tunes(split) if item.tune.tune_type in CLEAR]
    families = tuple(MANNERS)
    done = 0
    while done < count:
        tune = pool[int(rng.integers(len(pool)))]
        part = int(rng.integers(len(tune.parts)))
        size = len(tune.parts[part].bars)
        if size < 4 or tune.parts[part].bar_lengths:
            continue
        bar, beats = int(rng.integers(1, size - 1)), int(tune.bar_length / unit_of(tune))
        how, rounds = str(rng.choice(WAYS)), int(rng.choice([1, 2, 2, 2]))
        by = unit_of(tune) * int(rng.integers(1, beats))
        if rng.random() < 0.7 and beats % 2 == 0:
            by = tune.bar_length / 2
        if not tune.parts[part].bars[bar]:
            continue
        if how == "short":
            tune = shortened(tune, part, bar, by)
        else:
            tune = lengthened(tune, part, bar, by, held=how == "held")
        if layout(tune) is None:
            continue
        heard, truth = perform_crooked(
            tune, families[done % len(families)], seed=done + 1000 * seed, rounds=rounds
        )
        yield how, rounds, heard, truth
        done += 1


def slipped(heard: Heard, truth: Tune, seed: int) -> tuple[Heard, Tune]:
    """A performance in which one or two beats are lost or added before one bar line."""
    rng = np.random.default_rng(seed)
    beat_s = float(unit_of(truth) / truth.beat) * 60 / truth.beats_per_minute
    by = beat_s * float(rng.choice([1, 1, 2]) * rng.choice([-1, 1]))
    line = truth.bars_heard[int(rng.integers(2, len(truth.bars_heard) - 2))].end_s - 0.02

    def moved(when: float) -> float:
        return when + by if when >= line else when

    notes = []
    for note in heard.notes:
        if line + min(by, 0.0) <= note.onset_s < line:
            continue
        onset = moved(note.onset_s)
        end = moved(note.offset_s)
        if note.onset_s < line:
            end = min(note.offset_s, line + min(by, 0.0))
        notes.append(replace(note, onset_s=onset, offset_s=max(end, onset + 0.02)))
    bars = tuple(
        replace(bar, start_s=moved(bar.start_s), end_s=moved(bar.end_s)) for bar in truth.bars_heard
    )
    return replace(heard, notes=tuple(notes)), replace(truth, bars_heard=bars)


def crooked_bars(tune: Tune) -> list[tuple[int, int, Fraction]]:
    """(part, bar, length) of every crooked bar of the page, endings left out."""
    return [
        (number, index, length)
        for number, part in enumerate(tune.parts)
        for index, length in enumerate(part.bar_lengths)
        if length != tune.bar_length
    ]


def share_right(tune: Tune, truth: Tune) -> float:
    """Share of the performed bars that are right, see score_tune."""
    right = max(len(right_bars(tune, truth, semitones)) for semitones in (0, 12, -12))
    return right / len(truth.bars_heard)


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--split", choices=("train", "dev", "test"), default="dev")
    parser.add_argument("--count", type=int, default=200)
    args = parser.parse_args()
    rows: dict[str, list[tuple[float, bool, bool]]] = defaultdict(list)
    for how, rounds, heard, truth in cases(args.split, args.count):
        tune = notate(heard)
        found, wanted = crooked_bars(tune), crooked_bars(truth)
        row = (share_right(tune, truth), bool(found), found == wanted)
        for name in (how, "one round" if rounds == 1 else "two rounds", "total"):
            rows[name].append(row)
    print(f"{'':<12}{'tunes':>8}{'bars':>8}{'crooked':>9}{'exact':>8}")
    for name, these in rows.items():
        bars, crooked, exact = np.array(these, float).mean(axis=0)
        print(f"{name:<12}{len(these):8d}{bars:8.3f}{crooked:9.3f}{exact:8.3f}")
    plain = slips = 0
    jobs = plan(args.split, args.count)
    for job in jobs:
        played = performer.perform(
            job.tune, job.sound.family, seed=job.number, late_start=job.late_start, longest_s=60.0
        )
        heard = truth_heard(played)
        plain += bool(crooked_bars(notate(heard)))
        slips += bool(crooked_bars(notate(slipped(heard, played.truth, job.number)[0])))
    print(f"written crooked: {plain} of {len(jobs)} plain tunes, {slips} with one slip")


if __name__ == "__main__":
    main()
