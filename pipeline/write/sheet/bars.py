"""The bars of a sheet: the records that every writer of notes takes."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from liltwright.tab import Setup
from liltwright.tune import KeyName
from liltwright.write.sheet.voices import SheetNote, Voice


@dataclass(frozen=True, slots=True)
class SheetBar:
    """One printed bar."""

    number: int
    """As printed; 0 for a pick-up."""
    length: Fraction
    offset: Fraction
    """Where in a full bar this one begins; above 0 only for a pick-up."""
    voices: tuple[Voice, ...]
    sounding: tuple[SheetNote, ...]
    """Every note that begins in the bar, with its real length (start from the bar's beginning)."""
    chords: tuple[tuple[Fraction, str], ...] = ()
    part: str = ""
    """Name of the part that begins with this bar."""
    opens_repeat: bool = False
    closes_repeat: int = 0
    """Times the part is played when an end-repeat sign closes the bar."""
    ending: tuple[int, ...] = ()
    """Times through of the ending that begins here."""
    ends_ending: bool = False
    double_bar: bool = False
    last: bool = False
    heading: str = ""
    """Words above the bar: the round of a performance."""
    dynamic: str = ""
    written: int = -1
    """Index into Tune.written_bars(); -1 for a closing chord."""
    rings_on: bool = False
    """Whether a note may ring over the bar line after it."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A page of music: the bars and what stands at its head."""

    name: str
    """"tune", a layer's name or "performance"."""
    title: str
    tune_type: str
    meter: str
    beat: Fraction
    beats_per_minute: float
    key: KeyName
    signature: int
    swing: float
    bars: tuple[SheetBar, ...]
    setup: Setup | None = None
    cautions: tuple[str, ...] = ()

    @property
    def full(self) -> Fraction:
        """Length of a full bar."""
        return Fraction(self.meter)
