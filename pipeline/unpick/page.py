"""A finished page laid out in time: its form, and every moment at which something is struck.

Task     fold the page into parts as a tune is folded, and lay its bars end to end
In       Finished
Out      Page: a Tune whose notes are FinishedNotes, and Moments
Method   The folding and the key of pipeline/read/written.py are used as they are. A grace note is
         no moment of its own: it goes with the note that it decorates.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from liltwright.bassbeats import pulse_of
from liltwright.read.written import written_tune
from liltwright.tune import Tune
from liltwright.unpick.finished import NOTHING, Finished, FinishedNote, Known
from liltwright.unpick.knowing import as_known, tune_as_known


@dataclass(frozen=True, slots=True)
class Struck:
    """One note of the page in time."""

    index: int
    """Which of Page.notes it is."""
    bar: int
    """Index into written_bars()."""
    at: Fraction
    """From the beginning of the first bar."""
    note: FinishedNote


@dataclass(frozen=True, slots=True)
class Moment:
    """Notes that are struck together."""

    bar: int
    start: Fraction
    """From the bar line."""
    at: Fraction
    notes: tuple[Struck, ...]
    """Lowest first."""
    place: str
    """"main", "walk" or "" for any other place of the bar."""
    pickup: bool


@dataclass(frozen=True, slots=True)
class Page:
    """A finished page in time."""

    finished: Finished
    tune: Tune
    """Its parts hold every note of the page."""
    notes: tuple[Struck, ...]
    moments: tuple[Moment, ...]
    begins: tuple[Fraction, ...]
    """Where each written bar's line is, laid end to end."""
    end: Fraction


def page_of(finished: Finished, known: Known = NOTHING) -> Page:
    """Fold a finished arrangement.

    Raises PipelineError when it has no notes, UsageError when its bars do not fit the user's metre.
    """
    name = finished.source.file
    stated = as_known(finished.stated, known)
    tune = written_tune(finished.bars, stated, finished.source, which=name)
    tune = tune_as_known(tune, known)
    written = tune.written_bars()
    notes: list[Struck] = []
    begins: list[Fraction] = []
    now = Fraction(0)
    for index, bar in enumerate(written):
        line = now - (tune.bar_length - bar.length if bar.kind == "pickup" else 0)
        begins.append(line)
        for note in bar.notes:
            assert isinstance(note, FinishedNote)
            notes.append(Struck(len(notes), index, line + note.start, note))
        now += bar.length
    return with_notes(Page(finished, tune, (), (), tuple(begins), now), notes)


def with_notes(page: Page, notes: Sequence[Struck]) -> Page:
    """The page with these notes instead, numbered anew, and its moments."""
    pulse = pulse_of(page.tune)
    written = page.tune.written_bars()
    numbered = tuple(replace(one, index=index) for index, one in enumerate(notes))
    groups: dict[Fraction, list[Struck]] = {}
    for one in numbered:
        if not one.note.grace:
            groups.setdefault(one.at, []).append(one)
    moments = []
    for at in sorted(groups):
        together = tuple(sorted(groups[at], key=lambda one: (one.note.midi, one.index)))
        start, bar = together[0].note.start, together[0].bar
        place = "main" if start in pulse.main else "walk" if start in pulse.walk else ""
        moments.append(Moment(bar, start, at, together, place, written[bar].kind == "pickup"))
    return replace(page, notes=numbered, moments=tuple(moments))
