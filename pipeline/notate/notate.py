"""Task: from heard notes to the tune as a player would write it.

In: Heard. Out: `notate(heard) -> Tune`; `renotate(tune)` for tunes read from a file.
Method: see reading (rhythm, type and bars), crooked and oddbars (bars that are not as long as the
    metre says), trebles, form and fold (parts, endings, votes of the passes), mend and agree (what
    passes put right), key (tonic and mode), doubts (what to check by ear).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction

import numpy as np

from liltwright.counting import count
from liltwright.errors import PipelineError
from liltwright.keys import signature_of
from liltwright.notate.bars.crooked import straightened
from liltwright.notate.bars.crooked_page import Joined, agreed, joined_bars, joined_doubts, printed
from liltwright.notate.bars.passes import settled
from liltwright.notate.bars.reheard import Moments, heard_again
from liltwright.notate.bars.timeline import heard_bars
from liltwright.notate.bars.trebles import untrebled
from liltwright.notate.concert import concert_move, concert_remark, moved_heard, moved_keys, scatter
from liltwright.notate.doubts import find_doubts
from liltwright.notate.effects import heard_effects
from liltwright.notate.form.fold import Folded, coda_remark, fold
from liltwright.notate.form.segments import Form, find_form
from liltwright.notate.form.similarity import bar_grid, likeness
from liltwright.notate.key.evidence import KeyEvidence, trust_in
from liltwright.notate.key.rank import rank_keys
from liltwright.notate.key.remarks import key_remarks
from liltwright.notate.metre.reading import Reading, part_starts, read_rhythm
from liltwright.notate.plain import PlainNotes, plain_notes
from liltwright.notate.settings import NotateSettings, overridden
from liltwright.notate.written import moved_bar, moved_part
from liltwright.progress import Progress, silent
from liltwright.tune import (
    Candidates,
    Heard,
    HeardBar,
    KeyName,
    Tune,
    TypeCandidate,
)

FEWEST_NOTES = 8  # fewer are no tune
PAIRED = "Slides are often written in 12/8, two of these bars as one: fix the metre to have it so."
FREE_TEMPO = "An air is played in free time: take its bars and note values as a proposal."
BOOK_LOW, BOOK_HIGH = 62, 83  # MIDI, D4 to B5: where tune books stand


@dataclass(frozen=True, slots=True)
class DraftTune:
    """A tune on the page, its key not yet found."""

    reading: Reading
    bars: tuple[HeardBar, ...]
    folded: Folded
    joined: Joined = field(default_factory=dict)
    """Bars that are the end of a longer one."""
    coda: int = 0
    """Bars at the end that are outside the form; see form."""


def notate(
    heard: Heard, *, settings: NotateSettings | None = None, progress: Progress = silent
) -> Tune:
    """Write the tune that was heard.

    Raises PipelineError when there are too few notes for a tune, UsageError when fixed values
    exclude each other.
    """
    settings = settings or NotateSettings()
    notes = plain_notes(heard)
    if len(notes) < FEWEST_NOTES:
        found = f"{count(len(notes), 'note')} {'was' if len(notes) == 1 else 'were'}"
        raise PipelineError(
            f"Only {found} heard, fewer than {FEWEST_NOTES}: record at least a "
            "few bars of the tune, close to the microphone."
        )
    progress("Finding bars", 0.1)
    page = lay_page(notes, settings)
    progress("Finding the key", 0.85)
    tune = _tune(heard, page, settings)
    progress("Tune written", 1.0)
    return tune


def lay_page(notes: PlainNotes, settings: NotateSettings) -> DraftTune:
    """The rhythm read, the parts found, the passes folded."""
    reading = read_rhythm(
        notes,
        tune_type=settings.tune_type,
        meter=settings.meter,
        beats_per_minute=settings.beats_per_minute,
        first_bar_s=settings.first_bar_s,
    )
    again = notes.again
    return _crooked_page(reading, again) or _page(
        replace(reading, line=untrebled(reading.line)), again
    )


def _page(reading: Reading, again: Moments) -> DraftTune:
    form = form_of(reading)
    reading = replace(reading, line=settled(heard_again(reading.line, form, again), form))
    bars = heard_bars(reading.line)
    folded = fold(bars, form, Fraction(reading.line.kind.meter))
    return DraftTune(reading, bars, folded, coda=form.coda)


def _crooked_page(reading: Reading, again: Moments) -> DraftTune | None:
    """The page with crooked bars; None when there are none that the passes agree on."""
    told = reading.told
    if told is None:
        return None
    line = straightened(reading.line, told)
    if not line.short:
        return None
    starts = part_starts(told, line)
    reading = replace(reading, line=untrebled(line), part_starts=starts)
    form = form_of(reading)
    straight = agreed(settled(heard_again(reading.line, form, again), form), form)
    if straight is None:
        return None
    bars = heard_bars(straight)
    folded, joined = printed(fold(bars, form, Fraction(line.kind.meter)), form, straight)
    return DraftTune(replace(reading, line=straight), bars, folded, joined, form.coda)


def _tune(heard: Heard, page: DraftTune, settings: NotateSettings) -> Tune:
    reading, bars, folded = page.reading, page.bars, page.folded
    kind = reading.line.kind
    usual = _octave_shift(reading)
    octaves = usual if settings.octave_shift is None else settings.octave_shift
    bars = tuple(moved_bar(bar, 12 * octaves) for bar in bars)
    doubts = find_doubts(
        bars,
        folded,
        reading.line,
        passed_over_s=reading.passed_over_s,
        meter_chance=reading.meter_chance,
        path_odds=reading.path_odds,
    )
    parts = tuple(moved_part(part, 12 * octaves) for part in folded.parts)
    trust = trust_in(heard.notes)
    keys = rank_keys(KeyEvidence.of_parts(parts, Fraction(kind.meter), trust))
    move = concert_move(
        heard.tuning_offset_cents, keys, scatter_cents=scatter(heard),
        known_cents=settings.concert_cents, known_key=settings.key,
    )  # fmt: skip
    nearby: tuple[str, ...] = ()
    if move is not None:
        nearby = concert_remark(heard.tuning_offset_cents, keys, move)
        bars = tuple(moved_bar(bar, move.semitones) for bar in bars)
        parts = tuple(moved_part(part, move.semitones) for part in parts)
        heard, keys = moved_heard(heard, move.semitones), moved_keys(keys, move)
    key = settings.key or KeyName(keys[0].tonic, keys[0].mode)
    remarks = (*nearby, *key_remarks(parts, Fraction(kind.meter), key))
    if reading.other_meter is not None:
        remarks = (f"The bars could also be read in {reading.other_meter}.", *remarks)
    if kind.tune_type == "slide" and kind.meter == "6/8" and settings.meter is None:
        remarks = (PAIRED, *remarks)
    if kind.tune_type == "air":
        remarks = (FREE_TEMPO, *remarks)
    remarks = (*coda_remark(page.coda), *remarks)
    beat = Fraction(kind.beat_ticks, 96)
    tune = Tune(
        source=heard.source,
        tune_type=kind.tune_type,
        meter=settings.meter or kind.meter,
        beat=beat,
        beats_per_minute=round(60 / (float(np.median(reading.line.tick_s)) * kind.beat_ticks), 1),
        tonic=key.tonic,
        mode=key.mode,
        signature=signature_of(key.tonic, key.mode),
        parts=parts,
        form=folded.form,
        rounds=folded.rounds,
        tuning_offset_cents=heard.tuning_offset_cents,
        heard=heard.notes,
        candidates=Candidates(
            tuple(TypeCandidate(kind, round(p, 4)) for kind, p in reading.types),
            keys,
        ),
        bars_heard=joined_bars(bars, page.joined),
        doubts=joined_doubts(doubts, bars, page.joined),
        title=settings.title or "",
        octave_shift=octaves,
        swing=round(reading.line.ratio, 2),
        overridden=overridden(settings),
        left_out=heard.left_out,
        warnings=heard.warnings,
        remarks=remarks,
    )
    said = heard_effects(tune, settings.beats_per_minute, settings.octave_shift, usual)
    return replace(tune, remarks=(*said, *remarks))


def form_of(reading: Reading) -> Form:
    """The form over bar indices of bars_heard."""
    pickup = int(reading.line.ticks[0] % reading.line.kind.bar_ticks != 0)
    alike = likeness(bar_grid(reading.line))[pickup:, pickup:]
    form = find_form(alike, reading.part_starts[pickup:])
    moved = tuple(replace(s, first=s.first + pickup) for s in form.segments)
    return replace(form, segments=moved)


def _octave_shift(reading: Reading) -> int:
    """Octaves that bring most of the tune into D4 to B5 and no note out of MIDI's range."""
    midi, weight = reading.line.midi, reading.line.length

    def inside(octaves: int) -> tuple[float, int]:
        moved = midi + 12 * octaves
        out = np.maximum(BOOK_LOW - moved, 0) + np.maximum(moved - BOOK_HIGH, 0)
        return float((out * weight).sum()), abs(octaves)

    low, high = midi.min(), midi.max()
    return min((by for by in range(-4, 5) if low + 12 * by >= 0 and high + 12 * by < 128),
               key=inside, default=0)  # fmt: skip
