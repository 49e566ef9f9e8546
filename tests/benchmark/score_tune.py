"""Task: how right is the tune that was written?

In: the Tune that notate wrote, the performance's truth. Out: TuneScores.
Method:
    bars right     share of the performed bars whose plain notes have exactly the right start and
                   pitch, up to one octave shift for the whole tune, and whose start lies within
                   120 ms. The incomplete first bar counts; there the end may agree instead of
                   the start, because its bar line is not played.
    printed right  the same, without times, for the bars of the printed tune: both prints are
                   played once through, bar by bar, and every printed bar of the truth is looked
                   up where it is first played; a pick-up counts as a bar of its part. Where
                   another version of the bar was played at least as often as the printed one,
                   it is right too: nobody could tell which of them is the tune.
    downbeats      mir_eval.beat.f_measure at 70 ms over the starts of the full bars.
    form           parts and repeats: one round in units of eight bars, units that share five
                   bars of eight having the same letter, gives the same letters; so AABB with two
                   endings and 16 bars written out are the same form. Tunes with other lengths
                   need the same letters ("AABB") and the same number of bars in each part.
    doubts         of the written bars that are wrong, how many are listed, and the other way. The
                   same for printed bars: a printed bar is listed when any pass of it is.
References: mir_eval.beat.f_measure (Davies, Degara & Plumbley 2009).
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import mir_eval
import numpy as np

from liltwright.doubts import doubtful_indices
from liltwright.keys import pitch_class
from liltwright.tune import Bar, HeardBar, Tune

START_S = 0.120
DOWNBEAT_S = 0.070


@dataclass(frozen=True, slots=True)
class TuneScores:
    """Scores of one tune; right and wrong as 1.0 and 0.0."""

    bars: int
    bars_right: int
    printed: int
    printed_right: int
    downbeat_f1: float
    tune_type: float
    meter: float
    tonic: float
    mode: float
    """Mode and tonic."""
    signature: float
    form: float
    form_letters: float
    """The form exactly as the truth writes it."""
    rounds: float
    tempo: float
    """Within 4 %, counted in the truth's beat."""
    wrong_bars: int
    doubts: int
    wrong_listed: int
    printed_wrong_listed: int
    """Bars of the truth's print that the written tune has wrong, and that a doubt points at."""


def score_tune(tune: Tune, truth: Tune) -> TuneScores:
    """Compare a written tune with the truth of its performance."""
    shift = max((0, 12, -12), key=lambda semitones: len(right_bars(tune, truth, semitones)))
    right = right_bars(tune, truth, shift)
    printed, printed_right, printed_listed = _printed(tune, truth)
    wrong, listed, wrong_listed = _doubts(tune, {estimate for _, estimate in right})
    tonic = float(pitch_class(tune.tonic) == pitch_class(truth.tonic))
    pace = tune.beats_per_minute * float(tune.beat)
    true_pace = truth.beats_per_minute * float(truth.beat)
    return TuneScores(
        bars=len(truth.bars_heard),
        bars_right=len(right),
        printed=printed,
        printed_right=printed_right,
        downbeat_f1=_downbeats(tune, truth),
        tune_type=float(tune.tune_type == truth.tune_type),
        meter=float(_meter(tune.meter) == _meter(truth.meter)),
        tonic=tonic,
        mode=tonic * (tune.mode == truth.mode),
        signature=float(tune.signature == truth.signature),
        form=float(_same_form(tune, truth)),
        form_letters=float(tune.form == truth.form),
        rounds=float(tune.rounds == truth.rounds),
        tempo=float(abs(np.log(pace / true_pace)) < 0.04),
        wrong_bars=wrong,
        doubts=listed,
        wrong_listed=wrong_listed,
        printed_wrong_listed=printed_listed,
    )


def _meter(meter: str) -> str:
    return "4/4" if meter == "2/2" else meter


# ---------------------------------------------------------------- performed bars


def _key(notes: Bar, semitones: int = 0) -> tuple[tuple[Fraction, int], ...]:
    return tuple((note.start, note.midi + semitones) for note in notes)


def _incomplete(bars: tuple[HeardBar, ...]) -> bool:
    """Whether the first bar starts after its bar line."""
    return bool(bars) and bool(bars[0].notes) and bars[0].notes[0].start > 0


def right_bars(tune: Tune, truth: Tune, semitones: int) -> list[tuple[int, int]]:
    """(index in the truth, index in the tune) of the bars that are right."""
    if not tune.bars_heard:
        return []
    starts = np.array([bar.start_s for bar in tune.bars_heard])
    ends = np.array([bar.end_s for bar in tune.bars_heard])
    right = []
    for at, bar in enumerate(truth.bars_heard):
        near = np.abs(starts - bar.start_s) <= START_S
        if at == 0 and _incomplete(truth.bars_heard):
            near |= np.abs(ends - bar.end_s) <= START_S
        wanted = _key(bar.notes)
        for index in np.flatnonzero(near):
            if _key(tune.bars_heard[index].notes, semitones) == wanted:
                right.append((at, int(index)))
                break
    return right


