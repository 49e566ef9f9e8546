"""Task: decide type, metre, swing, tempo and bar lines of a performance, all in one.

In: PlainNotes and what the user fixed. Out: Reading: the Timeline, ranked types, and what the
    networks think of the parts.
Method: the metre networks look at the whole performance (network); the best path of every metre
    (viterbi) competes (choice), and the type is the networks' within the metre that wins (types).
    Then swing and tempo are known, the notes are read once more (swing) and laid out in bars. A
    tempo that the user fixed weighs on the steps; a fixed first bar line moves all bars alike.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from liltwright.dances import dances
from liltwright.errors import UsageError, to_type
from liltwright.models import read_lines
from liltwright.notate.bars.timeline import Timeline, lay_out
from liltwright.notate.metre.choice import chosen
from liltwright.notate.metre.kind import Kind
from liltwright.notate.metre.network import Emissions, listen_for_metre
from liltwright.notate.metre.places import nearest_step, places
from liltwright.notate.metre.swing import in_swing, in_time, lacks_snaps, written_even
from liltwright.notate.metre.tempo import find_tempo
from liltwright.notate.metre.types import weighed, with_compound
from liltwright.notate.metre.viterbi import COSTS, MetrePath, Told, best_paths
from liltwright.notate.plain import PlainNotes
from liltwright.tune import TuneType

RIVAL = 0.12  # probability from which on another metre is named
UNLIKELY = 0.01  # probability of a metre below which its types are not looked at closely
LEAST = 1e-4  # probability; less likely types are not listed, and logarithms stay finite
SAME_METER = {"2/2": "4/4", "12/8": "6/8"}
"""Metres that are read as another one; bars of 12/8 are paired afterwards."""


@dataclass(frozen=True, slots=True)
class Reading:
    """How a performance is read."""

    line: Timeline
    types: tuple[tuple[TuneType, float], ...]
    """Types with probabilities, best first."""
    passed_over_s: np.ndarray
    """Onsets of the notes that are no part of the tune."""
    part_starts: np.ndarray
    """Log odds that a pass of a part begins with each bar from line.first_bar on."""
    meter_chance: float = 1.0
    """Probability of the metre."""
    other_meter: str | None = None
    """Another metre that fits nearly as well."""
    path_odds: float = 0.0
    """Log probability of a note on the best path."""
    told: Told | None = None
    """The reading as the networks tell it, for looking at its bar lines again; None where bars
    were paired or the user put a bar line by hand."""


@dataclass(frozen=True, slots=True)
class _Wanted:
    """What the user fixed."""

    tune_type: TuneType | None
    meter: str | None
    beats_per_minute: float | None


@dataclass(frozen=True, slots=True)
class _Choice:
    """The metre that won, before swing is looked at."""

    paths: list[MetrePath]
    """The best reading of every metre, best first."""
    chance: np.ndarray
    """Probability of each."""
    simple: MetrePath | None = None
    """The best reading as it was, in 4/4 or 2/4, where it is retold in 6/8."""


def read_rhythm(
    notes: PlainNotes,
    *,
    tune_type: TuneType | None = None,
    meter: str | None = None,
    beats_per_minute: float | None = None,
    first_bar_s: float | None = None,
) -> Reading:
    """The best reading of the notes. Raises UsageError when the fixed values exclude each other."""
    wanted = _Wanted(tune_type, meter, beats_per_minute)
    meters = _meters(wanted)
    heard = listen_for_metre(notes)
    evidence = in_time(heard, notes)

    choice = _metre(evidence, notes, meters, wanted)
    types = _types(evidence, notes, choice, wanted)
    kind = Kind(types[0][0], choice.paths[0].meter)
    best = _swung(evidence, notes, choice, kind, wanted)

    told = Told.of(choice.simple or best, heard)
    line = _line(notes, best, kind, evidence, choice.simple or best)
    if first_bar_s is not None:
        line = _barred_at(line, first_bar_s)
    starts = part_starts(told, line)
    if meter == "12/8":
        line, starts = _paired(line, starts)

    as_told = choice.simple is None and first_bar_s is None and meter != "12/8"
    return Reading(
        line,
        types,
        passed_over_s=notes.onset_s[best.ticks < 0],
        part_starts=starts,
        meter_chance=round(float(choice.chance[0]), 4),
        other_meter=_rival(choice),
        path_odds=choice.paths[0].score / len(notes),
        told=told if as_told else None,
    )


def _meters(wanted: _Wanted) -> tuple[str, ...]:
    """The metres to be read in."""
    known, meter, kind = places().meters, wanted.meter, wanted.tune_type
    if meter is not None and SAME_METER.get(meter, meter) not in known:
        raise UsageError(f"Nothing is read in {meter}; known metres are {', '.join(known)}, 12/8.")
    fitting = set(dances()[kind].meters) if kind else {*known, *SAME_METER}
    fitting |= {"2/2"} if "4/4" in fitting else set()
    chosen = {SAME_METER.get(one, one) for one in (fitting & {meter} if meter else fitting)}
    if not chosen:
        raise UsageError(
            f"No {kind} is written in {meter}; it is written in "
            f"{' or '.join(dances()[kind].meters)}."  # type: ignore[index]
        )
    return tuple(one for one in known if one in chosen)


def _metre(
    evidence: Emissions, notes: PlainNotes, meters: tuple[str, ...], wanted: _Wanted
) -> _Choice:
    """The readings of all metres against each other; a simple one also retold in 6/8."""
    paths, chance = chosen(_candidates(evidence, notes, meters, wanted), notes)
    if "6/8" in meters:
        return _Choice(*with_compound(paths, chance, notes))
    return _Choice(paths, chance)


def _candidates(
    evidence: Emissions, notes: PlainNotes, meters: tuple[str, ...], wanted: _Wanted
) -> list[MetrePath]:
    """The best path of each metre, best first."""
    if wanted.beats_per_minute is None:
        return best_paths(evidence, meters=meters)
    paths: list[MetrePath] = []
    for one in meters:
        kind = wanted.tune_type or _in_meter(evidence, wanted.meter or one)[0][0]
        tick_s = 60 / wanted.beats_per_minute / Kind(kind, one).beat_ticks
        timed = _at_tempo(evidence, notes, tick_s)
        paths += best_paths(timed, meters=(one,))
    return sorted(paths, key=lambda path: -path.score)


def _at_tempo(evidence: Emissions, notes: PlainNotes, tick_s: float) -> Emissions:
    """The evidence with steps that a fixed tempo makes unlikely counted down."""
    gap = np.maximum(np.append(np.diff(notes.onset_s), 1.0), 0.02)
    costs = read_lines(COSTS)
    off = np.log(gap[:, None] / (tick_s * places().steps[None])) / costs["tempo_spread"]
    return replace(evidence, step=evidence.step - np.minimum(0.5 * off**2, costs["tempo_far"]))


def _in_meter(evidence: Emissions, meter: str) -> list[tuple[TuneType, float]]:
    """The types written in a metre with their log probabilities, best first."""
    logs = evidence.kind.mean(axis=0)
    named = dict(zip(places().kinds, logs.tolist(), strict=True))
    rarest = float(logs.min())  # a type that the network was not taught is as likely as this
    fitting = [
        kind
        for kind, dance in dances().items()
        if meter in dance.meters or (meter == "2/2" and "4/4" in dance.meters)
    ]
    return sorted(((kind, named.get(kind, rarest)) for kind in fitting), key=lambda pair: -pair[1])


def _types(
    evidence: Emissions, notes: PlainNotes, choice: _Choice, wanted: _Wanted
) -> tuple[tuple[TuneType, float], ...]:
    """Types with probabilities; the likeliest of the best path leads."""
    if wanted.tune_type is not None:
        return ((wanted.tune_type, 1.0),)
    total: dict[TuneType, float] = {}
    first: TuneType | None = None
    for path, weight in zip(choice.paths, choice.chance, strict=True):
        kinds = _in_meter(evidence, wanted.meter or path.meter)
        whole = np.logaddexp.reduce([log for _, log in kinds])
        heard = {kind: float(np.exp(log - whole)) for kind, log in kinds}
        if weight > UNLIKELY:
            heard = weighed(path, notes, heard)
        first = first or max(heard, key=lambda kind: heard[kind])
        for kind, share in heard.items():
            total[kind] = total.get(kind, 0.0) + float(weight * share)
    ranked = sorted(total, key=lambda kind: (kind != first, -total[kind]))
    types = tuple((kind, total[kind]) for kind in ranked if total[kind] > LEAST)
    return _led_by("hornpipe", types) if lacks_snaps(choice.paths[0], types[0][0]) else types


def _led_by(
    kind: TuneType, types: tuple[tuple[TuneType, float], ...]
) -> tuple[tuple[TuneType, float], ...]:
    """The ranking with this type in the first's place."""
    (first, chance), *others = types
    rest = [pair for pair in others if pair[0] != kind]
    mine = sum(p for one, p in others if one == kind)
    return ((kind, chance), *rest, (first, mine))


