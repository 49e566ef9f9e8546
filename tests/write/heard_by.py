"""How other programs understand our files: notes as (start, pitch), starts in whole notes."""

from __future__ import annotations

import io
import subprocess
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import mido

from pipeline.tune import Tune
from pipeline.write.sheet import Sheet, sheet_of_tune
from pipeline.write.voices import VoiceName

Notes = list[tuple[Fraction, int]]
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
