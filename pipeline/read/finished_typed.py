"""Tablature as people type it -> Finished.

Task     give the frets of a typed page the form that every finished page has
In       text; the name of the file
Out      Finished; what the page does not say is in its remarks
Method   typed_tab.py reads; here frets become pitches. A note ends where the next column begins
         unless the page draws it on: how long a bass rings is decided when it is told from the
         tune. A muted stroke has no pitch and is left out. Where no metre is named, the commonest
         length of a bar says whether it is 4/4, 6/8 or 9/8; bars of three quarters by their
         letters are 3/4 where more of them move on the quarters than in the middle.
References: none; such notation has no standard (common practice).
"""

from __future__ import annotations

import hashlib
from collections import Counter
from fractions import Fraction

from liltwright.counting import count
from liltwright.guitar.tunings import Strings
from liltwright.read.bars import ReadBar
from liltwright.read.typed_tab import TypedBar, TypedNote, TypedTab, read_typed_tab
from liltwright.read.written import Stated
from liltwright.tab import Technique
from liltwright.tune import Source
from liltwright.unpick.finished import NOTHING, Finished, FinishedNote, Known

METERS = {Fraction(1): "4/4", Fraction(3, 4): "6/8", Fraction(9, 8): "9/8", Fraction(1, 2): "2/4"}
"""What a bar of this length is taken for where no metre is named (common practice)."""
_THREE = Fraction(3, 4)  # of a whole note: a bar of three crotchets
TECHNIQUES: dict[str, Technique] = {
    "h": "hammer-on", "p": "pull-off", "/": "slide", "\\": "slide", "s": "slide",
}  # fmt: skip
MUTED = "x"
GRACE = "g"


def read_finished_typed(text: str, *, name: str, known: Known = NOTHING) -> Finished:
    """Read a typed page. Raises PipelineError with line and column for what cannot be read."""
    tab = read_typed_tab(text, name=name, known=known)
    muted = sum(MUTED in note.marks for bar in tab.bars for note in bar.notes)
    strokes = f"{count(muted, 'muted stroke')} left out: no pitch is written."
    return Finished(
        source=Source(name, hashlib.sha256(text.encode()).hexdigest()),
        stated=Stated(title=tab.title, meter=tab.meter or _meter(tab), kind=tab.kind),
        bars=tuple(_bar(bar, tab.strings_midi, tab.capo, first=not at)
                   for at, bar in enumerate(tab.bars)),
        strings_midi=tab.strings_midi,
        capo=tab.capo,
        remarks=(*tab.remarks, *([strokes] if muted else [])),
    )  # fmt: skip


def _meter(tab: TypedTab) -> str:
    lengths = Counter(bar.length for bar in tab.bars)
    usual = max(lengths, key=lambda length: (lengths[length], length))
    if usual == _THREE and tab.rhythm_known:
        starts = [{note.start for note in bar.notes} for bar in tab.bars if bar.length == usual]
        halves = sum(Fraction(3, 8) in one for one in starts)
        thirds = sum(bool(one & {Fraction(1, 4), Fraction(1, 2)}) for one in starts)
        return "3/4" if thirds > halves else "6/8"
    return METERS.get(usual, "4/4")


def _bar(bar: TypedBar, strings: Strings, capo: int, *, first: bool) -> ReadBar:
    return ReadBar(
        notes=tuple(
            _note(note, strings, capo) for note in bar.notes if MUTED not in note.marks
        ),
        length=bar.length,
        opens=bar.opens_repeat and not first,
        closes=bar.double_bar or bar.times > 1,
        times=bar.times,
        ending=bar.ending,
    )  # fmt: skip


def _note(note: TypedNote, strings: Strings, capo: int) -> FinishedNote:
    technique = next((TECHNIQUES[mark] for mark in note.marks if mark in TECHNIQUES), None)
    return FinishedNote(
        strings[6 - note.string] + capo + note.fret, note.start, note.length, None,
        note.string, note.fret, grace=GRACE in note.marks, technique=technique,
    )  # fmt: skip
