"""What a finished page is made of: its chords, its kind of bass, where that walks.

Task     name a chord for every half bar, and say how the bass goes
In       the page's tune and tab bars
Out      chords; MadeOf
Method   Every stretch between main beats is named after the triad or fifth whose tones sound
         longest in it, its lowest note counting more.
         A bass is a drone when nearly all of it is tonic and fifth on open strings, plain when
         nearly all of it falls on main beats, moving otherwise. It walks where three bass notes
         follow by steps. Common practice among players; no published source.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from typing import Literal, get_args

from liltwright import keys
from liltwright.arrange.chords import TRIADS
from liltwright.bassbeats import pulse_of
from liltwright.tab import Chord, TabBar, TabNote, Technique
from liltwright.tune import KeyName, Tune
from liltwright.unpick.compared import Grades, VariedRepeat

BassKind = Literal["none", "drone", "plain", "moving"]
NEARLY_ALL = 0.9  # share of the bass notes
ORNAMENTS = ("grace note", *get_args(Technique))
_NAMED = ("", "m", "5", "sus4", "dim")
_LEAST_LIKED = {"": 0.0, "m": 0.0, "5": 0.05, "sus4": 0.15, "dim": 0.25}
"""Share of the weight by which a plainer chord goes before."""
BOTTOM = 1.5
"""How much more the lowest note of a stretch counts."""


@dataclass(frozen=True, slots=True)
class Stay:
    """A finger that stays down under other fretted notes; bars are numbers as printed."""

    finger: int
    string: int
    fret: int
    bars: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class MadeOf:
    """How a page is made; bars are numbers as printed."""

    bass: BassKind
    walks: tuple[int, ...] = ()
    """Bars in which the bass goes by steps."""
    held: tuple[int, ...] = ()
    """Bars in which a fretting finger stays down under other notes."""
    stays: tuple[Stay, ...] = ()
    """Which fingers these are, the one in most bars first."""
    ornaments: int = 0
    ornament_kinds: dict[str, int] = field(default_factory=dict)
    """How many of each, such as hammer-on or grace note."""
    inner: int = 0
    least_sure: tuple[int, ...] = ()
    """Bars with a note whose part is not sure."""
    grades: Grades = field(default_factory=Grades)
    changes: tuple[VariedRepeat, ...] = ()
    """Stretches of the tune that come again otherwise."""


def chords_of(tune: Tune, bars: Sequence[TabBar], key: KeyName) -> tuple[Chord, ...]:
    """A chord for every stretch between main beats, printed where it changes and in every bar."""
    pulse = pulse_of(tune)
    signature = keys.signature_of(key.tonic, key.mode)
    found: list[Chord] = []
    for index, written in enumerate(tune.written_bars()):
        if written.kind == "pickup":
            continue
        beats = [beat for beat in pulse.main if beat < written.length] or [Fraction(0)]
        for place, start in enumerate(beats):
            end = beats[place + 1] if place + 1 < len(beats) else written.length
            named = _named(bars[index], start, end, signature)
            last = found[-1] if found else None
            if named is None or (last and last.bar == index and last.symbol == named[0]):
                continue
            found.append(Chord(index, start, *named))
    return tuple(found)


def _named(bar: TabBar, start: Fraction, end: Fraction, signature: int) -> tuple[str, str] | None:
    weights = [0.0] * 12
    lowest: TabNote | None = None
    for note in bar:
        shared = min(note.start + note.length, end) - max(note.start, start)
        if note.grace or shared <= 0:
            continue
        weights[note.midi % 12] += float(shared / (end - start)) * (
            1.0 if note.start >= start else 0.7
        )
        if note.part == "bass" and (lowest is None or note.midi < lowest.midi):
            lowest = note
    total = sum(weights)
    if not total:
        return None
    if lowest is not None:
        weights[lowest.midi % 12] *= BOTTOM
    best: tuple[float, int, str] | None = None
    for root in range(12):
        for kind in _NAMED:
            tones = {(root + step) % 12 for step in TRIADS[kind]}
            inside = sum(weights[tone] for tone in tones)
            worth = inside - (sum(weights) - inside) - _LEAST_LIKED[kind] * total
            worth -= 0.1 * total * sum(weights[tone] == 0 for tone in tones)
            if lowest is not None:
                worth += 0.4 * total * (lowest.midi % 12 == root)
            if best is None or worth > best[0] + 1e-9:
                best = (worth, root, kind)
    assert best is not None
    root_name = keys.note_name(60 + best[1], signature)
    return root_name + best[2], root_name


def made_of(tune: Tune, bars: Sequence[TabBar], key: KeyName, unsure: float = 0.8) -> MadeOf:
    """How the page is made."""
    written = tune.written_bars()

    def numbers(wanted: Sequence[int]) -> tuple[int, ...]:
        return tuple(sorted({written[index].number for index in wanted if written[index].number}))

    notes = [note for bar in bars for note in bar]
    kinds = Counter("grace note" if n.grace else n.technique for n in notes)
    return MadeOf(
        bass=bass_kind(tune, bars, key),
        walks=numbers([index for index, bar in enumerate(bars) if _walks(bar)]),
        held=numbers([index for index, bar in enumerate(bars) if _held_down(bar)]),
        stays=_stays(tune, bars),
        ornaments=sum(note.grace or note.technique is not None for note in notes),
        ornament_kinds={kind: kinds[kind] for kind in ORNAMENTS if kinds[kind]},
        inner=sum(note.part == "inner" and not note.grace for note in notes),
        least_sure=numbers(
            [
                index
                for index, bar in enumerate(bars)
                if any((note.confidence or 1.0) < unsure for note in bar)
            ]
        ),
    )


def bass_kind(tune: Tune, bars: Sequence[TabBar], key: KeyName) -> BassKind:
    """Drone, plain or moving."""
    main = set(pulse_of(tune).main)
    bass = [note for bar in bars for note in bar if note.part == "bass" and not note.grace]
    if not bass:
        return "none"
    tonic = keys.pitch_class(key.tonic)
    home = sum(n.fret == 0 and n.midi % 12 in (tonic, (tonic + 7) % 12) for n in bass)
    if home >= NEARLY_ALL * len(bass):
        return "drone"
    on_beats = sum(note.start in main for note in bass)
    return "plain" if on_beats >= NEARLY_ALL * len(bass) else "moving"


def _walks(bar: TabBar) -> bool:
    line = [n.midi for n in sorted(bar, key=lambda n: n.start) if n.part == "bass" and not n.grace]
    steps = [0 < abs(b - a) <= 2 for a, b in pairwise(line)]
    return any(one and two for one, two in pairwise(steps))


def _stays(tune: Tune, bars: Sequence[TabBar]) -> tuple[Stay, ...]:
    where: dict[tuple[int, int, int], set[int]] = {}
    for bar, written in zip(bars, tune.written_bars(), strict=True):
        for note in _held_down(bar) if written.number else ():
            where.setdefault((note.finger, note.string, note.fret), set()).add(written.number)
    found = [Stay(*hold, tuple(sorted(numbers))) for hold, numbers in where.items()]
    return tuple(sorted(found, key=lambda one: (-len(one.bars), one.bars, one.string)))


def _held_down(bar: TabBar) -> list[TabNote]:
    """The fretted notes of bass and inner voices that last while another note is fretted."""
    return [
        low
        for low in bar
        if low.fret
        and not low.grace
        and low.part != "melody"
        and any(low.start < n.start < low.start + low.length and n.fret for n in bar)
    ]
