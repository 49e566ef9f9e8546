"""Task: fold the passes of a performance into the tune as a tune book prints it.

In: Timeline, heard bars, Structure. Out: Folded: parts with pick-ups and endings, form, rounds,
    and for every heard bar the printed bar it is a pass of.
Method: the order of labels is searched for its shortest period, which is one round. Every printed
    bar is the vote of its passes, onset by onset, weighted by their confidence; passes that
    differ at the end of a part by the time through become first and second endings. Notes from
    the place where the tune starts before its first bar line belong to the part that follows.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from fractions import Fraction
from itertools import zip_longest

from liltwright.notate.form.segments import Form, Segment
from liltwright.tune import Bar, Ending, HeardBar, Part, ScoreNote

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
DIFFERENT = 0.2  # share of a bar's time in which two endings differ
LONGEST_ENDING = 4  # bars: where the whole second phrase differs, both ways are shown


@dataclass(frozen=True, slots=True)
class Folded:
    """The printed tune and how the performance runs through it."""

    parts: tuple[Part, ...]
    form: str
    rounds: int
    passes: dict[int, tuple[int, ...]]
    """By heard bar: all heard bars that are passes of the same printed bar, itself included."""


def fold(bars: tuple[HeardBar, ...], form: Form, bar_length: Fraction) -> Folded:
    """Parts, form and rounds from the passes."""
    late = bool(form.segments and form.segments[0].skipped)
    pick_from = _pick_from_end(bars, form, bar_length) if late else _pick_from(bars, bar_length)
    count = 1 + max((segment.part for segment in form.segments), default=-1)
    if not count:
        notes = tuple(bar.notes for bar in bars)
        return Folded((Part("A", 1, (), notes),), "A", 1, {})
    passes = [[s for s in form.segments if s.part == part] for part in range(count)]
    names = _names([these[0].label for these in passes])
    parts: list[Part] = []
    links: dict[int, tuple[int, ...]] = {}
    for these in passes:
        repeats = max(one.time for one in these)
        name = names[these[0].label]
        parts.append(_part(name, repeats, these, bars, pick_from, bar_length))
        links.update(_links(these))
    letters = "".join(part.name * part.repeats for part in parts)
    whole = sum(not s.missing and not s.skipped for s in form.segments)
    rounds = max(round(whole / sum(part.repeats for part in parts)), 1)
    return Folded(tuple(parts), letters, rounds, links)


def coda_remark(coda: int) -> tuple[str, ...]:
    """What the user should know of bars at the end that are no part; nothing without any."""
    if not coda:
        return ()
    bars = f"last {coda} bars are" if coda > 1 else "last bar is"
    return (f"The {bars} the ending of the performance, outside the form of the tune.",)


def _names(order: list[int]) -> dict[int, str]:
    seen = list(dict.fromkeys(order))
    return {label: LETTERS[at % 26] + "'" * (at // 26) for at, label in enumerate(seen)}


def _links(passes: list[Segment]) -> dict[int, tuple[int, ...]]:
    by_index: dict[int, list[int]] = defaultdict(list)
    for one in passes:
        for offset in range(one.bars):
            by_index[one.skipped + offset].append(one.first + offset)
    return {bar: tuple(same) for same in by_index.values() for bar in same}


def _pick_from(bars: tuple[HeardBar, ...], bar_length: Fraction) -> Fraction | None:
    """Where in the bar the pick-up of the tune starts; None when it has none."""
    first = bars[0].notes[0].start if bars[0].notes else Fraction(0)
    return first if first >= bar_length / 2 else None


def _pick_from_end(bars: tuple[HeardBar, ...], form: Form, bar_length: Fraction) -> Fraction | None:
    """The same where the beginning was not recorded: what the other passes of the very last bar
    play after the note that it ends on leads into the next pass."""
    last = form.segments[-1]
    if last.missing:
        return None
    index = last.skipped + last.bars - 1
    alike = [s for s in form.segments[:-1] if s.label == last.label]
    notes = [bars[s.first + index - s.skipped].notes for s in alike if index - s.skipped < s.bars]
    end = bars[last.first + last.bars - 1].notes
    mine = [(n.start, n.midi) for n in end]
    longer = [
        bar[len(mine)].start
        for bar in notes
        if len(bar) > len(mine) and [(n.start, n.midi) for n in bar[: len(mine)]] == mine
    ]
    if not longer or len(longer) * 2 < len(notes):
        return None
    return min(longer) if min(longer) >= bar_length / 2 else None


def _part(
    name: str,
    repeats: int,
    passes: list[Segment],
    bars: tuple[HeardBar, ...],
    pick_from: Fraction | None,
    bar_length: Fraction,
) -> Part:
    size = max(one.bars + one.skipped for one in passes)
    by_bar = [_versions(passes, index, bars) for index in range(size)]
    if pick_from is not None:
        by_bar[-1] = [(time, _before(bar, pick_from), weight) for time, bar, weight in by_bar[-1]]
    pickup = _pickup(passes, bars, pick_from)
    voted = [vote([(bar, weight) for _, bar, weight in these]) for these in by_bar]
    endings = _endings(by_bar, repeats, bar_length)
    body = voted[: len(voted) - len(endings[0].bars)] if endings else voted
    return Part(name, repeats, pickup, tuple(body), endings)


def _versions(
    passes: list[Segment], index: int, bars: tuple[HeardBar, ...]
) -> list[tuple[int, Bar, float]]:
    """(time through, notes, weight) of every pass of the bar with this index in the part."""
    found = []
    for one in passes:
        at = index - one.skipped
        if 0 <= at < one.bars:
            bar = bars[one.first + at]
            found.append((one.time, bar.notes, 0.05 + bar.confidence))
    return found


def _before(bar: Bar, limit: Fraction) -> Bar:
    """The notes that start before `limit`, cut there."""
    return tuple(
        ScoreNote(n.midi, n.start, min(n.length, limit - n.start), n.ornament)
        for n in bar
        if n.start < limit
    )


def _pickup(passes: list[Segment], bars: tuple[HeardBar, ...], pick_from: Fraction | None) -> Bar:
    if pick_from is None:
        return ()
    versions = []
    for one in passes:
        before = one.first - 1
        if before >= 0 and not one.skipped:
            notes = tuple(note for note in bars[before].notes if note.start >= pick_from)
            versions.append((notes, 0.05 + bars[before].confidence))
    return vote(versions)


def _endings(
    by_bar: list[list[tuple[int, Bar, float]]], repeats: int, bar_length: Fraction
) -> tuple[Ending, ...]:
    """First and second endings where the times through differ at the end of the part."""
    if repeats != 2:
        return ()
    size = 0
    votes: list[dict[int, Bar]] = []
    for these in by_bar[-LONGEST_ENDING:][::-1]:
        by_time = {
            time: vote([(bar, w) for t, bar, w in these if t == time])
            for time in (1, 2)
            if any(t == time for t, _, _ in these)
        }
        if len(by_time) < 2 or difference(by_time[1], by_time[2], bar_length) < DIFFERENT:
            break
        first, second = ([bar for t, bar, _ in these if t == time] for time in (1, 2))
        rounds = zip(first, second, strict=False)
        if any(difference(one, two, bar_length) < DIFFERENT for one, two in rounds):
            break  # a slip or a variation: endings are those that every round has
        votes.insert(0, by_time)
        size += 1
    if not size:
        return ()
    return tuple(Ending((time,), tuple(bar[time] for bar in votes)) for time in (1, 2))


def difference(one: Bar, other: Bar, bar_length: Fraction) -> float:
    """Share of the bar's time in which two bars sound different pitches."""
    step = Fraction(1, 32)
    slots = int(bar_length / step)
    return sum(_sounds(one, step * i) != _sounds(other, step * i) for i in range(slots)) / slots


