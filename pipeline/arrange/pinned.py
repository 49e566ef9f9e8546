"""The user's pins on one tune and setup: what the search may choose, and which pin forbids all.

Task: turn pins into masks over melody states and bass places, into chords and kept bars.
In:   Pins (liltwright.pins), the Tune, the Setup, the arrangement made before where bars are kept.
Out:  Pinned: asked by the timeline, the tables, the layers.
Method: a pin narrows what the exact search may choose from, so that what it finds is the best
    arrangement that respects every pin. Where nothing is left, a smallest set of pins that cannot
    stand together is found by halving (Junker 2004), each test being the exact search itself.
References: Junker 2004, QUICKXPLAIN: preferred explanations and relaxations for over-constrained
    problems, AAAI.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from liltwright.arrange.chords import parse_symbol, transpose_symbol
from liltwright.errors import UsageError
from liltwright.guitar.fretboard import open_midi
from liltwright.guitar.states import States
from liltwright.limits import short
from liltwright.pins import Pin, parse_pin
from liltwright.tab import Arrangement, Setup, TabNote
from liltwright.tune import Tune, TypedChord, WrittenBar

Held = tuple[int, int, int]
"""String, fret and finger."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A pin with the written bars that it means, and where in them (None: anywhere)."""

    pin: Pin
    bars: frozenset[int]
    start: Fraction | None

    def covers(self, bar: int, start: Fraction) -> bool:
        """Whether the pin speaks of this place."""
        return bar in self.bars and self.start in (None, start)


@dataclass(frozen=True, slots=True)
class Pinned:
    """Every pin in its place, and the bars that stay as they are."""

    placed: tuple[Placed, ...] = ()
    earlier: Arrangement | None = None
    chords: tuple[TypedChord, ...] = ()
    """As the tune is written."""

    def of_kind(self, *kinds: str) -> tuple[Placed, ...]:
        """The pins of some kinds."""
        return tuple(one for one in self.placed if one.pin.kind in kinds)

    @property
    def kept(self) -> frozenset[int]:
        """Written bars that stay as they are."""
        return frozenset().union(*(one.bars for one in self.of_kind("keep")))

    @property
    def own_bass(self) -> frozenset[int]:
        """Written bars in which the user has a say about the bass."""
        return frozenset().union(*(one.bars for one in self.of_kind("bass")))

    def bass_places(self) -> frozenset[tuple[int, Fraction]]:
        """Where the user wants a bass note: written bar and start."""
        pins = self.of_kind("bass")
        return frozenset((bar, p.start) for p in pins if p.start is not None for bar in p.bars)

    def fretted_bass(self) -> tuple[Pin, ...]:
        """Pins that name the bass note itself, so that it need not be of the chord."""
        return tuple(p.pin for p in self.of_kind("bass") if p.pin.fret is not None)

    def forbids(self, bar: int, start: Fraction, held: Held) -> bool:
        """Whether a pin forbids a note held so."""
        return any(
            one.covers(bar, start) and one.pin.meets(*held) for one in self.of_kind("forbid")
        )

    def names_bass(self, bar: int, start: Fraction) -> bool:
        """Whether a pin names the bass note itself here."""
        pins = self.of_kind("bass")
        return any(one.covers(bar, start) and one.pin.fret is not None for one in pins)

    def bass_mask(
        self, bar: int, start: Fraction, held: np.ndarray, moving: bool
    ) -> np.ndarray | None:
        """Which of the ways may be struck, shape (ways,); None where no pin speaks of it.

        moving : whether it is the bass of plain and moving layer, not the drone
        """
        mask = np.ones(len(held), dtype=bool)
        spoken = False
        for one in self.of_kind("forbid", "no bass", *(("bass",) if moving else ())):
            if one.covers(bar, start):
                met = _met(one.pin, held)  # all of them where the pin is "no bass"
                mask &= met if one.pin.kind == "bass" else ~met
                spoken = True
        return mask if spoken else None

    def kept_note(self, bar: int, start: Fraction) -> Held | None:
        """How the arrangement made before holds a melody note of a kept bar."""
        if self.earlier is None or bar not in self.kept:
            return None
        note = _melody_note(self.earlier, bar, start)
        return None if note is None else (note.string, note.fret, note.finger)

    def states(self, table: States, bar: int, start: Fraction, found: np.ndarray) -> np.ndarray:
        """The states of a melody note that the pins leave."""
        held = np.stack([table.string[found], table.fret[found], table.finger[found]], 1)
        mask = np.ones(len(found), dtype=bool)
        for one in self.of_kind("note", "forbid"):
            if one.covers(bar, start):
                met = _met(one.pin, held)
                mask &= met if one.pin.kind == "note" else ~met
        kept = self.kept_note(bar, start)
        if kept is not None:
            mask &= (held == np.array(kept)).all(axis=1)
        return found[mask]

    def only(self, placed: Iterable[Placed]) -> Pinned:
        """The same with some of the pins alone."""
        return replace(self, placed=tuple(placed))


