"""The records of a tune, heard and written. Frozen; tuples inside; they mirror the written JSON.

What comes after the tune, setups, tab and arrangements, is in tab.py.

Conventions, everywhere:
  *_s          seconds from the start of the recording
  midi         MIDI note number, A4 = 69; a float where heard, an int where written
  start,length exact fractions of a whole note; `start` counts from the bar line
  bars         a bar is a tuple of notes. A note may ring over the bar line: its length then
               runs past the end of the bar (writers split it and tie it). No note: a rest.
  strings      1 is the highest-pitched string, 6 the lowest; `strings_midi` runs low to high

The tune in `parts` and `bars_heard` is written where a tune book would print it (about D4 to
B5); `octave_shift` says how many octaves that lies above what was heard. `Setup.transpose`
counts from the written tune to the arrangement as it sounds.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal, get_args

from liltwright import models

TuneType = str
"""One of TUNE_TYPES."""
Mode = Literal["major", "mixolydian", "dorian", "minor", "lydian", "phrygian"]
Ornament = Literal["cut", "tap", "roll", "triplet", "grace", "slide"]

TUNE_TYPES: tuple[TuneType, ...] = tuple(models.read_json("dances/dances.json"))
"""The rows of models/dances: whoever adds a row adds a type."""
MODES: tuple[Mode, ...] = get_args(Mode)


# ---------------------------------------------------------------- what was heard


@dataclass(frozen=True, slots=True)
class Restrike:
    """A moment inside a note at which the ear was not sure that it is not struck again."""

    at_s: float
    belief: float
    """0..1, in a beginning of a note at this moment."""


@dataclass(frozen=True, slots=True)
class NoteEvent:
    """One note as performed, unquantised."""

    onset_s: float
    offset_s: float
    midi: float
    confidence: float = 1.0
    role: Literal["note", "ornament"] = "note"
    ornament: Ornament | None = None
    """What kind of ornament this note is or, on a plain note, which ornament decorates it."""
    again: tuple[Restrike, ...] = ()
    """Where it may be two notes, in order; of one player only."""

    def __post_init__(self) -> None:
        """Refuse notes that end before they begin."""
        if not self.offset_s > self.onset_s:
            raise ValueError(
                f"note ends at {self.offset_s} s, not after its onset {self.onset_s} s"
            )


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A stretch of the recording that is not the tune, and what it seems to be."""

    start_s: float
    end_s: float
    why: str


@dataclass(frozen=True, slots=True)
class Source:
    """The file that a tune came from; duration 0 for a written tune."""

    file: str
    sha256: str
    duration_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Heard:
    """Everything that `hear` found in one recording: notes in order of onset, never overlapping."""

    source: Source
    notes: tuple[NoteEvent, ...]
    tuning_offset_cents: float = 0.0
    """Concert pitch of the recording: cents above A = 440 Hz. Note pitches are given with it
    already taken out, so that a note in tune with the recording has a whole number."""
    left_out: tuple[LeftOut, ...] = ()
    warnings: tuple[str, ...] = ()
    """Sentences for the user, e.g. that several instruments seem to play at once."""
    band: bool = False
    """The notes are the lead of several that play at once."""


# ---------------------------------------------------------------- the written tune


@dataclass(frozen=True, slots=True)
class ScoreNote:
    """One plain note of the tune on the page."""

    midi: int
    start: Fraction
    length: Fraction
    ornament: Ornament | None = None
    graces: tuple[int, ...] = field(default=(), kw_only=True)
    """Grace notes written before it, as semitones from the note, in order."""

    def __post_init__(self) -> None:
        """Refuse notes without length or before their bar."""
        if self.length <= 0 or self.start < 0:
            raise ValueError(f"a note cannot start at {self.start} with length {self.length}")


Bar = tuple[ScoreNote, ...]


@dataclass(frozen=True, slots=True)
class HeardBar:
    """One bar as performed, plain notes only."""

    start_s: float
    end_s: float
    notes: Bar
    confidence: float = 1.0


