"""What every file reader hands to the folding: bars in the order they stand on the page.

A reader (ABC, MusicXML, MIDI) turns its format into ReadBars; folding.py turns
those into parts with pick-ups, repeats and endings.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from liltwright.tune import Bar

PIN_NOTE, PIN_BAR = "@note ", "@bar "
"""Before the wish of a pin for the place over which it stands, or for the bar."""


def is_pin(symbol: str) -> bool:
    """Whether what stands over a bar is a pin and no chord symbol."""
    return symbol.startswith((PIN_NOTE, PIN_BAR))


@dataclass(frozen=True, slots=True)
class ReadBar:
    """What stands between two bar lines, with what those bar lines say."""

    notes: Bar
    """Starts count from the beginning of this bar, also in an incomplete one."""
    length: Fraction
    """Sum of everything in the bar, rests included, as a fraction of a whole note."""
    opens: bool = False
    """A part begins here: a start-repeat sign or a part label."""
    closes: bool = False
    """A part ends here: a double bar or an end-repeat sign."""
    times: int = 1
    """Times in all that the part is played when an end-repeat sign closes this bar (else 1)."""
    ending: tuple[int, ...] = ()
    """The times through for which an ending begins here."""
    label: str = ""
    """The letter of the part that begins here, where the page names it."""
    chords: tuple[tuple[Fraction, str], ...] = ()
    """Chord symbols over the bar: where from the beginning of the bar, and the symbol.

    Pins (liltwright.pins) stand among them, after PIN_NOTE or PIN_BAR.
    """

    def moved(self, offset: Fraction) -> ReadBar:
        """The same with everything `offset` later (a pick-up counted from its full bar's line)."""
        if not offset:
            return self
        return replace(
            self,
            notes=tuple(replace(note, start=note.start + offset) for note in self.notes),
            chords=tuple((start + offset, symbol) for start, symbol in self.chords),
        )

    def joined(self, after: ReadBar) -> ReadBar:
        """This bar and the next as one."""
        second = after.moved(self.length)
        return replace(
            self,
            notes=self.notes + second.notes,
            length=self.length + after.length,
            closes=after.closes,
            times=after.times,
            chords=self.chords + second.chords,
        )
