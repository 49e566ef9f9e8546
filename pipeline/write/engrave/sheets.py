"""Sheets on paper: one layer, the plain tune, or the staged sheet, as PDF.

Task: what a teacher prints and hands out.
In:   Tune, Arrangement, engraved lines. Out: PDF bytes (or SVG pages), A4 or Letter.
Method: sheet.typ, set by the typst library with its own embedded fonts. Lines
    are never broken, so no page cuts a phrase; where pages turn: pages.py.
References: cautions and their sources in pipeline/write/cautions.py.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from liltwright.doubts import bars_words, doubtful_indices, doubtful_numbers, ranges
from liltwright.options import Paper
from liltwright.tab import Arrangement, Layer, Setup
from liltwright.tune import Tune
from liltwright.write.cautions import HAND, RIGHTS, printed_cautions
from liltwright.write.engrave.engraving import (
    Engraved,
    capo_words,
    engrave_layer,
    engrave_tune,
    key_words,
    layer_title,
    tuning_words,
)
from liltwright.write.engrave.pages import LINE_GAP_MM, PAGE_MM, WIDTH_MM, page_breaks
from liltwright.write.engrave.svg import Drawing, marked, standalone
from liltwright.write.sheet.bars import Sheet, SheetBar

FONT = "Libertinus Serif"
_TYPST_PAPER = {"a4": "a4", "letter": "us-letter"}
_HARD_BARS = 3  # bars named to be practised first
_NARROWEST = 0.9  # of full size; smaller music goes to another page


@dataclass(frozen=True, slots=True)
class SheetWords:
    """What stands on a sheet beside the music."""

    layer: str
    notes: tuple[tuple[str, str], ...] = ()
    """Paragraphs: a bold word or two, and a sentence."""
    cautions: tuple[str, ...] = ()
    doubts: frozenset[int] = frozenset()
    """Written bars that get a question mark."""


def layer_pdf(
    tune: Tune,
    arrangement: Arrangement,
    name: str,
    *,
    paper: Paper = "a4",
    engraved: Engraved | None = None,
) -> bytes:
    """A layer, or the performance, as a PDF."""
    music = engraved or engrave_layer(tune, arrangement, name, paper=paper)
    words = SheetWords(layer_title(name), cautions=_cautions(arrangement))
    return set_pages([(music, words)], paper=paper)


def lead_sheet_pdf(
    tune: Tune,
    *,
    paper: Paper = "a4",
    engraved: Engraved | None = None,
    chords_added: bool = False,
) -> bytes:
    """The plain tune as a tune book prints it. `chords_added`: its chords are the arrangement's."""
    music = engraved or engrave_tune(tune, paper=paper)
    notes = [*_check_by_ear(tune)]
    if chords_added:
        notes.append(("Chords", "as in the arrangement; the tune itself was written without."))
    words = SheetWords("The tune", tuple(notes), cautions=(RIGHTS,), doubts=_marked(tune))
    return set_pages([(music, words)], paper=paper)


def staged_pdf(
    tune: Tune,
    arrangement: Arrangement,
    *,
    paper: Paper = "a4",
    engraved: dict[str, Engraved] | None = None,
) -> bytes:
    """One page or more for each layer, from the melody to the fullest, with what to practise."""
    pages = []
    for number, layer in enumerate(arrangement.layers, start=1):
        music = (engraved or {}).get(layer.name)
        music = music or engrave_layer(tune, arrangement, layer.name, paper=paper)
        first, last = number == 1, number == len(arrangement.layers)
        notes = _layer_notes(tune, arrangement, layer)
        words = SheetWords(
            f"{number}. {layer_title(layer.name)}",
            (*notes, *_check_by_ear(tune)) if first else notes,
            _cautions(arrangement) if last else (HAND,),
            _marked(tune) if first else frozenset(),
        )
        pages.append((music, words))
    return set_pages(pages, paper=paper)


def layer_pages_svg(
    tune: Tune, arrangement: Arrangement, name: str, *, paper: Paper = "a4"
) -> tuple[str, ...]:
    """The pages of a layer as SVG files, every letter and sign drawn as an outline."""
    words = SheetWords(layer_title(name), cautions=_cautions(arrangement))
    pages = [(engrave_layer(tune, arrangement, name, paper=paper), words)]
    out = _set(pages, paper, "svg")
    return tuple(page.decode() for page in (out if isinstance(out, list) else [out]))


def set_pages(pages: Sequence[tuple[Engraved, SheetWords]], *, paper: Paper = "a4") -> bytes:
    """Sheets one after another, each on a page of its own, as one PDF."""
    return bytes(_set(pages, paper, "pdf"))


def _set(pages: Sequence[tuple[Engraved, SheetWords]], paper: Paper, form: str) -> Any:
    template = files("liltwright.write.engrave").joinpath("sheet.typ").read_bytes()
    return _compiler().compile(template, format=form, sys_inputs=_inputs(pages, paper), timestamp=0)


@cache
def _compiler() -> Any:
    """One typesetter for the whole run, so that its fonts are read once."""
    import typst

    return typst.Compiler(ignore_system_fonts=True)


def _inputs(pages: Sequence[tuple[Engraved, SheetWords]], paper: Paper) -> dict[str, str]:
    data = {
        "title": pages[0][0].sheet.title or "Untitled tune",
        "paper": _TYPST_PAPER[paper],
        "sheets": [_sheet_data(music, words, paper) for music, words in pages],
    }
    return {"data": json.dumps(data, ensure_ascii=False)}


