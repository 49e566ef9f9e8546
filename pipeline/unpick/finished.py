"""The record of a finished arrangement as a file holds it, before anyone knows what is what.

Task     one form for MusicXML, MIDI, ABC and text tablature
In       -
Out      Finished: bars in the order of the page, whose notes are FinishedNotes
Method   A FinishedNote is a ScoreNote with its place on the guitar and what the file says of its
         voice. So the bars go through the folding (pipeline/read/folding.py) like those of a tune,
         and tune and layers have the same parts, repeats and endings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import get_args

from liltwright.guitar.tunings import Strings
from liltwright.read.bars import ReadBar
from liltwright.read.written import Stated
from liltwright.tab import PartName, Technique
from liltwright.tune import ScoreNote, Source, TuneType

PARTS: tuple[PartName, ...] = get_args(PartName)
"""What a note can be; a voice of one of these names says so outright."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the user knows of a page; it goes before what the page says and what is guessed."""

    meter: str | None = None
    kind: TuneType | None = None
    strings: Strings | None = None
    """Open strings low to high, without the capo."""
    capo: int | None = None
    beats_per_minute: float | None = None


NOTHING = Known()


@dataclass(frozen=True, slots=True)
class FinishedNote(ScoreNote):
    """One note of the page; `midi` is as it sounds."""

    string: int = 0
    """1 (highest) to 6; 0 where the file does not say."""
    fret: int = 0
    """Counted from the capo."""
    voice: str = ""
    """What the file calls the note's voice: one of PARTS where that is what it is, or any name."""
    grace: bool = False
    technique: Technique | None = None
    finger: int = 0
    pluck: str = ""


def six_strings(strings_midi: Sequence[int]) -> Strings:
    """Six open strings as the guitar's records hold them."""
    low, *middle, high = strings_midi
    fifth, fourth, third, second = middle
    return low, fifth, fourth, third, second, high


@dataclass(frozen=True, slots=True)
class Finished:
    """A finished arrangement as read."""

    source: Source
    stated: Stated
    bars: tuple[ReadBar, ...]
    """Their notes are FinishedNotes."""
    strings_midi: tuple[int, ...] = ()
    """Open strings low to high, without the capo; empty where the file does not say."""
    capo: int = 0
    remarks: tuple[str, ...] = field(default=())
    """What was not clear in the file, or was left out."""

    @property
    def has_strings(self) -> bool:
        """Whether the file says where every note is played."""
        notes = [note for bar in self.bars for note in bar.notes]
        return bool(self.strings_midi) and all(
            isinstance(note, FinishedNote) and note.string for note in notes
        )
