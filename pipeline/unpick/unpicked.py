"""A finished arrangement taken apart: its tune, what it is made of, and the stages to learn it.

Task     the whole of unpicking, from the page as read to the records that are written
In       Finished; what the user knows
Out      Unpicked: Tune, the page as tab with parts and confidence, and an Arrangement of stages
Method   Strings are found where the file has none (placing.py), notes are parted (parting.py), the
         tune is written where a tune book prints it, and its key is ranked from its own notes where
         the file names none. The setup's transposition leads from there back to the page.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Literal

from liltwright import keys
from liltwright.errors import PipelineError, UsageError
from liltwright.guitar.player import Player
from liltwright.guitar.tension import cautions
from liltwright.guitar.tunings import name_of
from liltwright.read.finished import without_voices
from liltwright.tab import Arrangement, Layer, PartName, Round, Setup, TabBar
from liltwright.tune import Bar, Ending, KeyName, Part, ScoreNote, Tune
from liltwright.unpick.compared import changes_of, grades_of
from liltwright.unpick.finished import NOTHING, PARTS, Finished, Known, six_strings
from liltwright.unpick.knowing import on_known_strings
from liltwright.unpick.madeof import MadeOf, chords_of, made_of
from liltwright.unpick.page import Page, page_of
from liltwright.unpick.parting import part_notes
from liltwright.unpick.placing import placed
from liltwright.unpick.stages import stages
from liltwright.unpick.tabbed import tab_bars

LOWEST, HIGHEST = 62, 83
"""D4 to B5, where a tune book prints a tune."""
HAND = (
    "Warm up, start slowly and take breaks; stop when a hand, wrist or arm hurts. "
    "Pain that stays is for a doctor or a performing-arts clinic."
)
_SAID = re.compile(r"(\d+):(\d+(?:/\d+)?):([1-6])=(melody|bass|inner)")


@dataclass(frozen=True, slots=True, kw_only=True)
class UnpickSettings:
    """What the user knows of the page."""

    known: Known = NOTHING
    ignore_voices: bool = False
    said: tuple[str, ...] = ()
    """Notes that are something else: "3:1/4:5=melody" is bar 3, a quarter in, fifth string."""


@dataclass(frozen=True, slots=True)
class FinishedPage:
    """The content of unpicked.json: as an arrangement with the one layer "finished"."""

    setup: Setup
    meter: str
    beats_per_minute: float
    layers: tuple[Layer, ...]
    rounds: tuple[Round, ...]
    made_of: MadeOf
    format: Literal["liltwright-arrangement"] = "liltwright-arrangement"
    version: Literal[1] = 1
    title: str = ""
    remarks: tuple[str, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class Unpicked:
    """All that was found."""

    tune: Tune
    page: FinishedPage
    stages: Arrangement


def unpick(
    finished: Finished, *, player: Player | None = None, settings: UnpickSettings | None = None
) -> Unpicked:
    """Take a page apart.

    Raises PipelineError when it cannot be played or holds no tune, UsageError when what the user
    says of a note does not fit.
    """
    player, settings = player or Player(), settings or UnpickSettings()
    if settings.ignore_voices:
        finished = without_voices(finished)
    known = settings.known
    finished = on_known_strings(finished, known)
    page = page_of(finished, known)
    if not finished.has_strings:
        capo = known.capo if known.capo is not None else finished.capo
        named = six_strings(finished.strings_midi) if finished.strings_midi else None
        page = placed(page, known.strings or named, capo)
    if not page.moments:
        raise PipelineError(
            f"{finished.source.file} has grace notes only: a tune needs notes that last."
        )
    fixed = _fixed(page, settings.said)
    parted = part_notes(page, {**_pickups(page), **fixed})
    bars = tab_bars(page, parted)
    tune, transpose = _tune(page, bars)
    bars = _without_empty_pickups(page, bars)
    setup = _setup(page, tune, transpose)
    chords = chords_of(tune, bars, setup.sounds_in)
    made = replace(
        made_of(tune, bars, setup.sounds_in),
        grades=grades_of(tune, bars, setup, player.hand),
        changes=changes_of(tune, bars),
    )
    layers = stages(tune, setup, bars, chords, made, player)
    last = Layer("finished", bars, chords, layers[-1].difficulty, layers[-1].remarks)
    rounds = (Round(layers[0].name, "mp"), Round(layers[-1].name, "mf"))
    said = cautions(setup.strings_midi, scale_mm=player.scale_mm, string_set=player.string_set)
    arrangement = Arrangement(
        setup, tune.meter, tune.beats_per_minute, layers, rounds,
        title=tune.title, cautions=(*said, HAND),
    )  # fmt: skip
    whole = FinishedPage(
        setup, tune.meter, tune.beats_per_minute, (last,), (Round("finished"),), made,
        title=tune.title, remarks=page.finished.remarks,
    )  # fmt: skip
    remarks = (*tune.remarks, *page.finished.remarks)
    return Unpicked(replace(tune, remarks=remarks), whole, arrangement)


def _fixed(page: Page, said: Sequence[str]) -> Mapping[int, PartName]:
    """The notes that the user names, by index."""
    found: dict[int, PartName] = {}
    written = page.tune.written_bars()
    for text in said:
        match = _SAID.fullmatch(text.replace(" ", ""))
        if not match:
            raise UsageError(
                f'"{text}" names no note: write bar, place and string, like 3:1/4:5=melody for the '
                "note on the fifth string a quarter after the line of bar 3."
            )
        bar, at, string = int(match[1]), Fraction(match[2]), int(match[3])
        mine = [
            one.index
            for one in page.notes
            if written[one.bar].number == bar
            and one.note.start == at
            and one.note.string == string
            and not one.note.grace
        ]
        if not mine:
            raise UsageError(f'"{text}": no note begins there on that string; see unpicked.json.')
        found |= dict.fromkeys(mine, PARTS[PARTS.index(match[4])])  # type: ignore[arg-type]
    return found


def _pickups(page: Page) -> dict[int, PartName]:
    """A pick-up leads into the tune: its first note, the top one if there are several, is tune."""
    found: dict[int, PartName] = {}
    seen: set[int] = set()
    for moment in page.moments:
        if moment.pickup and moment.bar not in seen:
            named = [one for one in moment.notes if one.note.voice == "melody"]
            found[(named or moment.notes)[-1].index] = "melody"
        seen.add(moment.bar)
    return found


# ---------------------------------------------------------------- the tune of the page


def _tune(page: Page, bars: Sequence[TabBar]) -> tuple[Tune, int]:
    """The melody as a tune, and the semitones from it to the page as it sounds."""
    from liltwright.notate.key.evidence import KeyEvidence
    from liltwright.notate.key.rank import rank_keys
    from liltwright.read.checked import checked_tune
    from liltwright.read.written import no_key

    lines = [_line(bar) for bar in bars]
    pitches = [note.midi for line in lines for note in line]
    octave = min((1, 2, 0, -1, 3), key=lambda k: sum(
        not LOWEST <= midi + 12 * k <= HIGHEST for midi in pitches
    ))  # fmt: skip
    moved = [tuple(replace(n, midi=n.midi + 12 * octave) for n in line) for line in lines]
    place = iter(moved)
    parts = tuple(_part(part, place) for part in page.tune.parts)
    tune = replace(page.tune, parts=parts, octave_shift=octave, chords_typed=(), pins=())
    if not page.tune.candidates.key:
        best = rank_keys(KeyEvidence.of_parts(parts, tune.bar_length))
        before = no_key(KeyName(page.tune.tonic, page.tune.mode))
        after = no_key(KeyName(best[0].tonic, best[0].mode))
        tune = replace(
            tune,
            tonic=best[0].tonic,
            mode=best[0].mode,
            signature=max(-7, min(7, keys.signature_of(best[0].tonic, best[0].mode))),
            candidates=replace(tune.candidates, key=best[:5]),
            remarks=tuple(after if one == before else one for one in tune.remarks),
        )
    return checked_tune(tune, page.finished.source.file), -12 * octave


def _without_empty_pickups(page: Page, bars: Sequence[TabBar]) -> tuple[TabBar, ...]:
    """The bars that the tune has: a pick-up without a tune note is no bar of it."""
    written = page.tune.written_bars()
    return tuple(
        bar for bar, one in zip(bars, written, strict=True) if one.kind != "pickup" or _line(bar)
    )


def _line(bar: TabBar) -> Bar:
    """The tune notes of a bar, one at a time."""
    notes: list[ScoreNote] = []
    alone = [note for note in bar if note.part == "melody" and not note.grace]
    for note in sorted(alone, key=lambda note: note.start):
        if notes and notes[-1].start + notes[-1].length > note.start:
            notes[-1] = replace(notes[-1], length=note.start - notes[-1].start)
        notes.append(ScoreNote(note.midi, note.start, note.length))
    return tuple(notes)


def _part(part: Part, bars) -> Part:  # type: ignore[no-untyped-def]
    """The part with these bars' notes, in the order of written_bars()."""
    pickup = next(bars) if part.pickup else ()
    body = tuple(next(bars) for _ in part.bars)
    endings = tuple(
        Ending(one.times, tuple(next(bars) for _ in one.bars), one.bar_lengths)
        for one in part.endings
    )
    return replace(part, pickup=pickup, bars=body, endings=endings)


def _setup(page: Page, tune: Tune, transpose: int) -> Setup:
    strings = six_strings(page.finished.strings_midi)
    sounds = KeyName(tune.tonic, tune.mode)
    shapes = keys.transpose_key(sounds, -page.finished.capo)
    return Setup(name_of(strings), strings, page.finished.capo, transpose, sounds, shapes)