def _sheet_data(music: Engraved, words: SheetWords, paper: Paper) -> dict[str, Any]:
    sheet = music.sheet
    widest = max(line.width for line in music.lines)
    fit, breaks = _fitted(music, words, paper)
    questioned = {i for i, bar in enumerate(sheet.bars) if bar.written in words.doubts}
    return {
        "title": sheet.title or "Untitled tune",
        "kind": f"{sheet.tune_type.capitalize()}, {sheet.meter}",
        "layer": words.layer,
        "facts": heading_facts(sheet),
        "notes": [list(note) for note in words.notes],
        "cautions": list(words.cautions),
        "gap_mm": LINE_GAP_MM,
        "breaks": breaks,
        "lines": [
            {
                "svg": standalone(marked(line, questioned), font=FONT),
                "width": fit * line.width / widest,
                "label": bars_label(sheet.bars, line),
            }
            for line in music.lines
        ],
    }


def _fitted(music: Engraved, words: SheetWords, paper: Paper) -> tuple[float, list[int]]:
    """The share of the page's width that the music takes, and the lines that begin a page.

    Music that is too high for one page by a little is set a little narrower.
    """
    title = music.sheet.title or "Untitled tune"
    head = 4.0 + 8.0 * _rows(title, 40) + 4.4 * len(heading_facts(music.sheet))
    notes = sum(_rows(" ".join(note), 100) for note in words.notes)
    foot = 4.0 + sum(1.6 + 3.2 * _rows(text, 145) for text in words.cautions)
    first_mm = PAGE_MM[paper] - head - (4.8 * notes + 5.0 if notes else 0.0)
    fit = (first_mm - foot) / music.height_mm(paper)
    if fit >= _NARROWEST:
        return min(fit, 1.0), []
    unit = WIDTH_MM[paper] / max(line.width for line in music.lines)
    starts = [music.sheet.bars[line.bars[0]] for line in music.lines]
    return 1.0, list(
        page_breaks(
            [line.height * unit for line in music.lines],
            [bool(bar.part or bar.heading) for bar in starts],
            first_mm=first_mm,
            page_mm=PAGE_MM[paper] - 9.0,
            last_less_mm=foot,
        )
    )


def _rows(text: str, letters: int) -> int:
    """Lines that a text takes, so many letters a line."""
    return max(1, -(-len(text) // letters))


def heading_facts(sheet: Sheet) -> list[str]:
    """Tuning, capo, key as it sounds and as it is fingered, tempo: one string a line."""
    tempo = f"{_note_sign(sheet)} = {sheet.beats_per_minute:.0f}"
    if sheet.setup is None:
        return [f"{key_words(sheet.key)}, {tempo}"]
    setup: Setup = sheet.setup
    facts = [f"Tuning {tuning_words(setup)}, {capo_words(setup)}"]
    sounds, shapes = key_words(setup.sounds_in), key_words(setup.shapes_in)
    keys = f"sounds in {sounds}" + (f", fingered in {shapes}" if setup.capo else "")
    return [*facts, f"{keys}, {tempo}"]


def _note_sign(sheet: Sheet) -> str:
    names = {1: "whole note", 2: "half note", 4: "quarter note", 8: "eighth note"}
    dotted = sheet.beat.numerator == 3
    unit = sheet.beat.denominator // (2 if dotted else 1)
    return f"{'dotted ' if dotted else ''}{names.get(unit, str(sheet.beat))}"


def bars_label(bars: Sequence[SheetBar], line: Drawing) -> str:
    """ "Bars 5 to 8" of a line, for those who cannot see it."""
    numbers = [bars[index].number for index in line.bars if bars[index].number]
    if not numbers:
        return "Pick-up"
    return f"Bars {numbers[0]} to {numbers[-1]}" if len(numbers) > 1 else f"Bar {numbers[0]}"


# ---------------------------------------------------------------- words


def _layer_notes(tune: Tune, arrangement: Arrangement, layer: Layer) -> tuple[tuple[str, str], ...]:
    notes = [("", remark) for remark in layer.remarks[:3]]
    hard = hardest_bars(tune, arrangement.setup, layer)
    if hard:
        words = bars_words(ranges(hard))
        notes.append(("Practise first:", f"{words}, slowly, then the bars around."))
    return tuple(notes)


def _check_by_ear(tune: Tune) -> tuple[tuple[str, str], ...]:
    numbers = doubtful_numbers(tune)
    if not numbers:
        return ()
    words = bars_words(ranges(numbers))
    how = "marked with a question mark" if _marked(tune) else "too many to mark them"
    return (("Check by ear:", f"{words}, {how}."),)


def _marked(tune: Tune) -> frozenset[int]:
    """The doubtful bars, unless they are most of the tune: then marks would say nothing."""
    doubtful = doubtful_indices(tune)
    return frozenset(doubtful if 2 * len(doubtful) <= len(tune.written_bars()) else ())


def hardest_bars(tune: Tune, setup: Setup, layer: Layer) -> tuple[int, ...]:
    """Printed numbers of the bars with most moves a second and the widest stretch, in order."""
    from liltwright.arrange.grades import grade_bar
    from liltwright.guitar.hand import Hand

    graded = []
    for bar, notes in zip(tune.written_bars(), layer.bars, strict=True):
        grade = grade_bar(notes, bar.length, tune, setup, Hand())
        effort = grade.moves / max(grade.seconds, 0.1) + grade.stretch_mm / 25.0
        if bar.number:
            graded.append((effort, bar.number))
    usual = sum(effort for effort, _ in graded) / max(len(graded), 1)
    hardest = sorted(graded, key=lambda found: (-found[0], found[1]))[:_HARD_BARS]
    return tuple(sorted({number for effort, number in hardest if effort > 1.1 * usual}))


def _cautions(arrangement: Arrangement) -> tuple[str, ...]:
    return printed_cautions(arrangement.setup, arrangement.cautions)
