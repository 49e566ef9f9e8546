"""Task: which semitone is meant when a recording lies near a quarter tone off concert pitch.

In: how far it lies above A = 440 Hz, the ranked keys of the tune as heard, what the user knows.
Out: `concert_move(...)`: semitones to move everything by, and the choice that was made.
Method: an offset of 48 cents below might as well be 52 above, and everything a semitone lower.
    Beyond FAR the two are weighed: how probable the offset is (normal, SPREAD), and how usual the
    keys are that the tune may then be in (models/modes/usual.json), each by its key evidence.
    Singers take any key: the more the notes scatter about the semitones, as voices do, the more
    of the weight is the same for all keys.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from liltwright import models
from liltwright.keys import pitch_class, transpose_key
from liltwright.tune import Heard, KeyCandidate, KeyName

FAR_CENTS, SPREAD_CENTS = 35.0, 25.0
"""Off concert pitch from which on two semitones are possible, and a player's spread."""
UNUSUAL = 0.3  # share of performances on an instrument that are in any key
STEADY_CENTS, WAVERING_CENTS = 10.5, 14.0
"""Scatter of the notes of an instrument and of a voice. Heard: a real flute 10, eight real singers
15 to 29, synthetic instruments 2 to 8, synthetic voices 7 to 22."""
TO_SPREAD = 1.48  # standard deviation of a normal distribution by its median distance
SEMITONE_CENTS = 100.0  # by definition


@dataclass(frozen=True, slots=True)
class ConcertMove:
    """What was chosen: semitones to move by, and the other choice with its probability."""

    semitones: int
    other: int
    other_chance: float


def concert_move(
    offset_cents: float,
    keys: Sequence[KeyCandidate],
    *,
    scatter_cents: float = 0.0,
    known_cents: float | None = None,
    known_key: KeyName | None = None,
) -> ConcertMove | None:
    """The choice; None where there is none to make.

    offset_cents : of the recording above A = 440 Hz, as heard. scatter_cents : of its notes, see
    scatter. known_cents : as the user says. known_key : the key that the user fixed, as it shall
    be written.
    """
    if known_cents is not None:
        semitones = round((known_cents - offset_cents) / SEMITONE_CENTS)
        return ConcertMove(-semitones, -semitones, 0.0) if semitones else None
    if abs(offset_cents) <= FAR_CENTS:
        return None
    other = 1 if offset_cents > 0 else -1
    rise = (scatter_cents - STEADY_CENTS) / (WAVERING_CENTS - STEADY_CENTS)
    any_key = UNUSUAL + (1 - UNUSUAL) * float(np.clip(rise, 0.0, 1.0))
    worth = []
    for semitones in (0, other):
        off = (offset_cents - SEMITONE_CENTS * semitones) / SPREAD_CENTS
        worth.append(float(np.exp(-0.5 * off**2)) * _usual(keys, semitones, known_key, any_key))
    chance = worth[1] / max(sum(worth), 1e-12)
    if chance > 0.5:
        return ConcertMove(other, 0, 1 - chance)
    return ConcertMove(0, other, chance)


def scatter(heard: Heard) -> float:
    """How far the notes lie from whole semitones, in cents, as a standard deviation."""
    midi = np.array([note.midi for note in heard.notes])
    if not len(midi):
        return 0.0
    return TO_SPREAD * SEMITONE_CENTS * float(np.median(np.abs(midi - np.round(midi))))


def _usual(
    keys: Sequence[KeyCandidate], semitones: int, known: KeyName | None, any_key: float
) -> float:
    """How usual the keys are, by their probability, when all is moved by so many semitones.

    any_key : share of the weight that is the same for all keys.
    """
    table = models.read_json("modes/usual.json")
    total = sum(sum(row) for row in table.values())
    places = sum(len(row) for row in table.values())
    found = 0.0
    for key in keys:
        moved = transpose_key(KeyName(key.tonic, key.mode), semitones)
        tonic = pitch_class(moved.tonic)
        if known is not None:
            fits = known.mode == moved.mode and pitch_class(known.tonic) == tonic
            found += key.probability * fits
            continue
        usual = table.get(moved.mode, table["minor"])[tonic] / total
        found += key.probability * (any_key / places + (1 - any_key) * usual)
    return found


def moved_heard(heard: Heard, semitones: int) -> Heard:
    """What was heard, read so many semitones higher on a concert pitch as much lower."""
    notes = tuple(replace(note, midi=note.midi + semitones) for note in heard.notes)
    offset = heard.tuning_offset_cents - SEMITONE_CENTS * semitones
    return replace(heard, notes=notes, tuning_offset_cents=offset)


def moved_keys(keys: Sequence[KeyCandidate], move: ConcertMove) -> tuple[KeyCandidate, ...]:
    """The keys as they are now, with the best one of the other choice in second place."""
    here = [_moved(key, move.semitones) for key in keys]
    if move.other == move.semitones or not here:
        return tuple(here)
    second = replace(_moved(keys[0], move.other), probability=round(move.other_chance, 4))
    rest = [replace(k, probability=k.probability * (1 - move.other_chance)) for k in here]
    rest = [key for key in rest if (key.tonic, key.mode) != (second.tonic, second.mode)]
    return (rest[0], second, *rest[1:])


def _moved(key: KeyCandidate, semitones: int) -> KeyCandidate:
    moved = transpose_key(KeyName(key.tonic, key.mode), semitones)
    return replace(key, tonic=moved.tonic, mode=moved.mode)


def concert_remark(
    offset_cents: float, keys: Sequence[KeyCandidate], move: ConcertMove
) -> tuple[str, ...]:
    """What was chosen and how to have it otherwise. offset_cents, keys : as heard."""
    if move.other == move.semitones:
        return ()
    mine, other = (_moved(keys[0], semitones) for semitones in (move.semitones, move.other))
    here = offset_cents - SEMITONE_CENTS * move.semitones
    there = offset_cents - SEMITONE_CENTS * move.other
    return (
        f"The recording lies near a quarter tone off concert pitch: it is written in {mine.tonic} "
        f"{mine.mode}, {_cents(here)} A = 440; it might be {other.tonic} {other.mode}, "
        f"{_cents(there)}: the concert pitch {there:.0f} writes that.",
    )


def _cents(offset: float) -> str:
    return f"{abs(offset):.0f} cents {'above' if offset > 0 else 'below'}"
