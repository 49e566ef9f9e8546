"""A file with a finished arrangement -> Finished, whatever kind it is.

Task     choose the reader by what the file holds, and keep every note that is in it
In       a path: MusicXML, MXL, MIDI, ABC or text tablature
Out      Finished
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from liltwright import keys
from liltwright.errors import PipelineError
from liltwright.limits import check, clean
from liltwright.read.bars import ReadBar
from liltwright.read.files import content, decoded, kind_of
from liltwright.read.tablature import Tablature, offset_of, read_tablature
from liltwright.read.written import Stated
from liltwright.tune import Source
from liltwright.unpick.finished import NOTHING, Finished, FinishedNote, Known


def read_finished(path: Path, known: Known = NOTHING) -> Finished:
    """Read the arrangement of a file; the first one of an ABC book.

    known : what the user says of the page, where the reading itself depends on it
    Raises PipelineError when the file is missing, empty, of another kind or broken.
    """
    return finished_from_bytes(content(path), name=clean(path.name), known=known)


def finished_from_bytes(data: bytes, *, name: str, known: Known = NOTHING) -> Finished:
    """Read the arrangement that the bytes of a file hold. Raises PipelineError."""
    kind = kind_of(data, name)
    if kind == "musicxml":
        from liltwright.read.finished_xml import read_finished_xml

        found = read_finished_xml(data, name=name)
    elif kind == "midi":
        from liltwright.read.finished_midi import read_finished_midi

        found = read_finished_midi(data, name=name, known=known)
    elif kind == "abc":
        from liltwright.read.finished_abc import read_finished_abc

        found = read_finished_abc(decoded(data, name), name=name)
    elif kind == "tablature":
        found = finished_of_text(decoded(data, name), name=name)
    elif kind == "typed":
        from liltwright.read.finished_typed import read_finished_typed

        found = read_finished_typed(decoded(data, name), name=name, known=known)
    else:
        raise PipelineError(
            f"{name} is JSON, which holds no finished page here: use MusicXML, MIDI, ABC or text "
            "tablature."
        )
    check("notes", sum(len(bar.notes) for bar in found.bars), name)
    if not any(bar.notes for bar in found.bars):
        raise PipelineError(f"{name} has no notes.")
    return found


def finished_of_text(text: str, *, name: str) -> Finished:
    """Text tablature of this program as Finished."""
    tab = read_tablature(text, name=name)
    full = Fraction(tab.head.meter)
    return Finished(
        source=Source(name, hashlib.sha256(text.encode()).hexdigest()),
        stated=_stated(tab),
        bars=tuple(_text_bar(tab, index, full) for index in range(len(tab.bars))),
        strings_midi=tab.setup.strings_midi,
        capo=tab.setup.capo,
    )


def without_voices(finished: Finished) -> Finished:
    """The same page with nothing said about voices, and no note longer than to the next one."""
    return replace(finished, bars=tuple(_plain(bar) for bar in finished.bars))


def _plain(bar: ReadBar) -> ReadBar:
    starts = sorted({note.start for note in bar.notes if not _grace(note)})
    ends = [*starts[1:], max([bar.length, *starts])]
    after = dict(zip(starts, ends, strict=False))  # a bar may be silent, or hold grace notes only
    notes = []
    for note in bar.notes:
        assert isinstance(note, FinishedNote)
        length = note.length if note.grace else after[note.start] - note.start
        notes.append(replace(note, voice="", finger=0, pluck="", length=length or note.length))
    return replace(bar, notes=tuple(notes))


def _grace(note: object) -> bool:
    return isinstance(note, FinishedNote) and note.grace


def _stated(tab: Tablature) -> Stated:
    head, key = tab.head, tab.setup.sounds_in
    return Stated(
        title=head.title,
        meter=head.meter,
        kind=head.tune_type,
        key=key,
        signature=max(-7, min(7, keys.signature_of(key.tonic, key.mode))),
        whole_notes_a_minute=Fraction(head.beats_per_minute) * head.beat,
    )


def _text_bar(tab: Tablature, index: int, full: Fraction) -> ReadBar:
    bar = tab.page[index]
    offset = offset_of(bar, full)
    return ReadBar(
        notes=tuple(
            FinishedNote(
                note.midi, note.start - offset, note.length, None, note.string, note.fret,
                note.part, note.grace, note.technique,
            )
            for note in tab.bars[index]
        ),
        length=bar.length,
        opens=bool(bar.part),
        closes=bar.double or bar.times > 1,
        times=bar.times,
        ending=bar.ending,
        chords=bar.chords,
    )  # fmt: skip
