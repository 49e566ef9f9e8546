"""Sheets on paper: one layer, the plain tune, or the staged sheet, as PDF.

Task: what a teacher prints and hands out.
In:   Tune, Arrangement, engraved lines. Out: PDF bytes (or SVG pages), A4 or Letter.
Method: pipeline/write/page/sheet.typ, set by the typst library with its own embedded fonts. Lines
    are never broken, so no page cuts a phrase; the two lines of an eight-bar part stay together.
References: cautions and their sources in pipeline/write/cautions.py.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from pipeline.tab import Arrangement, Layer, Setup
from pipeline.tune import Tune
from pipeline.write.cautions import HAND, RIGHTS, printed_cautions
from pipeline.write.engraving import (
    Engraved,
    capo_words,
    engrave_layer,
    engrave_tune,
    key_words,
    layer_title,
    tuning_words,
)
from pipeline.write.sheet import Sheet, SheetBar
from pipeline.write.svg import Drawing, standalone

Paper = Literal["a4", "letter"]
FONT = "Libertinus Serif"
_TYPST_PAPER = {"a4": "a4", "letter": "us-letter"}
_HARD_BARS = 3


@dataclass(frozen=True, slots=True)
class Words:
    """What stands on a sheet beside the music."""

    layer: str
    notes: tuple[tuple[str, str], ...] = ()
    """Paragraphs: a bold word or two, and a sentence."""
    cautions: tuple[str, ...] = ()


def layer_pdf(
    tune: Tune,
    arrangement: Arrangement,
    name: str,
    *,
    paper: Paper = "a4",
    engraved: Engraved | None = None,
) -> bytes:
    """A layer, or the performance, as a PDF."""
    music = engraved or engrave_layer(tune, arrangement, name)
    words = Words(layer_title(name), cautions=_cautions(arrangement))
    return set_pages([(music, words)], paper=paper)


def lead_sheet_pdf(tune: Tune, *, paper: Paper = "a4", engraved: Engraved | None = None) -> bytes:
    """The plain tune as a tune book prints it."""
    music = engraved or engrave_tune(tune)
    return set_pages([(music, Words("The tune", cautions=(RIGHTS,)))], paper=paper)


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
        music = (engraved or {}).get(layer.name) or engrave_layer(tune, arrangement, layer.name)
        words = Words(
            f"{number}. {layer_title(layer.name)}",
            _layer_notes(tune, arrangement, layer),
            _cautions(arrangement) if number == len(arrangement.layers) else (HAND,),
        )
        pages.append((music, words))
    return set_pages(pages, paper=paper)


def layer_pages_svg(
    tune: Tune, arrangement: Arrangement, name: str, *, paper: Paper = "a4"
) -> tuple[str, ...]:
    """The pages of a layer as SVG files, every letter and sign drawn as an outline."""
    words = Words(layer_title(name), cautions=_cautions(arrangement))
    pages = [(engrave_layer(tune, arrangement, name), words)]
    out = _set(pages, paper, "svg")
    return tuple(page.decode() for page in (out if isinstance(out, list) else [out]))


def set_pages(pages: Sequence[tuple[Engraved, Words]], *, paper: Paper = "a4") -> bytes:
    """Sheets one after another, each on a page of its own, as one PDF."""
    return bytes(_set(pages, paper, "pdf"))


def _set(pages: Sequence[tuple[Engraved, Words]], paper: Paper, form: str) -> Any:
    template = files("pipeline.write").joinpath("page/sheet.typ").read_bytes()
    return _compiler().compile(template, format=form, sys_inputs=_inputs(pages, paper), timestamp=0)


@cache
def _compiler() -> Any:
    """One typesetter for the whole run, so that its fonts are read once."""
    import typst

    return typst.Compiler(ignore_system_fonts=True)


def _inputs(pages: Sequence[tuple[Engraved, Words]], paper: Paper) -> dict[str, str]:
    data = {
        "title": pages[0][0].sheet.title or "Untitled tune",
        "paper": _TYPST_PAPER[paper],
        "sheets": [_sheet_data(music, words) for music, words in pages],
    }
    return {"data": json.dumps(data, ensure_ascii=False)}


def _sheet_data(music: Engraved, words: Words) -> dict[str, Any]:
    sheet = music.sheet
    widest = max(line.width for line in music.lines)
    return {
        "title": sheet.title or "Untitled tune",
        "kind": f"{sheet.tune_type.capitalize()}, {sheet.meter}",
        "layer": words.layer,
        "facts": heading_facts(sheet),
        "notes": [list(note) for note in words.notes],
        "cautions": list(words.cautions),
        "keep": [
            place for place, line in enumerate(music.lines) if _continues(sheet, music, place)
        ],
        "lines": [
            {
                "svg": standalone(line, font=FONT),
                "width": line.width / widest,
                "label": bars_label(sheet.bars, line),
            }
            for line in music.lines
        ],
    }


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


def _continues(sheet: Sheet, music: Engraved, place: int) -> bool:
    """Whether the next line goes on with the part whose first line this is."""
    if place + 1 >= len(music.lines):
        return False
    here, after = (sheet.bars[music.lines[p].bars[0]] for p in (place, place + 1))
    return bool(here.part or here.heading or place == 0) and not (after.part or after.heading)


# ---------------------------------------------------------------- words


def _layer_notes(tune: Tune, arrangement: Arrangement, layer: Layer) -> tuple[tuple[str, str], ...]:
    notes = [("", remark) for remark in layer.remarks[:3]]
    hard = hardest_bars(tune, arrangement.setup, layer)
    if hard:
        notes.append(("Practise first:", f"{bars_words(hard)}, slowly, then the bars around."))
    return tuple(notes)


def hardest_bars(tune: Tune, setup: Setup, layer: Layer) -> tuple[int, ...]:
    """Printed numbers of the bars with most moves a second and the widest stretch, in order."""
    from pipeline.arrange.grades import grade_bar
    from pipeline.guitar.hand import Hand

    graded = []
    for bar, notes in zip(tune.written_bars(), layer.bars, strict=True):
        grade = grade_bar(notes, bar.length, tune, setup, Hand())
        effort = grade.moves / max(grade.seconds, 0.1) + grade.stretch_mm / 25.0
        if bar.number:
            graded.append((effort, bar.number))
    usual = sum(effort for effort, _ in graded) / max(len(graded), 1)
    hardest = sorted(graded, key=lambda found: (-found[0], found[1]))[:_HARD_BARS]
    return tuple(sorted({number for effort, number in hardest if effort > 1.1 * usual}))


def bars_words(numbers: Iterable[int]) -> str:
    """ "bars 6, 7 and 11"."""
    words = [str(number) for number in numbers]
    if len(words) == 1:
        return f"bar {words[0]}"
    return f"bars {', '.join(words[:-1])} and {words[-1]}"


def _cautions(arrangement: Arrangement) -> tuple[str, ...]:
    return printed_cautions(arrangement.setup, arrangement.cautions)