@dataclass(frozen=True, slots=True)
class Ending:
    """The closing bars of a part for the given times through (first is 1)."""

    times: tuple[int, ...]
    bars: tuple[Bar, ...]
    bar_lengths: tuple[Fraction, ...] = ()
    """As in Part.bar_lengths."""


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the tune as a tune book prints it."""

    name: str
    repeats: int
    """How often the part is played in all: 2 for a part between repeat signs."""
    pickup: Bar = ()
    """Starts count from the bar line that the full bar would have."""
    bars: tuple[Bar, ...] = ()
    endings: tuple[Ending, ...] = ()
    bar_lengths: tuple[Fraction, ...] = ()
    """Length of each of `bars`; empty when every bar is as long as the metre says. The last bar
    may be short by the pick-up that follows without being listed here."""


@dataclass(frozen=True, slots=True)
class KeyName:
    """A tonic spelled as the key wants it, and a mode."""

    tonic: str
    mode: Mode


@dataclass(frozen=True, slots=True)
class TypeCandidate:
    """A tune type with its probability."""

    value: TuneType
    probability: float


@dataclass(frozen=True, slots=True)
class KeyCandidate:
    """A tonic and mode with their probability."""

    tonic: str
    mode: Mode
    probability: float


@dataclass(frozen=True, slots=True)
class Candidates:
    """Ranked estimates, best first."""

    tune_type: tuple[TypeCandidate, ...] = ()
    key: tuple[KeyCandidate, ...] = ()


@dataclass(frozen=True, slots=True)
class Doubt:
    """A performed bar to check by ear. Bars count from 1; an incomplete pick-up bar is 0."""

    bar: int
    start_s: float
    why: str


@dataclass(frozen=True, slots=True)
class TypedChord:
    """A chord the user wrote over the tune: `bar` indexes Tune.written_bars(), from 0."""

    bar: int
    start: Fraction
    symbol: str


@dataclass(frozen=True, slots=True)
class WrittenBar:
    """One bar of the printed tune with its place in the form; see Tune.written_bars."""

    part: int
    kind: Literal["pickup", "bar", "ending"]
    notes: Bar
    length: Fraction
    """Nominal length of the bar; for a pick-up, its own length."""
    ending: int = 0
    """Index into Part.endings when kind is "ending"."""
    number: int = 0
    """Bar number as printed: the first full bar is 1, a pick-up has the number 0."""


@dataclass(frozen=True, slots=True)
class Tune:
    """Everything that is known of one tune; the content of tune.json."""

    source: Source
    tune_type: TuneType
    meter: str
    beat: Fraction
    beats_per_minute: float
    tonic: str
    mode: Mode
    signature: int
    parts: tuple[Part, ...]
    form: str
    rounds: int = 1
    format: Literal["liltwright-tune"] = "liltwright-tune"
    version: Literal[1] = 1
    tuning_offset_cents: float = 0.0
    heard: tuple[NoteEvent, ...] = ()
    candidates: Candidates = field(default_factory=Candidates)
    bars_heard: tuple[HeardBar, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    title: str = ""
    octave_shift: int = 0
    swing: float = 1.0
    """Long to short of a pair of short notes (or first to second of three) as played; 1 is even."""
    overridden: dict[str, str] = field(default_factory=dict)
    """What the user fixed instead of the program, by option name."""
    left_out: tuple[LeftOut, ...] = ()
    warnings: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    """Sentences about the tune itself, e.g. that a pentatonic tune leaves the mode open."""
    chords_typed: tuple[TypedChord, ...] = ()
    pins: tuple[str, ...] = ()
    """What the user's hand fixes in every arrangement of the tune; see pins.py."""

    @property
    def bar_length(self) -> Fraction:
        """Length of a full bar as a fraction of a whole note: "6/8" gives 3/4."""
        return Fraction(self.meter)

    def written_bars(self) -> tuple[WrittenBar, ...]:
        """Every bar as printed, repeats not expanded: of each part its pick-up, bars, endings."""
        return tuple(_written_bars(self))

    def performed_order(self) -> tuple[int, ...]:
        """One round: indices into written_bars() in playing order, repeats and endings taken."""
        written = self.written_bars()
        order: list[int] = []
        for index, part in enumerate(self.parts):
            mine = [i for i, bar in enumerate(written) if bar.part == index]
            body = [i for i in mine if written[i].kind != "ending"]
            for time in range(1, part.repeats + 1):
                order += body
                order += [
                    i
                    for i in mine
                    if written[i].kind == "ending" and time in part.endings[written[i].ending].times
                ]
        return tuple(order)


def _written_bars(tune: Tune) -> Iterator[WrittenBar]:
    full = tune.bar_length
    number = 1
    for index, part in enumerate(tune.parts):
        if part.pickup:
            length = full - part.pickup[0].start
            yield WrittenBar(index, "pickup", part.pickup, length)
        lengths = part.bar_lengths or (full,) * len(part.bars)
        for notes, length in zip(part.bars, lengths, strict=True):
            yield WrittenBar(index, "bar", notes, length, number=number)
            number += 1
        after = number
        for which, ending in enumerate(part.endings):
            lengths = ending.bar_lengths or (full,) * len(ending.bars)
            for offset, (notes, length) in enumerate(zip(ending.bars, lengths, strict=True)):
                yield WrittenBar(index, "ending", notes, length, which, number + offset)
                after = max(after, number + offset + 1)
        number = after