def _met(pin: Pin, held: np.ndarray) -> np.ndarray:
    """Which of the ways, shape (n, 3), are what the pin names."""
    met = np.ones(len(held), dtype=bool)
    for column, named in enumerate((pin.string, pin.fret, pin.finger)):
        if named is not None:
            met &= held[:, column] == named
    return met


# ---------------------------------------------------------------- in their places


def pinned_of(
    texts: Sequence[str], tune: Tune, setup: Setup, earlier: Arrangement | None = None
) -> Pinned:
    """The pins in their places.

    earlier : the arrangement that kept bars are taken from
    Raises UsageError for a pin that cannot be read, or whose bar or note is not there.
    """
    placed = tuple(_placed(parse_pin(text), tune) for text in dict.fromkeys(texts))
    kept = [one for one in placed if one.pin.kind == "keep"]
    for one in kept:
        _check_kept(one, tune, setup, earlier)
    chords = [
        TypedChord(bar, one.start or Fraction(0), one.pin.symbol)
        for one in placed
        if one.pin.kind == "chord"
        for bar in sorted(one.bars)
    ]
    if earlier is not None and kept:
        bars = frozenset().union(*(one.bars for one in kept))
        chords += _earlier_chords(earlier, bars, tune)
    return Pinned(placed, earlier if kept else None, tuple(chords))


def _placed(pin: Pin, tune: Tune) -> Placed:
    written = tune.written_bars()
    if pin.where is None:
        return Placed(pin, frozenset(range(len(written))), None)
    bars, start = pin.where.bars(tune), pin.where.start
    if not bars:
        numbers = [bar.number for bar in written if bar.number]
        raise UsageError(
            f'Pin "{short(pin.text)}" names a bar that the tune does not have: its parts are '
            f"{', '.join(dict.fromkeys(part.name for part in tune.parts))}, its bars "
            f"{min(numbers, default=0)} to {max(numbers, default=0)}."
        )
    if pin.kind == "chord":
        parse_symbol(pin.symbol)
    if pin.kind in ("bass", "chord") and all(written[bar].kind == "pickup" for bar in bars):
        raise UsageError(
            f'Pin "{short(pin.text)}" speaks of a pick-up, under which there is no {pin.kind}: '
            "name a full bar."
        )
    if start is not None:
        _check_start(pin, start, [written[bar] for bar in bars])
    return Placed(pin, frozenset(bars), start)


def _check_start(pin: Pin, start: Fraction, bars: Sequence[WrittenBar]) -> None:
    if pin.kind in ("bass", "chord", "no bass"):
        if any(start >= bar.length for bar in bars):
            raise UsageError(
                f'Pin "{short(pin.text)}" lies beyond the end of its bar, which is '
                f"{min(bar.length for bar in bars)} of a whole note long: name a place in it."
            )
        return
    starts = [[note.start for note in bar.notes] for bar in bars]
    if not any(start in mine for mine in starts):
        have = ", ".join(str(one) for one in starts[0]) or "none"
        raise UsageError(
            f'Pin "{short(pin.text)}": no melody note begins at {start} there; those of the bar '
            f"begin at {have}."
        )


