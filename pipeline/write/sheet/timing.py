"""When every bar and note of a tune sounds: repeats taken, swing as played, at any tempo.

Task: score positions to seconds for sound, practice tracks and the report.
In:   Tune, tempo. Out: PlayedBar, one for every bar performed in one or more rounds.
Method: straight time from the metre and the beat; inside a pair of short notes (or a group of
    three in compound time) the tune's swing moves the division, piecewise linearly. Divisions
    that are not made of halves (thirds in simple time, and so on) stay even. The last bar of a
    part is shortened by the pick-up that follows when its notes leave room for it.
References: lilt and swing of the dance types (common practice).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from liltwright.tune import Tune


@dataclass(frozen=True, slots=True)
class Clock:
    """Seconds of score positions counted from a bar line."""

    beat: Fraction
    beats_per_minute: float
    group: Fraction
    """What swing divides unevenly: a quarter in simple time, a dotted quarter in compound time."""
    compound: bool
    swing: float

    def seconds(self, position: Fraction) -> float:
        """When a position (fraction of a whole note, may be negative) sounds, in seconds."""
        whole, inside = divmod(position, self.group)
        place = float(whole) + self._swung(inside / self.group)
        return place * float(self.group / self.beat) * 60.0 / self.beats_per_minute

    def _swung(self, inside: Fraction) -> float:
        """Where a place within the group (0 to 1) is played."""
        long_share = self.swing / (1.0 + self.swing)
        if self.compound:
            thirds = inside * 3
            if thirds >= 2 or (thirds.denominator & (thirds.denominator - 1)):
                return float(inside)
            return _bent(float(thirds) / 2.0, long_share) * 2.0 / 3.0
        if inside.denominator & (inside.denominator - 1):
            return float(inside)
        return _bent(float(inside), long_share)


def _bent(place: float, long_share: float) -> float:
    """Move the middle of 0..1 to `long_share`, the halves in proportion."""
    if place <= 0.5:
        return place * 2.0 * long_share
    return long_share + (place - 0.5) * 2.0 * (1.0 - long_share)


def clock_of(tune: Tune, *, tempo: float = 1.0, beats_per_minute: float | None = None) -> Clock:
    """The clock of a tune; `tempo` 0.5 is half as fast. Other beats a minute replace the tune's."""
    counted, unit = (int(number) for number in tune.meter.split("/"))
    compound = unit == 8 and counted % 3 == 0
    group = Fraction(3, 8) if compound else Fraction(1, 4)
    bpm = (beats_per_minute or tune.beats_per_minute) * tempo
    return Clock(tune.beat, bpm, group, compound, tune.swing)


@dataclass(frozen=True, slots=True)
class PlayedBar:
    """One bar as it is played."""

    index: int
    """Index into Tune.written_bars(); -1 for a lead-in or a closing chord in a bar of its own."""
    number: int
    """Bar number as printed; a pick-up has 0."""
    part: int
    round: int
    """Which time through the tune, from 0."""
    line_s: float
    """When its bar line is; for a pick-up, the line its full bar would have had."""
    start_s: float
    """When it begins to sound."""
    end_s: float


def played_bars(
    tune: Tune,
    clock: Clock,
    *,
    order: Iterable[tuple[int, int]] | None = None,
    start_s: float = 0.0,
) -> tuple[PlayedBar, ...]:
    """Every bar in playing order with its times.

    order : pairs of round and bar index; None is once through, repeats and endings taken.
    """
    written = tune.written_bars()
    chosen = [(0, index) for index in tune.performed_order()] if order is None else list(order)
    spans = bar_spans(tune, [index for _, index in chosen])
    bars: list[PlayedBar] = []
    now_s = start_s
    for (which, index), (first, last) in zip(chosen, spans, strict=True):
        number, part = (written[index].number, written[index].part) if index >= 0 else (0, -1)
        line_s = now_s - clock.seconds(first)
        end_s = line_s + clock.seconds(last)
        bars.append(PlayedBar(index, number, part, which, line_s, now_s, end_s))
        now_s = end_s
    return tuple(bars)


def bar_spans(tune: Tune, order: list[int]) -> list[tuple[Fraction, Fraction]]:
    """First and last score position of each bar played, counted from its bar line."""
    written = tune.written_bars()
    full = tune.bar_length
    spans = []
    for index in order:
        if index < 0:
            spans.append((Fraction(0), full))
            continue
        bar = written[index]
        first = full - bar.length if bar.kind == "pickup" else Fraction(0)
        spans.append((first, first + bar.length))
    for place, (here, after) in enumerate(pairwise(order)):
        if after < 0:
            continue
        first, last = spans[place]
        ahead = written[after]
        if here < 0:  # a lead-in leaves room for the pick-up
            spans[place] = (first, last - (ahead.length if ahead.kind == "pickup" else 0))
            continue
        if written[here].kind != "pickup" and ahead.kind == "pickup" and last == full:
            room = last - ahead.length
            if all(note.start + note.length <= room for note in written[here].notes):
                spans[place] = (first, room)
    return spans
