"""Text tablature, as pipeline/write/formats/tablature.py writes it -> notes on the guitar.

Task     read a layer back exactly: string, fret, start, length and part of every note
In       text; the name of the file it came from
Out      Tablature; from it a Tune with the melody alone
Method   The rhythm marks give every column its time. Rules for the lengths, as the text's own head
         states them: a melody note lasts to the next melody note or the bar line, a bass or inner
         note as long as its ring sign goes on, a dot stops a string, a note in brackets goes on
         from the bar before, and a string played again ends the note before.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from liltwright import keys
from liltwright.errors import PipelineError
from liltwright.guitar.fretboard import open_midi
from liltwright.limits import check, short
from liltwright.read.bars import ReadBar
from liltwright.read.checked import check_bars, check_meter, checked_tune
from liltwright.read.folding import printed_form
from liltwright.read.tab_text import Cell, ParsedBar, TabHead, parse_bars, parse_head
from liltwright.tab import Chord, Setup, TabBar, TabNote, Technique
from liltwright.tune import ScoreNote, Source, Tune

_TECHNIQUES: dict[str, Technique] = {"h": "hammer-on", "p": "pull-off", "s": "slide"}
_PARTS: dict[str, Literal["melody", "bass", "inner"]] = {"=": "bass", "~": "inner"}


@dataclass(frozen=True, slots=True)
class Tablature:
    """A layer as its text states it; fingers are not stated there."""

    title: str
    layer: str
    head: TabHead
    setup: Setup
    bars: tuple[TabBar, ...]
    """As in Layer.bars: of a pick-up, starts count from the bar line of its full bar."""
    chords: tuple[Chord, ...]
    page: tuple[ParsedBar, ...]
    """The signs around the bars."""


@dataclass(slots=True)
class _Open:
    """A note whose end is not known yet; times count from the first bar."""

    bar: int
    string: int
    fret: int
    part: Literal["melody", "bass", "inner"]
    start: Fraction
    end: Fraction
    technique: Technique | None


def read_tablature(text: str, *, name: str) -> Tablature:
    """Read one layer.

    Raises PipelineError when the head or the bars are not what this program writes.
    """
    lines = text.splitlines()
    check("text_line", max(map(len, lines), default=0), name)
    check("text_tune", len(text), name)
    try:
        return _tablature(lines, name)
    except (ValueError, KeyError, IndexError) as fault:
        why = short(str(fault), 120)
        raise PipelineError(f"{name} is damaged text tablature: {why}; correct it.") from fault


def _tablature(lines: Sequence[str], name: str) -> Tablature:
    head = parse_head(lines, name)
    check_meter(head.meter, name)
    page = parse_bars(lines, name)
    setup = head.setup
    full = Fraction(head.meter)
    begins = [Fraction(0)]
    for bar in page:
        begins.append(begins[-1] + bar.length)
    bars: list[list[TabNote]] = [[] for _ in page]
    for note in _notes(page, begins):
        start = note.start - begins[note.bar] + offset_of(page[note.bar], full)
        bars[note.bar].append(
            _tab_note(setup, note, start, max(note.end - note.start, Fraction(1, 128)))
        )
    for index, bar in enumerate(page):
        bars[index] += _graces(bar, setup, head.grace, offset_of(bar, full))
        bars[index].sort(key=lambda note: (note.start, not note.grace, note.string))
    chords = [
        Chord(index, at + offset_of(bar, full), symbol, _root(symbol))
        for index, bar in enumerate(page)
        for at, symbol in bar.chords
    ]
    return Tablature(
        head.title, head.layer, head, setup, tuple(map(tuple, bars)), tuple(chords), tuple(page)
    )


def tune_of_tablature(text: str, *, name: str) -> Tune:
    """The melody of a layer as a Tune, at the pitch in which the tune was written."""
    tab = read_tablature(text, name=name)
    head, setup = tab.head, tab.setup
    full = Fraction(head.meter)
    shift = -setup.transpose
    bars = [_read_bar(tab, index, full, shift) for index in range(len(tab.bars))]
    check_bars(bars, head.meter, name)
    folded = printed_form(bars, head.meter)
    if not folded.parts:
        raise PipelineError(f"{name} has no melody notes: its bars hold only bass or inner notes.")
    key = keys.transpose_key(setup.sounds_in, shift)
    digest = hashlib.sha256(text.encode()).hexdigest()
    tune = Tune(
        source=Source(name, digest),
        tune_type=head.tune_type,
        meter=head.meter,
        beat=head.beat,
        beats_per_minute=head.beats_per_minute,
        tonic=key.tonic,
        mode=key.mode,
        signature=max(-7, min(7, keys.signature_of(key.tonic, key.mode))),
        parts=folded.parts,
        form=folded.form,
        title=head.title,
    )
    return checked_tune(tune, name)


def _read_bar(tab: Tablature, index: int, full: Fraction, shift: int) -> ReadBar:
    bar = tab.page[index]
    offset = offset_of(bar, full)
    best: dict[Fraction, TabNote] = {}
    for note in tab.bars[index]:
        above = best.get(note.start)
        if note.part == "melody" and not note.grace and (not above or note.midi > above.midi):
            best[note.start] = note
    return ReadBar(
        notes=tuple(
            ScoreNote(note.midi + shift, note.start - offset, note.length) for note in best.values()
        ),
        length=bar.length,
        opens=bool(bar.part),
        closes=bar.double or bar.times > 1,
        times=bar.times,
        ending=bar.ending,
    )


def offset_of(bar: ParsedBar, full: Fraction) -> Fraction:
    """A short bar at the beginning of a part is its pick-up."""
    return full - bar.length if bar.part and bar.length < full else Fraction(0)


def _root(symbol: str) -> str:
    return symbol[: 2 if symbol[1:2] in ("#", "b") else 1]


def _tab_note(setup: Setup, note: _Open, start: Fraction, length: Fraction) -> TabNote:
    midi = open_midi(setup.strings_midi, note.string) + setup.capo + note.fret
    return TabNote(note.part, note.string, note.fret, midi, start, length, technique=note.technique)


def _graces(bar: ParsedBar, setup: Setup, length: Fraction, offset: Fraction) -> list[TabNote]:
    graces = []
    for at, cells in bar.columns:
        for string, cell in cells.items():
            part = _PARTS.get(cell.ring, "melody")
            for technique, fret in cell.graces:
                plain = _Open(0, string, fret, part, at, at, _TECHNIQUES.get(technique))
                note = _tab_note(setup, plain, at + offset, length)
                graces.append(replace(note, grace=True))
    return graces


# ---------------------------------------------------------------- lengths


def _notes(page: Sequence[ParsedBar], begins: Sequence[Fraction]) -> list[_Open]:
    """Every note with its end, in the order of the page."""
    done: list[_Open] = []
    held: dict[int, _Open] = {}  # by string, what may go on in the next bar
    for index, bar in enumerate(page):
        following = page[index + 1] if index + 1 < len(page) else None
        here: list[tuple[_Open, Fraction]] = []  # with where in the bar it begins or goes on
        for at, cells in bar.columns:
            for string, cell in cells.items():
                if cell.fret is None:
                    continue
                if cell.held and string in held:
                    here.append((held.pop(string), at))
                    continue
                start = begins[index] + at
                part = _PARTS.get(cell.ring, "melody")
                note = _Open(
                    index, string, cell.fret, part, start, start, _TECHNIQUES.get(cell.technique)
                )
                done.append(note)
                here.append((note, at))
        onsets = sorted(
            at
            for at, cells in bar.columns
            if any(
                c.fret is not None and not c.held and c.ring not in _PARTS for c in cells.values()
            )
        )
        held = {}
        for note, at in here:
            goes_on = following is not None and _is_held(following, note.string)
            last = _last_on_string(bar, note.string, at)
            if goes_on and last:
                end = bar.length
                held[note.string] = note
            elif note.part == "melody":
                end = _melody_end(bar, note.string, at, onsets)
            else:
                end = _ring_end(bar, note.string, at)
            note.end = begins[index] + end
    return done


def _is_held(bar: ParsedBar, string: int) -> bool:
    cell = bar.columns[0][1].get(string)
    return cell is not None and cell.held


def _later(bar: ParsedBar, string: int, at: Fraction) -> list[tuple[Fraction, Cell]]:
    return [(when, cells[string]) for when, cells in bar.columns if when > at]


def _last_on_string(bar: ParsedBar, string: int, at: Fraction) -> bool:
    return all(cell.fret is None and not cell.stop for _, cell in _later(bar, string, at))


def _melody_end(bar: ParsedBar, string: int, at: Fraction, onsets: Sequence[Fraction]) -> Fraction:
    later = _later(bar, string, at)
    again = next((when for when, cell in later if cell.fret is not None), None)
    stop = next((when for when, cell in later if cell.stop), None)
    if stop is None and again is None and string in bar.stopped_at_end:
        stop = bar.length
    if stop is not None and (again is None or stop <= again):
        return stop
    usual = next((when for when in onsets if when > at), bar.length)
    return usual if again is None else min(usual, again)


def _ring_end(bar: ParsedBar, string: int, at: Fraction) -> Fraction:
    return next((when for when, cell in _later(bar, string, at) if not cell.rings_on), bar.length)