def _swung(
    evidence: Emissions, notes: PlainNotes, choice: _Choice, kind: Kind, wanted: _Wanted
) -> MetrePath:
    """The best reading once its swing and tempo are known; one retold in 6/8 stays."""
    if choice.simple is not None:
        return choice.paths[0]
    even = written_even(choice.paths[0], kind)
    swung = in_swing(evidence, notes, even, kind)
    return written_even(_candidates(swung, notes, (kind.meter,), wanted)[0], kind)


def _rival(choice: _Choice) -> str | None:
    """Another metre that fits nearly as well."""
    near = len(choice.paths) > 1 and choice.chance[1] > RIVAL
    return choice.paths[1].meter if near else None


def _line(
    notes: PlainNotes, path: MetrePath, kind: Kind, evidence: Emissions, told: MetrePath
) -> Timeline:
    """The notes on the page. told : the reading of them that the network's word is on."""
    kept = np.flatnonzero(path.ticks >= 0)
    ticks = path.ticks[kept]
    pulse = find_tempo(ticks, notes.onset_s[kept], path.jumps[kept], kind)
    table = places()
    which = table.meters.index(told.meter)
    its = told.ticks[kept]
    chance = np.exp(evidence.place[kept])
    placed = chance[np.arange(len(kept)), table.number[which, its % table.bar_ticks[which]]]
    placed = placed / np.maximum(chance[:, table.meter == which].sum(axis=1), 1e-6)
    steps = nearest_step(np.diff(its))
    stepped = np.append(1.0, np.exp(evidence.step[kept[:-1], steps]))
    return lay_out(notes, path, kind, pulse, placed=placed, stepped=stepped)