def _check_kept(one: Placed, tune: Tune, setup: Setup, earlier: Arrangement | None) -> None:
    which = f'Pin "{short(one.pin.text)}"'
    if earlier is None:
        raise UsageError(
            f"{which} keeps bars of an arrangement made before, and there is none: arrange once "
            "without it, then again into the same folder."
        )
    mine = (setup.strings_midi, setup.capo, setup.transpose)
    theirs = (earlier.setup.strings_midi, earlier.setup.capo, earlier.setup.transpose)
    if mine != theirs:
        raise UsageError(
            f"{which} keeps bars in {earlier.setup.tuning}, capo {earlier.setup.capo}, but this "
            f"is {setup.tuning}, capo {setup.capo}: name that tuning, or take the pin away."
        )
    written = tune.written_bars()
    whole = bool(earlier.layers) and all(len(x.bars) == len(written) for x in earlier.layers)
    for bar in sorted(one.bars):
        if not whole or not _same_bar(written[bar], earlier, bar):
            raise UsageError(
                f"{which}: bar {written[bar].number} has another melody now than in the "
                "arrangement made before, so it cannot stay as it is; take the pin away."
            )


def _same_bar(written: WrittenBar, earlier: Arrangement, bar: int) -> bool:
    """Whether the arrangement has the bar's melody, and every note of it lies on the guitar."""
    setup = earlier.setup
    for note in (note for layer in earlier.layers for note in layer.bars[bar]):
        if not (1 <= note.string <= 6 and 0 <= note.fret <= 24 and note.length > 0):
            return False
        if open_midi(setup.strings_midi, note.string) + setup.capo + note.fret != note.midi:
            return False
    found = [(note, _melody_note(earlier, bar, note.start)) for note in written.notes]
    return all(tab is not None and tab.midi == note.midi + setup.transpose for note, tab in found)


def _melody_note(arrangement: Arrangement, bar: int, start: Fraction) -> TabNote | None:
    notes = arrangement.layers[0].bars[bar]
    return next((n for n in notes if n.part == "melody" and not n.grace and n.start == start), None)


def _earlier_chords(earlier: Arrangement, bars: frozenset[int], tune: Tune) -> list[TypedChord]:
    """The chords of kept bars, in the key of the written tune."""
    down = -earlier.setup.transpose
    layer = next((one for one in earlier.layers if one.name == "moving-bass"), earlier.layers[-1])
    return [
        TypedChord(chord.bar, chord.start, transpose_symbol(chord.symbol, down, tune.signature))
        for chord in layer.chords
        if chord.bar in bars
    ]


# ---------------------------------------------------------------- when nothing is left


def blamed(pinned: Pinned, impossible: Callable[[Pinned], bool]) -> tuple[Placed, ...]:
    """A smallest set of pins that leaves nothing; empty when it is not the pins.

    impossible : whether nothing is left under some of the pins
    """
    if impossible(pinned.only(())):
        return ()

    def within(base: list[Placed], added: bool, rest: list[Placed]) -> list[Placed]:
        if added and impossible(pinned.only(base)):
            return []
        if len(rest) == 1:
            return rest
        half = len(rest) // 2
        one, two = rest[:half], rest[half:]
        second = within([*base, *one], bool(one), two)
        first = within([*base, *second], bool(second), one)
        return first + second

    able = list(pinned.of_kind("note", "forbid", "bass", "keep"))
    return tuple(within([], False, able)) if able else ()


def refusal(guilty: Sequence[Placed], setup: Setup, why: str = "") -> UsageError:
    """The sentence that says which pins cannot be played."""
    names = " and ".join(f'"{short(one.pin.text, 60)}"' for one in guilty)
    where = f"{setup.tuning}, {f'capo {setup.capo}' if setup.capo else 'no capo'}"
    if len(guilty) == 1:
        return UsageError(
            f"Pin {names} cannot be played in {where}: "
            f"{why or 'no hand can hold that here'}; change it or take it away."
        )
    return UsageError(
        f"Pins {names} cannot be played together in {where}: "
        f"{why or 'no hand can do all of that'}; take one of them away."
    )
