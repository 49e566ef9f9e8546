"""The lead of a band: one to four players on one line, each in his own way.

In     : a piece, a numpy random generator, the sampler.
Out    : Clip with the sound of all of them and the labels of one.
Method : every player has his own instrument, octave, timing, ornaments and small variations. The
         labels are those of the lowest player, the loudest of them when several are in that octave:
         the only octave that the sound itself tells.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liltwright.models.band.sound import Band
from liltwright.models.band.tunes import Piece, Plain
from liltwright.models.ear.curves import CLIP_S, Clip, label, leave_gaps
from liltwright.models.ear.families import FAMILIES
from liltwright.models.ear.melodies import SLUR, TONGUE, Habits, Played, _decorated, _Line
from liltwright.models.ear.sampled import RANGES, _perform
from liltwright.models.ear.strings import plucked
from liltwright.models.ear.sustained import sustained

SHARES = {
    "bowed": 0.22, "flute": 0.13, "whistle": 0.13, "pipes": 0.09, "reed": 0.05, "free reed": 0.13,
    "plucked": 0.12, "voice": 0.03, "brass": 0.02, "lip whistle": 0.02, "hum": 0.01,
}  # fmt: skip
SAMPLED = (73, 72, 74, 75, 78, 79, 68, 69, 71, 21, 22, 23, 40, 40, 40, 41, 110, 110, 109, 111, 65)
SAMPLED_PLUCKED = (24, 25, 26, 105, 105, 106, 104, 15, 46, 6)
PLUCKED_RANGE = (50, 88)
COUNTS = (0.42, 0.34, 0.16, 0.08)
"""Chances of one to four players."""
SAME = 0.5
"""Chance that a further player keeps to the octave of the first where he could play another."""


@dataclass(frozen=True, slots=True)
class Seat:
    """One player: instrument, octave against the piece, loudness."""

    family: str
    program: int
    octave: int
    gain: float


def lead(
    rng: np.random.Generator,
    clip: Clip,
    what: Piece,
    band: Band,
    cents: float,
    start_s: float,
    stop_s: float,
) -> None:
    """Add the lead between two times to the clip, with labels."""
    seats = _seats(rng, what)
    leader = min(seats, key=lambda seat: (seat.octave, -seat.gain))
    apart = rng.uniform(0, 0.014) if len(seats) > 1 else 0.0
    for seat in seats:
        late = rng.normal(0, apart) if seat is not leader else 0.0
        played = _perform_line(rng, what, seat, start_s, stop_s, late, own=seat is leader)
        if not played.midi:
            continue
        own = Clip()
        _sound(rng, own, seat, played, cents + rng.normal(0, 5) * (seat is not leader), band)
        for lane in own.lanes:
            lane.level *= np.float32(seat.gain)
        for noise in own.noises:
            noise.level *= np.float32(seat.gain)
        clip.lanes += own.lanes
        clip.noises += own.noises
        if own.audio is not None:
            added = own.audio * np.float32(seat.gain)
            clip.audio = added if clip.audio is None else clip.audio + added
        if seat is leader:
            clip.pitch, clip.events = own.pitch, own.events


def _seats(rng: np.random.Generator, what: Piece) -> list[Seat]:
    count = int(rng.choice((1, 2, 3, 4), p=COUNTS))
    low, high = min(n.midi for n in what.notes), max(n.midi for n in what.notes)
    seats: list[Seat] = []
    for number in range(count):
        family, program = _instrument(rng)
        bottom, top = _range(family, program)
        fits = [o for o in (-24, -12, 0, 12, 24) if low + o >= bottom - 1 and high + o <= top + 2]
        if not fits:
            fits = [min((-12, 0, 12), key=lambda o: abs(low + high + 2 * o - bottom - top))]
        if seats:
            near = [o for o in fits if abs(o - seats[0].octave) <= 12]
            if not near:
                continue
            same = [o for o in near if o == seats[0].octave]
            apart = [o for o in near if o != seats[0].octave]
            octave = int(rng.choice(same if same and rng.random() < SAME else apart or same))
        else:
            octave = int(rng.choice(fits))
        lowered = seats and octave < seats[0].octave
        db = rng.uniform(-6, 6) if lowered else rng.uniform(-8, 4) if number else 0.0
        seats.append(Seat(family, program, octave, 10 ** (db / 20)))
    return seats


def _instrument(rng: np.random.Generator) -> tuple[str, int]:
    if rng.random() < 0.4:
        if rng.random() < 0.25:
            return "sampled plucked", int(rng.choice(SAMPLED_PLUCKED))
        return "sampled", int(rng.choice(SAMPLED))
    names = list(SHARES)
    weights = np.array([SHARES[n] for n in names])
    return str(rng.choice(names, p=weights / weights.sum())), -1


def _range(family: str, program: int) -> tuple[int, int]:
    if family == "sampled":
        return RANGES[program]
    if family in FAMILIES:
        return FAMILIES[family].low, FAMILIES[family].high
    return PLUCKED_RANGE


def _perform_line(
    rng: np.random.Generator,
    what: Piece,
    seat: Seat,
    start_s: float,
    stop_s: float,
    late_s: float,
    *,
    own: bool,
) -> Played:
    """The line as this player plays it."""
    family = FAMILIES.get(seat.family)
    slur = rng.uniform(*family.slur) if family else float(rng.choice((0.0, 0.15, 0.5)))
    many = float(rng.choice((0.0, 0.1, 0.25, 0.4)))
    vary = 0.0 if own else rng.uniform(0, 0.15)
    jitter = rng.uniform(0.003, 0.012)
    gap = float(rng.choice((0.0, 0.03, 0.15), p=(0.5, 0.3, 0.2)))
    habits = Habits(40, 100, what.unit_s)
    line, played = _Line(rng, habits), Played()
    notes = _varied(rng, what, vary)
    for note in notes:
        onset = what.seconds(note.start) + late_s + rng.normal(0, jitter)
        end = what.seconds(note.start + note.length) + late_s
        onset = max(onset, played.end_s[-1] if played.end_s else 0.0)
        end = min(end, stop_s)
        if onset < start_s or end - onset < 0.05:
            continue
        midi = note.midi + seat.octave
        free = not played.end_s or onset - played.end_s[-1] > 0.03
        same = bool(played.midi) and played.midi[-1] == midi
        begin = TONGUE if free or same or rng.random() > slur else SLUR
        sounding = end - rng.uniform(0, gap) * (end - onset)
        if rng.random() < many and end - onset > 0.09:
            _decorated(rng, line, played, onset, sounding, midi, begin)
        else:
            played.add(onset, sounding, midi, begin, False)
    return played


def _varied(rng: np.random.Generator, what: Piece, share: float) -> list[Plain]:
    """The written notes with a few left out, moved to a neighbour or held on."""
    notes: list[Plain] = []
    for note in what.notes:
        kind = rng.random()
        if share and kind < 0.4 * share and notes:
            last = notes[-1]
            notes[-1] = Plain(last.start, note.start + note.length - last.start, last.midi)
        elif share and kind < 0.8 * share:
            steps = [m for m in range(-4, 5) if m and (note.midi + m - what.tonic) % 12 in
                     what.scale]  # fmt: skip
            notes.append(Plain(note.start, note.length, note.midi + int(rng.choice(steps))))
        elif share and kind < share:
            continue
        else:
            notes.append(note)
    return notes


def _sound(
    rng: np.random.Generator, clip: Clip, seat: Seat, played: Played, cents: float, band: Band
) -> None:
    """Lanes or sampled sound of one player, with labels."""
    if seat.family == "plucked":
        plucked(rng, clip, played, cents)
        return
    if seat.family in FAMILIES:
        sustained(rng, clip, seat.family, played, cents)
        return
    strings = seat.family == "sampled plucked"
    leave_gaps(rng, played, 0.0, 0.03)
    ring = strings and rng.random() < 0.5
    bends = not strings and rng.random() < 0.5
    audio = _perform(rng, band, seat.program, played, cents, bends, ring)
    clip.audio = audio / max(float(np.sqrt(np.mean(audio**2))) * 3, 0.1)
    if ring:
        for i in range(len(played.midi)):
            following = played.onset_s[i + 1] if i + 1 < len(played.midi) else CLIP_S
            played.end_s[i] = min(following, played.onset_s[i] + 0.8)
    label(clip, played, cents)