def part_starts(told: Told, line: Timeline) -> np.ndarray:
    """Log odds that a pass of a part begins with each bar: the mean over the notes of the bar."""
    first = np.exp(told.said.since[:, 0])
    if told.path.meter == "4/4" != line.kind.meter:  # one of its bars is two in 6/8
        first = first * (told.path.ticks % 96 < 48)
    begins = np.log(first + LEAST) - np.log(1 - first + LEAST)
    which = line.ticks // line.kind.bar_ticks - line.first_bar
    count = np.bincount(which)
    return np.bincount(which, weights=begins) / np.maximum(count, 1)


def _barred_at(line: Timeline, first_bar_s: float) -> Timeline:
    """The timeline with a bar line at the note nearest to this time, all others moved as far."""
    end_s = float(line.onset_s[-1])
    if first_bar_s > end_s:
        raise UsageError(
            f"{to_type('first bar', 'the first bar line at')} {first_bar_s:g} lies after the last "
            f"note, which begins at {end_s:.1f} s."
        )
    nearest = int(np.argmin(np.abs(line.onset_s - first_bar_s)))
    return replace(line, ticks=line.ticks + -line.ticks[nearest] % line.kind.bar_ticks)


def _paired(line: Timeline, starts: np.ndarray) -> tuple[Timeline, np.ndarray]:
    """Two bars of 6/8 as one of 12/8; parts begin with the first of the two."""
    chance = 1 / (1 + np.exp(-starts))
    numbers = np.arange(line.first_bar, line.first_bar + len(starts))
    odd = chance[numbers % 2 == 1].sum() > chance[numbers % 2 == 0].sum()
    ticks = line.ticks + (line.kind.bar_ticks if odd else 0)
    numbers = (numbers + odd) // 2
    joined = np.full(numbers[-1] + 1, -np.inf)
    np.maximum.at(joined, numbers, starts)
    return replace(line, ticks=ticks, kind=Kind(line.kind.tune_type, "12/8")), joined[numbers[0] :]