def _downbeats(tune: Tune, truth: Tune) -> float:
    estimate = np.array([bar.start_s for bar in tune.bars_heard[_incomplete(tune.bars_heard) :]])
    reference = np.array([bar.start_s for bar in truth.bars_heard[_incomplete(truth.bars_heard) :]])
    if not len(estimate):
        return 0.0
    return float(
        mir_eval.beat.f_measure(reference, np.sort(estimate), f_measure_threshold=DOWNBEAT_S)
    )


def _doubts(tune: Tune, right: set[int]) -> tuple[int, int, int]:
    """(wrong written bars, listed bars, wrong bars that are listed)."""
    first = 0 if _incomplete(tune.bars_heard) else 1
    numbers = {index: index + first for index in range(len(tune.bars_heard))}
    listed = {doubt.bar for doubt in tune.doubts}
    wrong = {number for index, number in numbers.items() if index not in right}
    return len(wrong), len(listed), len(wrong & listed)


# ---------------------------------------------------------------- printed tune


Key = tuple[tuple[Fraction, int], ...]
UNIT = 8
ALIKE = 5


def _same_form(tune: Tune, truth: Tune) -> bool:
    mine, true = _played(tune), _played(truth)
    if len(mine) % UNIT or len(true) % UNIT:
        return _letters_and_lengths(tune) == _letters_and_lengths(truth)
    return _unit_letters([key for _, key in mine]) == _unit_letters([key for _, key in true])


def _letters_and_lengths(tune: Tune) -> tuple[str, tuple[int, ...]]:
    lengths = tuple(
        len(part.bars) + max((len(ending.bars) for ending in part.endings), default=0)
        for part in tune.parts
    )
    return tune.form, lengths


def _unit_letters(bars: list[Key]) -> list[int]:
    """A number for each unit of eight bars; units that are alike have the same number."""
    units = [bars[at : at + UNIT] for at in range(0, len(bars), UNIT)]
    letters: list[int] = []
    for at, unit in enumerate(units):
        alike = (
            letters[before]
            for before in range(at)
            if sum(a == b for a, b in zip(unit, units[before], strict=True)) >= ALIKE
        )
        letters.append(next(alike, max(letters, default=-1) + 1))
    return letters


def _printed(tune: Tune, truth: Tune) -> tuple[int, int, int]:
    """(printed bars of the truth, how many of them the written tune has right, how many of the
    wrong ones are listed)."""
    wanted, found, versions = _played(truth), _played(tune), _versions(truth)
    doubtful = doubtful_indices(tune)
    best = (-1, 0)
    for semitones in (0, 12, -12):
        right = listed = 0
        seen: set[int] = set()
        for at, (written, _) in enumerate(wanted):
            if written not in seen and at < len(found):
                index, key = found[at]
                moved = tuple((start, midi + semitones) for start, midi in key)
                right += moved in versions[written]
                listed += moved not in versions[written] and index in doubtful
            seen.add(written)
        best = max(best, (right + _pickups_right(tune, truth, semitones), listed))
    bars = len({written for written, _ in wanted})
    return bars + sum(bool(part.pickup) for part in truth.parts), *best


def _versions(truth: Tune) -> dict[int, set[Key]]:
    """Of each printed bar: itself, and what was played in its place at least as often."""
    written = truth.written_bars()
    order = truth.performed_order()
    full = [step for step in pairwise([*order, order[0]]) if written[step[0]].kind != "pickup"]
    bars = truth.bars_heard[_incomplete(truth.bars_heard) :]
    steps = (full * truth.rounds)[-len(bars) :]  # a late start has lost the first bar
    played: dict[int, Counter[Key]] = defaultdict(Counter)
    for (index, after), bar in zip(steps, bars, strict=False):
        until = written[after].notes[0].start if written[after].kind == "pickup" else None
        kept = tuple(note for note in bar.notes if until is None or note.start < until)
        played[index][_key(kept)] += 1
    out = {}
    for index, one in enumerate(written):
        key = _key(one.notes)
        often = played[index][key]
        out[index] = {key} | {k for k, n in played[index].items() if n >= max(often, 1)}
    return out


def _played(tune: Tune) -> list[tuple[int, tuple[tuple[Fraction, int], ...]]]:
    """One round: (index of the printed bar, its notes) of every full bar."""
    written = tune.written_bars()
    return [
        (index, _key(written[index].notes))
        for index in tune.performed_order()
        if written[index].kind != "pickup"
    ]


def _pickups_right(tune: Tune, truth: Tune, semitones: int) -> int:
    if len(tune.parts) != len(truth.parts):
        return 0
    return sum(
        bool(true.pickup) and _key(mine.pickup, semitones) == _key(true.pickup)
        for mine, true in zip(tune.parts, truth.parts, strict=True)
    )
