"""The same arrangement in another key, and the same tune on two setups side by side.

Task: move an arrangement with its capo and say what room that leaves; compare two arrangements
    bar by bar.
In:   a Tune and Arrangements of it.
Out:  a moved Arrangement with its Room; a Comparison.
Method: shapes stay when tune and capo move together: only sounding pitches, chord names and the
    setup change. Bars are compared by what the hands do in them (grades.py).
References: standard equal-tempered geometry for the millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from liltwright import keys
from liltwright.arrange.chords import parse_symbol, transpose_symbol
from liltwright.arrange.grades import BarGrade, grade_bar
from liltwright.bassbeats import pulse_of
from liltwright.counting import count
from liltwright.errors import UsageError
from liltwright.guitar.fretboard import fret_mm, last_fret
from liltwright.guitar.player import Player
from liltwright.tab import Arrangement, Chord, Layer, LayerName, Setup, TabBar
from liltwright.tune import Tune

Easier = Literal["first", "second", "neither"]


@dataclass(frozen=True, slots=True)
class Room:
    """What is left of the neck above the tune."""

    frets: int
    """Frets between the highest one used and the last in reach."""
    first_fret_mm: float
    """Width of the first fret above the capo."""
    sentence: str


@dataclass(frozen=True, slots=True)
class BarPair:
    """One bar on two setups."""

    number: int
    """As printed; 0 for a pick-up."""
    ending: tuple[int, ...]
    """The times through for which this bar is played; empty where it is played every time."""
    first: TabBar
    second: TabBar
    first_grade: BarGrade
    second_grade: BarGrade
    first_bass_beats: int
    second_bass_beats: int
    """Main beats on which a bass is struck."""
    easier: Easier


@dataclass(frozen=True, slots=True)
class Comparison:
    """One layer of a tune on two setups, bar by bar like Tune.written_bars()."""

    layer: LayerName
    first: Setup
    second: Setup
    bars: tuple[BarPair, ...]
    summary: tuple[str, ...]


def move_with_capo(
    arrangement: Arrangement, semitones: int, *, player: Player | None = None
) -> tuple[Arrangement, Room]:
    """The same shapes, sounding `semitones` higher (or lower, when negative) by the capo alone.

    Raises UsageError when the capo would leave the neck, or a note its last fret.
    """
    player = player or Player()
    setup = arrangement.setup
    capo = setup.capo + semitones
    if capo < 0:
        raise UsageError(
            f"The capo is at fret {setup.capo} and cannot go {-semitones} down; move the tune "
            f"{count(setup.capo, 'semitone')} at most, or tune every string down."
        )
    if capo > player.highest_capo:
        raise UsageError(
            f"The capo would lie at fret {capo}, above the player's highest, {player.highest_capo}."
        )
    sounds_in = keys.transpose_key(setup.sounds_in, semitones)
    moved = replace(setup, capo=capo, transpose=setup.transpose + semitones, sounds_in=sounds_in)
    room = room_left(arrangement, moved, player)
    if room.frets < 0:
        raise UsageError(
            f"With the capo at fret {capo} the tune goes {count(-room.frets, 'fret')} beyond the "
            "last one in reach."
        )
    signature = keys.signature_of(sounds_in.tonic, sounds_in.mode)
    layers = tuple(_moved_layer(layer, semitones, signature) for layer in arrangement.layers)
    lines = tuple(_moved_layer(line, semitones, signature) for line in arrangement.lines)
    return replace(arrangement, setup=moved, layers=layers, lines=lines), room


def room_left(arrangement: Arrangement, setup: Setup, player: Player) -> Room:
    """Room above the highest fret that the arrangement uses, with the capo where `setup` has it."""
    used = max(
        (note.fret for layer in arrangement.layers for bar in layer.bars for note in bar),
        default=0,
    )
    last = last_fret(setup.capo, body_fret=player.body_fret, past_body=player.past_body)
    width = fret_mm(setup.capo + 1, player.scale_mm) - fret_mm(setup.capo, player.scale_mm)
    frets = last - used
    where = f"capo {setup.capo}" if setup.capo else "no capo"
    return Room(
        frets,
        round(width, 1),
        f"In {setup.sounds_in.tonic} {setup.sounds_in.mode} with {where}, the highest fret used "
        f"is {used} of {last}: {frets} to spare; the first fret is {width:.0f} mm wide.",
    )


def _moved_layer(layer: Layer, semitones: int, signature: int) -> Layer:
    chords = []
    for chord in layer.chords:
        symbol = transpose_symbol(chord.symbol, semitones, signature)
        root = keys.note_name(60 + parse_symbol(symbol).root, signature)
        chords.append(Chord(chord.bar, chord.start, symbol, root))
    bars = tuple(
        tuple(replace(note, midi=note.midi + semitones) for note in bar) for bar in layer.bars
    )
    return replace(layer, bars=bars, chords=tuple(chords))


def compare(
    tune: Tune,
    first: Arrangement,
    second: Arrangement,
    *,
    layer: LayerName = "moving-bass",
    player: Player | None = None,
) -> Comparison:
    """Two arrangements of one tune, bar by bar.

    Raises UsageError when one of them has no such layer.
    """
    hand = (player or Player()).hand
    try:
        one, two = first.layer(layer), second.layer(layer)
    except KeyError:
        raise UsageError(f'One of the two arrangements has no layer "{layer}".') from None
    beats = pulse_of(tune).main
    pairs = []
    for index, written in enumerate(tune.written_bars()):
        grades = [
            grade_bar(side.bars[index], written.length, tune, arrangement.setup, hand)
            for side, arrangement in ((one, first), (two, second))
        ]
        struck = [
            sum(note.part == "bass" and note.start in beats for note in side.bars[index])
            for side in (one, two)
        ]
        pairs.append(
            BarPair(
                written.number,
                tune.parts[written.part].endings[written.ending].times
                if written.kind == "ending"
                else (),
                one.bars[index],
                two.bars[index],
                grades[0],
                grades[1],
                struck[0],
                struck[1],
                _easier(grades[0], grades[1]),
            )
        )
    return Comparison(
        layer, first.setup, second.setup, tuple(pairs), _summary(pairs, first, second)
    )


def _easier(one: BarGrade, two: BarGrade) -> Easier:
    """By moves first, then by the stretch; a tenth of either is no difference."""
    for a, b in ((one.moves, two.moves), (one.stretch_mm, two.stretch_mm)):
        if max(a, b) > 1.1 * min(a, b):
            return "first" if a < b else "second"
    return "neither"


def _summary(pairs: list[BarPair], first: Arrangement, second: Arrangement) -> tuple[str, ...]:
    names = []
    for arrangement in (first, second):
        setup = arrangement.setup
        names.append(f"{setup.tuning}{f', capo {setup.capo}' if setup.capo else ''}")
    ahead = [sum(pair.easier == side for pair in pairs) for side in ("first", "second")]
    moves = [sum(getattr(p, f"{s}_grade").moves for p in pairs) for s in ("first", "second")]
    beats = [sum(getattr(p, f"{s}_bass_beats") for p in pairs) for s in ("first", "second")]
    widest = [
        max((getattr(p, f"{s}_grade").stretch_mm for p in pairs), default=0.0)
        for s in ("first", "second")
    ]
    return (
        f"{names[0]} is easier in {count(ahead[0], 'bar')}, "
        f"{names[1]} in {ahead[1] or 'no'}, of {len(pairs)}.",
        *(
            f"{name}: {count(moves[i], 'move')} of the hands in all, "
            f"widest stretch {widest[i]:.0f} mm, bass on {count(beats[i], 'main beat')}."
            for i, name in enumerate(names)
        ),
    )


def bar_label(pair: BarPair) -> str:
    """The number of a bar as printed, with the times through of its ending: "8 (1)", "-"."""
    times = f" ({','.join(map(str, pair.ending))})" if pair.ending else ""
    return f"{pair.number or '-'}{times}"


def cell(bar: TabBar) -> str:
    """Notes in order, those struck together joined: "6/0+2/3 1/0" (string/fret)."""
    starts = sorted({note.start for note in bar})
    return " ".join(
        "+".join(f"{note.string}/{note.fret}" for note in bar if note.start == start)
        for start in starts
    )
