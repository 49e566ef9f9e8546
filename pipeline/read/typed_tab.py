"""Tablature as people type it into e-mails -> frets with their moments.

Task     read six lines of dashes with whatever stands around them
In       text; the name of the file it came from
Out      TypedTab, or PipelineError that names line and column
Method   typed_lines.py finds the systems, typed_systems.py their bars and frets, typed_rhythm.py
         the moments, typed_words.py tuning, capo, metre and title. A note lasts until the next
         column or rest; one that is drawn on with = or ~ as long as that sign goes on. Text
         tablature of this program is read by tablature.py and given the same form.
References: none; such notation has no standard (common practice).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from liltwright.guitar.tunings import Strings, standard
from liltwright.limits import check
from liltwright.read.tab_text import OWN_HEAD
from liltwright.read.typed_lines import TextLine, blocks_of, plain_lines, refusal
from liltwright.read.typed_rhythm import endings_of, timed
from liltwright.read.typed_spacing import TimedBar
from liltwright.read.typed_systems import RawBar, RawSystem, TypedFret, system_of
from liltwright.read.typed_words import check_order, strings_of_labels, words_of
from liltwright.unpick.finished import NOTHING, Known

_SHORTEST = Fraction(1, 128)  # of a whole note


@dataclass(frozen=True, slots=True)
class TypedNote:
    """One fret; string 1 is the highest. Times are fractions of a whole note from the bar line."""

    string: int
    fret: int
    start: Fraction
    length: Fraction
    marks: tuple[str, ...] = ()
    """Signs in the order of the text: h p / \\ s t before the fret say how it is reached, ( < [
    that it stands in brackets, g that it is a grace note, x that it is a muted stroke without a
    pitch; ~ = b9 r * ^ and the like come after it, "to/" a slide away from it."""


@dataclass(frozen=True, slots=True)
class TypedBar:
    """One bar; `line` is where its first string stands in the text."""

    notes: tuple[TypedNote, ...]
    length: Fraction
    line: int
    opens_repeat: bool = False
    times: int = 1
    """How often the part that ends with this bar is played; 1 without a repeat."""
    ending: tuple[int, ...] = ()
    double_bar: bool = False


@dataclass(frozen=True, slots=True)
class Repeat:
    """Bars from `first` to `last`, counted from 0, are played so many times."""

    first: int
    last: int
    times: int


@dataclass(frozen=True, slots=True)
class TypedTab:
    """A page as typed. Frets count from the capo; strings_midi runs low to high without it."""

    title: str
    strings_midi: Strings
    capo: int
    meter: str | None
    rhythm_known: bool
    """Whether the text states the rhythm; else starts and lengths are a proposal by spacing."""
    bars: tuple[TypedBar, ...]
    repeats: tuple[Repeat, ...] = ()
    remarks: tuple[str, ...] = ()
    kind: str = ""
    """The words that name the type of the tune."""


def read_typed_tab(text: str, *, name: str, known: Known = NOTHING) -> TypedTab:
    """Read one page; what the user knows of it is not looked for in its words.

    Raises PipelineError with line and column for what cannot be read.
    """
    if OWN_HEAD.search(text):
        return _own(text, name)
    lines = plain_lines(text, name)
    blocks, remarks = blocks_of(lines, name)
    words = words_of(lines, blocks[0].first, name, known)
    systems = [system_of(block, name) for block in blocks]
    check("bars", sum(len(system.bars) for system in systems), name)
    check("notes", sum(len(bar.notes) for system in systems for bar in system.bars), name)
    strings = known.strings or _tuning(systems, words.strings_midi, remarks, name)
    for line in (system.block.lines for system in systems if known.strings):
        check_order([one.label for one in line], line[0].places[0], name)
    times, full = timed(systems, lines, words.meter, name)
    bars = _bars(systems, lines, times)
    if not any(bar.notes for bar in bars):
        raise refusal(
            name, blocks[0].lines[0].places[0], "the system has no fret; write numbers into it"
        )
    stated = all(one.source != "spacing" for one in times if one.starts)
    remarks += _remarks(times, words.meter, full, words.capo)
    check("tune_whole_notes", sum((bar.length for bar in bars), Fraction(0)), name)
    return TypedTab(
        words.title, strings, words.capo, words.meter, stated, bars, _repeats(bars), tuple(remarks),
        words.kind,
    )  # fmt: skip


def _tuning(
    systems: Sequence[RawSystem], named: Strings | None, remarks: list[str], name: str
) -> Strings:
    """The tuning named in words, else by the letters of the first system that has all six."""
    lettered: Strings | None = None
    for system in systems:
        labels = [line.label for line in system.block.lines]
        if not all(labels):
            continue
        if lettered is None or named is None:
            found = strings_of_labels(labels, system.block.lines[0].places[0], name)
            number = system.block.lines[0].number
            if lettered is not None and found != lettered:
                remarks.append(f"The string letters change in line {number}: the first ones count.")
            lettered = lettered or found
    if named is not None:
        if lettered is not None and [m % 12 for m in lettered] != [m % 12 for m in named]:
            remarks.append("The string letters differ from the tuning in words: the words count.")
        return named
    if lettered is None:
        remarks.append("No tuning is named: standard tuning is taken.")
        return standard()
    return lettered


def _bars(
    systems: Sequence[RawSystem], lines: Sequence[TextLine], times: Sequence[TimedBar]
) -> tuple[TypedBar, ...]:
    done: list[TypedBar] = []
    for system in systems:
        endings = endings_of(system, lines)
        for bar in system.bars:
            time = times[len(done)]
            ending = next((t for at, t in endings if bar.begin - 2 <= at < bar.end - 1), ())
            done.append(
                TypedBar(
                    tuple(_note(note, bar, time) for note in bar.notes),
                    time.length,
                    bar.place[0],
                    bar.opens,
                    bar.times,
                    ending,
                    bar.double,
                )
            )
    return tuple(done)


def _note(note: TypedFret, bar: RawBar, time: TimedBar) -> TypedNote:
    start = time.starts[note.column]
    after = bisect_right(time.moments, start)
    end = time.moments[after] if after < len(time.moments) else time.length
    if note.rings_to > note.column + note.width:
        place = bisect_left(bar.columns, note.rings_to)
        column = bar.columns[place] if place < len(bar.columns) else None
        end = max(end, time.length if column is None else time.starts[column])
    return TypedNote(note.string, note.fret, start, max(end - start, _SHORTEST), tuple(note.marks))


def _repeats(bars: Sequence[TypedBar]) -> tuple[Repeat, ...]:
    repeats = []
    first = 0
    for index, bar in enumerate(bars):
        if bar.opens_repeat:
            first = index
        if bar.times > 1:
            repeats.append(Repeat(first, index, bar.times))
        if bar.times > 1 or (bar.double_bar and not bar.ending):
            first = index + 1
    return tuple(repeats)


def _remarks(times: Sequence[TimedBar], meter: str | None, full: Fraction, capo: int) -> list[str]:
    remarks = []
    spaced = [one for one in times if one.starts and one.source == "spacing"]
    if spaced:
        which = "The text states no rhythm" if len(spaced) == len(times) else (
            f"{len(spaced)} of {len(times)} bars state no rhythm"
        )  # fmt: skip
        remarks.append(f"{which}: starts and lengths are a proposal by the spacing of the frets.")
        if meter is None:
            taken = "4/4" if full == 1 else "6/8"
            remarks.append(f"No metre is named: the spacing was measured as {taken}.")
    if any(one.shared for one in times):
        remarks.append("Some frets have no rhythm sign of their own: they share the time of one.")
    if meter is not None:
        odd = [
            str(number)
            for number, one in enumerate(times, 1)
            if one.source == "letters" and one.length != full and 1 < number < len(times)
        ]
        if odd:
            more = ", ..." if len(odd) > 8 else ""
            remarks.append(f"By their letters these bars do not last {meter}: "
                           f"{', '.join(odd[:8])}{more}.")  # fmt: skip
    if capo:
        remarks.append("Frets are taken to count from the capo.")
    return remarks


def _own(text: str, name: str) -> TypedTab:
    """A page of this program."""
    from liltwright.read.tablature import read_tablature

    signs = {"hammer-on": "h", "pull-off": "p", "slide": "s"}
    tab = read_tablature(text, name=name)
    bars = tuple(
        TypedBar(
            tuple(
                TypedNote(
                    note.string,
                    note.fret,
                    note.start - _pickup(tab.head.meter, page.length, bool(page.part)),
                    note.length,
                    (*(["g"] if note.grace else []),
                     *([signs[note.technique]] if note.technique else []),
                     *([{"bass": "=", "inner": "~"}[note.part]] if note.part != "melody" else [])),
                )
                for note in notes
            ),
            page.length,
            1,
            False,
            page.times,
            page.ending,
            page.double,
        )
        for notes, page in zip(tab.bars, tab.page, strict=True)
    )  # fmt: skip
    return TypedTab(
        tab.title, tab.setup.strings_midi, tab.setup.capo, tab.head.meter, True, bars,
        _repeats(bars), kind=tab.head.tune_type,
    )  # fmt: skip


def _pickup(meter: str, length: Fraction, opens: bool) -> Fraction:
    """Where the bar begins in the time of a full bar, as tablature.py counts a pick-up."""
    full = Fraction(meter)
    return full - length if opens and length < full else Fraction(0)
