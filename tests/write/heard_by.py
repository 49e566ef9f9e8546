"""How other programs understand our files: notes as (start, pitch), starts in whole notes."""

from __future__ import annotations

import io
import subprocess
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import mido

from liltwright.read.tablature import Tablature
from liltwright.tune import Tune
from liltwright.write.sheet.bars import Sheet
from liltwright.write.sheet.layout import sheet_of_tune
from liltwright.write.sheet.voices import VoiceName

Notes = list[tuple[Fraction, int]]
Stated = tuple[Fraction, int, int, str, Fraction, str | None]
"""Start, string, fret, part, length and technique of a note on the guitar."""
TICK = Fraction(1, 80)
"""abc2midi strikes the notes of a chord a little apart."""


def midi_tracks(data: bytes) -> list[Notes]:
    """Notes of each track that has any, read by mido."""
    file = mido.MidiFile(file=io.BytesIO(data))
    tracks = []
    for track in file.tracks:
        now, notes = 0, []
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity:
                notes.append((Fraction(now, 4 * file.ticks_per_beat), message.note))
        if notes:
            tracks.append(sorted(notes))
    return tracks


def abc2midi(text: str, folder: Path) -> list[Notes]:
    """Notes of each voice as abc2midi plays the text. Raises AssertionError on its complaints."""
    (folder / "tune.abc").write_text(text, encoding="utf-8")
    command = ["abc2midi", "tune.abc", "-NGUI", "-silent", "-o", "tune.mid"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=True)
    assert "Error" not in done.stdout, done.stdout
    return midi_tracks((folder / "tune.mid").read_bytes())


def played(tune: Tune) -> Notes:
    """One round of the printed tune, repeats taken."""
    bars = sheet_of_tune(tune).bars
    now, notes = Fraction(0), []
    for index in tune.performed_order():
        notes += [(now + note.start, note.midi) for note in bars[index].sounding]
        now += bars[index].length
    return notes


def voice_of(
    sheet: Sheet, voices: tuple[VoiceName, ...], order: Sequence[int] | None = None
) -> Notes:
    """The written notes of voices, bars in the order of the page or in the order played."""
    now, notes = Fraction(0), []
    for index in range(len(sheet.bars)) if order is None else order:
        bar = sheet.bars[index]
        for voice in bar.voices:
            if voice.name in voices:
                for item in voice.items:
                    if not item.tied_in:
                        notes += [(now + item.start, note.midi) for note in item.notes]
        now += bar.length
    return sorted(notes)


def agree(ours: Notes, theirs: Notes) -> bool:
    """The same pitches at the same places, to a tick of the other program's clock."""
    return len(ours) == len(theirs) and all(
        a[1] == b[1] and abs(a[0] - b[0]) < TICK
        for a, b in zip(sorted(ours), sorted(theirs), strict=True)
    )


def as_sounding(sheet: Sheet) -> list[Stated]:
    """Start, string, fret, part, length and technique of every note, as long as it can ring.

    It ends when its string is played again and where the tune goes on from another place.
    """
    begin, notes, ends = Fraction(0), [], Fraction(0)
    limit_of: list[Fraction] = []
    begins = []
    for bar in sheet.bars:
        begins.append(begin)
        begin += bar.length
    for index in range(len(sheet.bars)):
        last = next(
            i
            for i in range(index, len(sheet.bars))
            if not sheet.bars[i].rings_on or i + 1 == len(sheet.bars)
        )
        limit_of.append(begins[last] + sheet.bars[last].length)
    for index, bar in enumerate(sheet.bars):
        for n in bar.sounding:
            if not n.grace:
                start = begins[index] + n.start
                ends = min(start + n.length, limit_of[index])
                notes.append((start, n.string, n.fret, n.voice, ends, n.technique))
    cut = []
    for start, string, fret, voice, end, technique in notes:
        again = [s for s, other, *_ in notes if other == string and s > start]
        cut.append((start, string, fret, voice, min([end, *again]) - start, technique))
    return sorted(cut, key=str)


def as_read(tab: Tablature, sheet: Sheet) -> list[Stated]:
    """The same of text tablature that was read back; `sheet` is what it was written from."""
    begin, notes = Fraction(0), []
    for bar, printed in zip(tab.bars, sheet.bars, strict=True):
        for n in bar:
            if not n.grace:
                start = begin + n.start - printed.offset
                notes.append((start, n.string, n.fret, n.part, n.length, n.technique))
        begin += printed.length
    return sorted(notes, key=str)
