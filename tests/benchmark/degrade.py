"""Task: spoil heard notes on purpose, to see how the stages after hearing bear it.

In: Heard, three shares and a seed. Out: Heard with that share of its notes dropped, with notes
    invented between others, and with onsets shifted.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liltwright.tune import Heard, NoteEvent


def degrade(
    heard: Heard, *, drop: float = 0.0, insert: float = 0.0, shift: float = 0.0, seed: int = 0
) -> Heard:
    """Spoil the notes.

    drop, insert, shift : shares of the notes, 0..1. A shifted note moves by 40 to 90 ms, never
        past its neighbours; an invented one splits a note longer than 120 ms, half of them at
        another pitch.
    """
    rng = np.random.default_rng(seed)
    notes = [note for note in heard.notes if rng.random() >= drop]
    notes = [_shifted(notes, at, rng) if rng.random() < shift else note
             for at, note in enumerate(notes)]  # fmt: skip
    out: list[NoteEvent] = []
    for note in sorted(notes, key=lambda note: note.onset_s):
        out += _split(note, rng) if rng.random() < insert else [note]
    return replace(heard, notes=tuple(_in_order(out)))


def _shifted(notes: list[NoteEvent], at: int, rng: np.random.Generator) -> NoteEvent:
    note = notes[at]
    moved = note.onset_s + float(rng.choice([-1, 1]) * rng.uniform(0.04, 0.09))
    earliest = notes[at - 1].onset_s + 0.03 if at else 0.0
    return replace(note, onset_s=min(max(moved, earliest), note.offset_s - 0.03))


def _split(note: NoteEvent, rng: np.random.Generator) -> list[NoteEvent]:
    if note.offset_s - note.onset_s < 0.12:
        return [note]
    where = note.onset_s + (note.offset_s - note.onset_s) * float(rng.uniform(0.3, 0.7))
    step = float(rng.choice([-2, -1, 1, 2])) if rng.random() < 0.5 else 0.0
    second = replace(note, onset_s=where, midi=note.midi + step, role="note", ornament=None)
    return [replace(note, offset_s=where), second]


def _in_order(notes: list[NoteEvent]) -> list[NoteEvent]:
    """Sorted, ends cut at the next onset."""
    notes = sorted(notes, key=lambda note: note.onset_s)
    out = []
    for at, note in enumerate(notes):
        end = min(note.offset_s, notes[at + 1].onset_s) if at + 1 < len(notes) else note.offset_s
        if end > note.onset_s:
            out.append(replace(note, offset_s=end))
    return out
