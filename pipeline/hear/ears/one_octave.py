"""The lead of a band in one octave.

Task   : notes of the band's ear -> the same notes, without leaps from player to player.
In     : RawNotes in order of onset, the Evidence they were read from, how loud their odd harmonics
         are.
Out    : RawNotes; pitches differ by whole octaves at most.
Method : players in octaves make the line leap from one to the other, most of all at ornaments that
         only one of them plays; a flute or whistle alone may be heard an octave too low for a
         while. A best path over the octaves of each note weighs what the network believes of the
         other octaves, and whether the odd harmonics of the lower one sound at all, against leaps
         wider than tunes have. The more notes of a recording are in doubt between octaves, the
         more the path keeps to one of them: then leaps cost more, brief notes and small
         beliefs count less, a change of octave has a price, and so has what lies far from the
         middle of the line.
References: A. Viterbi, 1967; leaps of folk tunes: wider than a fifth in few per cent of the steps
         (D. Huron, "Sweet Anticipation", 2006, ch. 5, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from liltwright.hear.ears.network import (
    BINS_PER_SEMITONE,
    HOP_S,
    LOWEST_MIDI,
    N_PITCHES,
    Evidence,
)
from liltwright.hear.ears.raw import RawNote

SHIFTS = np.array((0, -12, 12))  # semitones that a note of the lead may be moved by
DOUBT = 0.05  # belief in another octave from which on a note is in doubt
FEW, MANY = 0.1, 0.25
"""Shares of doubtful notes from which on the path keeps to one octave, and does so in full."""
BRIEF_S = 0.08  # notes that are shorter may be ornaments of one player
HOLLOW_DB, HOLLOW_WIDTH_DB, HOLLOW = -16.0, 4.0, 4.0
"""Where odd harmonics lie lower than the first, an octave up is likelier; fully so that much lower;
by how much. Each note with its neighbours: of a real player an octave below single notes lie at
-16 dB, of flutes and whistles heard an octave too low whole phrases at -18 dB and less."""
WIDE = 7.0  # semitones; a wider step has a price
AWAY = 10.0  # semitones from the middle of the line that are free
REST_S = 1.0
"""After a rest of this length any leap is free."""


@dataclass(frozen=True, slots=True)
class Keeping:
    """Prices in nats.

    floor  : no octave of a note is less probable than this
    brief  : share of the belief that counts of a brief note
    leap   : per semitone of a step beyond WIDE
    change : of going over to another octave than heard, and back
    away   : per semitone that a note is farther than AWAY from the middle of the line
    """

    floor: float
    brief: float
    leap: float
    change: float
    away: float


SURE, DOUBTFUL = Keeping(0.01, 1.0, 0.2, 0.0, 0.0), Keeping(0.05, 0.5, 1.2, 1.0, 0.3)
"""Where few notes are in doubt between octaves, and where many are (models/band/CARD.md)."""


def one_octave(
    notes: list[RawNote], beliefs: Evidence, odd: np.ndarray | None = None
) -> list[RawNote]:
    """The notes with leaps between octaves put right where network and sound allow it.

    odd : as of band.odd_db; None where nothing is known of the sound
    """
    if len(notes) < 2:
        return notes
    octaves = np.stack([_octaves(note, beliefs) for note in notes])
    brief = np.array([note.offset_s - note.onset_s < BRIEF_S for note in notes])
    habit = _between(doubt_of(octaves, brief))
    gains = np.log(np.maximum(octaves, habit.floor))
    gains[brief] *= habit.brief
    if odd is not None:
        padded = np.pad(odd, 1, mode="edge")
        around = np.median([padded[:-2], odd, padded[2:]], axis=0)
        gains[:, 2] += HOLLOW * np.clip((HOLLOW_DB - around) / HOLLOW_WIDTH_DB, 0.0, 1.0)
    shifts = _path(notes, gains, habit)
    if habit.away > 0.0:
        midi = np.array([note.midi for note in notes])
        apart = np.abs(midi[:, None] + SHIFTS - np.median(midi + shifts))
        shifts = _path(notes, gains - habit.away * np.maximum(apart - AWAY, 0.0), habit)
    return [
        replace(note, midi=note.midi + float(by)) if by else note
        for note, by in zip(notes, shifts, strict=True)
    ]


def doubt_of(octaves: np.ndarray, brief: np.ndarray) -> float:
    """Share of the notes that are not brief whose octave is in doubt, 0 to 1."""
    doubtful = octaves[~brief, 1:].max(axis=1, initial=0.0) > DOUBT
    return float(doubtful.mean()) if len(doubtful) else 0.0


def _between(doubt: float) -> Keeping:
    """The prices for a recording of which such a share of the notes is in doubt."""
    part = float(np.clip((doubt - FEW) / (MANY - FEW), 0.0, 1.0))

    def mixed(name: str) -> float:
        sure, doubtful = float(getattr(SURE, name)), float(getattr(DOUBTFUL, name))
        return sure + part * (doubtful - sure)

    floor = SURE.floor * (DOUBTFUL.floor / SURE.floor) ** part
    return Keeping(floor, mixed("brief"), mixed("leap"), mixed("change"), mixed("away"))


def _path(notes: list[RawNote], gains: np.ndarray, habit: Keeping) -> np.ndarray:
    """Semitones by which each note of the best path is moved, shape (n_notes,)."""
    midi = np.array([note.midi for note in notes])[:, None] + SHIFTS
    change = habit.change * (SHIFTS[:, None] != SHIFTS[None, :])
    came = np.zeros(gains.shape, dtype=int)
    score = gains[0]
    for i in range(1, len(notes)):
        steps = np.abs(midi[i][None, :] - midi[i - 1][:, None])
        leaps = habit.leap * np.maximum(steps - WIDE, 0.0)
        rested = notes[i].onset_s - notes[i - 1].offset_s > REST_S
        table = score[:, None] - change - (0.0 if rested else leaps)
        came[i] = table.argmax(axis=0)
        score = table.max(axis=0) + gains[i]
    state, shifts = int(score.argmax()), np.zeros(len(notes))
    for i in range(len(notes) - 1, -1, -1):
        shifts[i] = SHIFTS[state]
        state = int(came[i, state])
    return shifts


def _octaves(note: RawNote, beliefs: Evidence) -> np.ndarray:
    """Mean belief in the note's pitch at each of SHIFTS, shape (3,)."""
    first = round(note.onset_s / HOP_S)
    last = max(round(note.offset_s / HOP_S), first + 1)
    found = np.zeros(len(SHIFTS))
    if first >= len(beliefs.pitch):
        return found
    mean = beliefs.pitch[first:last].mean(axis=0)
    for k, by in enumerate(SHIFTS):
        at = round((note.midi + by - LOWEST_MIDI) * BINS_PER_SEMITONE) + 1
        if at - 2 >= 0 and at + 3 <= N_PITCHES:
            found[k] = float(mean[at - 2 : at + 3].sum())
    return found
