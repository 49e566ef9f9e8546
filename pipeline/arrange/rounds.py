"""Rounds: the plan of a performance, and the performance written out bar for bar.

Task: turn "melody drone moving-bass" into rounds and play the tune through them.
In:   plan text; a Tune with its Arrangement.
Out:  Round records; a tuple of PerformedBar, in playing order.
Method: each round takes the bars of its layer in Tune.performed_order(). The last round ends on
    a chord of the setup that rings for one bar, in a bar of its own.
References: dynamics by their usual Italian letters, as in MusicXML 4.0 (p, mp, mf, f).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from typing import Literal, get_args

from liltwright import keys
from liltwright.errors import UsageError
from liltwright.guitar.fretboard import Place, open_midi
from liltwright.guitar.hand import Grip, Hand, grips
from liltwright.pins import parse_pin
from liltwright.tab import (
    LAYER_NAMES,
    LINE_NAMES,
    Arrangement,
    Dynamic,
    Layer,
    LayerName,
    Round,
    RoundPart,
    TabBar,
    TabNote,
)
from liltwright.tune import Tune

DYNAMICS: tuple[Dynamic, ...] = get_args(Dynamic)
GROWING: tuple[Dynamic, ...] = ("mp", "mf", "f")
MAX_ROUNDS = 12  # longer than any session plays one tune
CLOSING_FRETS = 5
"""The closing chord stays this close to the nut or capo, where every hand can hold it."""
UPPER_PLUCKS: dict[int, Literal["i", "m", "a"]] = {3: "i", 2: "m", 1: "a"}


@dataclass(frozen=True, slots=True)
class PerformedBar:
    """One bar of a performance as it is played."""

    round: int
    """Counts from 1."""
    layer: LayerName
    dynamic: Dynamic
    written: int
    """Index into Tune.written_bars(); -1 for a bar of the lead-in or the closing chord."""
    length: Fraction
    """How long the bar lasts, as a fraction of a whole note."""
    notes: TabBar


def parse_plan(text: str) -> tuple[Round, ...]:
    """Read a plan: layer names in order, each with a dynamic if wished, "melody:p drone".

    After a / stands what one part does instead: "moving-bass:f/B=restless:mf". Without dynamics
    the rounds grow from mp to f. Raises UsageError.
    """
    words = text.replace(",", " ").split()
    if not 0 < len(words) <= MAX_ROUNDS:
        raise UsageError(
            f'"{text}" plans {len(words)} rounds; name 1 to {MAX_ROUNDS} layers, '
            "like: melody drone moving-bass."
        )
    return tuple(_round(word, place, len(words)) for place, word in enumerate(words))


def plan_text(rounds: tuple[Round, ...]) -> str:
    """The plan as one line that parse_plan reads."""
    return " ".join(
        "/".join(
            [
                f"{one.layer}:{one.dynamic}",
                *(f"{part.part}={part.layer}:{part.dynamic}" for part in one.parts),
            ]
        )
        for one in rounds
    )


def round_words(one: Round) -> str:
    """What a round does, in words: "moving-bass, B restless"."""
    parts = [f"{part.part} {part.layer}" for part in one.parts if part.layer != one.layer]
    return ", ".join([one.layer, *parts])


def _round(word: str, place: int, count: int) -> Round:
    grown = GROWING[min(place * len(GROWING) // count, 2)] if count > 1 else "mf"
    whole: tuple[LayerName, Dynamic] | None = None
    parts: list[RoundPart] = []
    for piece in word.split("/"):
        part, sign, what = piece.rpartition("=")
        layer, dynamic = _layer_and_dynamic(what)
        if not sign:
            if whole is not None:
                raise UsageError(
                    f'"{word}" names two layers for one round: say which part takes the other, '
                    "like moving-bass/B=drone."
                )
            whole = layer, dynamic or grown
        else:
            parts.append(RoundPart(part, layer, dynamic or (whole[1] if whole else grown)))
    layer, loud = whole or (parts[0].layer, parts[0].dynamic)
    return Round(layer, loud, tuple(parts))


def _layer_and_dynamic(word: str) -> tuple[LayerName, Dynamic | None]:
    name, _, dynamic = word.partition(":")
    layer = next((known for known in (*LAYER_NAMES, *LINE_NAMES) if known == name), None)
    if layer is None:
        raise UsageError(
            f'"{name}" is not a layer; the layers are {", ".join((*LAYER_NAMES, *LINE_NAMES))}.'
        )
    loud = next((known for known in DYNAMICS if known == dynamic), None)
    if dynamic and loud is None:
        raise UsageError(f'"{dynamic}" is not a dynamic; write one of {", ".join(DYNAMICS)}.')
    return layer, loud


def check_parts(rounds: Sequence[Round], tune: Tune) -> None:
    """Raise UsageError where a plan names a part that the tune does not have."""
    have = list(dict.fromkeys(part.name for part in tune.parts))
    for part in (part.part for one in rounds for part in one.parts):
        if part not in have:
            raise UsageError(
                f"The plan names part {part}, but the parts of this tune are {', '.join(have)}."
            )


def performance(tune: Tune, arrangement: Arrangement) -> tuple[PerformedBar, ...]:
    """The arrangement's rounds written out: lead-in, if any, rounds, and the closing chord.

    Raises UsageError when the plan names a layer that the arrangement does not have.
    """
    written = tune.written_bars()
    played = list(_lead_in(tune, arrangement))
    for number, one in enumerate(arrangement.rounds, start=1):
        for bar in tune.performed_order():
            name, dynamic = one.of(tune.parts[written[bar].part].name)
            layer = _layer_of(arrangement, name)
            played.append(
                PerformedBar(number, name, dynamic, bar, written[bar].length, layer.bars[bar])
            )
    if played:
        last = played[-1]
        chord = closing_chord(tune, arrangement)
        played.append(
            PerformedBar(last.round, last.layer, last.dynamic, -1, tune.bar_length, chord)
        )
    return tuple(played)


def _lead_in(tune: Tune, arrangement: Arrangement) -> Iterator[PerformedBar]:
    """The bars before the first round; the last leaves room for the pick-up."""
    order = tune.performed_order()
    first = tune.written_bars()[order[0]] if order else None
    pickup = first.length if first is not None and first.kind == "pickup" else Fraction(0)
    for place, bar in enumerate(arrangement.lead_in, start=1):
        room = pickup if place == len(arrangement.lead_in) else Fraction(0)
        one = arrangement.rounds[0]
        yield PerformedBar(1, one.layer, one.dynamic, -1, tune.bar_length - room, bar)


def _layer_of(arrangement: Arrangement, name: LayerName) -> Layer:
    try:
        return arrangement.layer(name)
    except KeyError:
        have = ", ".join(layer.name for layer in (*arrangement.layers, *arrangement.lines))
        raise UsageError(
            f'The plan asks for "{name}", but this arrangement has only {have}.'
        ) from None


def closing_chord(tune: Tune, arrangement: Arrangement) -> TabBar:
    """Tonic and fifth (third if it lies open) on up to four strings, root lowest, one bar long.

    Empty only when no string near the capo has the tonic for the thumb.
    """
    setup = arrangement.setup
    best = min(_closing_grips(arrangement), key=lambda found: found[0], default=None)
    if best is None:
        return ()
    _, places, grip = best
    return tuple(
        TabNote(
            part="bass" if place.string >= 4 else "inner",
            string=place.string,
            fret=place.fret,
            midi=open_midi(setup.strings_midi, place.string) + setup.capo + place.fret,
            start=Fraction(0),
            length=tune.bar_length,
            finger=finger,
            pluck=UPPER_PLUCKS.get(place.string, "p"),
        )
        for place, finger in zip(places, grip.fingers, strict=True)
    )


def _closing_grips(arrangement: Arrangement) -> Iterator[tuple[float, tuple[Place, ...], Grip]]:
    """Chords of the tonic with what they cost: fingers, missing strings, thirds, high basses.

    Nothing that the user forbids everywhere is in them.
    """
    setup = arrangement.setup
    pins = [parse_pin(text) for text in arrangement.pins]
    never = [pin for pin in pins if pin.kind == "forbid" and pin.where is None]
    tonic = keys.pitch_class(setup.sounds_in.tonic)
    third = (tonic + keys.scale_steps(setup.sounds_in.mode)[2]) % 12
    fifth = (tonic + 7) % 12

    def on(string: int, tones: set[int]) -> list[Place | None]:
        open_class = open_midi(setup.strings_midi, string) + setup.capo
        frets = range(CLOSING_FRETS + 1)
        return [Place(string, fret) for fret in frets if (open_class + fret) % 12 in tones]

    upper = [[*on(string, {tonic, third, fifth}), None] for string in (3, 2, 1)]
    for bass_string in (6, 5, 4):
        for choice in product(on(bass_string, {tonic}), *upper):
            places = tuple(place for place in choice if place is not None)
            held = [
                grip
                for grip in grips(places, capo=setup.capo, hand=Hand())
                if not any(
                    pin.meets(place.string, place.fret, finger)
                    for pin in never
                    for place, finger in zip(places, grip.fingers, strict=True)
                )
            ]
            if not held:
                continue
            pitches = [
                open_midi(setup.strings_midi, p.string) + setup.capo + p.fret for p in places
            ]
            classes = [pitch % 12 for pitch in pitches]
            cost = 3.0 * held[0].cost + 0.3 * classes.count(third) + 0.5 * (4 - len(places))
            cost += 0.4 * (fifth not in classes) + 0.1 * (6 - bass_string)
            cost += len(pitches) - len(set(pitches))
            yield cost, places, held[0]