def _sounds(bar: Bar, where: Fraction) -> int:
    return next((n.midi for n in reversed(bar) if n.start <= where < n.start + n.length), 0)


def vote(versions: list[tuple[Bar, float]]) -> Bar:
    """The bar that most passes agree on, onset by onset, weighted.

    Among onsets with a majority the pitch with most weight wins. A note lasts to the next onset
    that was kept unless most passes rest before it. The first pass breaks ties.
    """
    if not versions:
        return ()
    total = sum(weight for _, weight in versions)
    choices: dict[Fraction, list[tuple[float, ScoreNote, bool]]] = defaultdict(list)
    for order, (bar, weight) in enumerate(versions):
        weight = weight * (1 + 1e-3 / (1 + order))
        for note, following in zip_longest(bar, (n.start for n in bar[1:])):
            rests = following is not None and note.start + note.length < following
            choices[note.start].append((weight, note, rests))
    support = {start: sum(weight for weight, _, _ in these) for start, these in choices.items()}
    kept = sorted(start for start, weight in support.items() if weight >= 0.5 * total)
    return tuple(_voted(choices[start], end) for start, end in zip_longest(kept, kept[1:]))


def _voted(choices: list[tuple[float, ScoreNote, bool]], end: Fraction | None) -> ScoreNote:
    """The note that these passes agree on; `end` is the next onset in the bar, if any."""
    pitches: dict[int, float] = defaultdict(float)
    for weight, note, _ in choices:
        pitches[note.midi] += weight
    midi = max(pitches, key=lambda p: pitches[p])
    same = [(weight, note, rests) for weight, note, rests in choices if note.midi == midi]
    lengths: dict[Fraction, float] = defaultdict(float)
    for weight, note, rests in same:
        if rests or end is None:
            lengths[note.length] += weight
    resting = sum(weight for weight, _, rests in same if rests) > 0.5 * pitches[midi]
    first = same[0][1]
    if end is None:
        length = max(lengths, key=lambda x: (lengths[x], x))
    elif resting:
        length = min(max(lengths, key=lambda x: lengths[x]), end - first.start)
    else:
        length = end - first.start
    return ScoreNote(midi, first.start, length, first.ornament)
