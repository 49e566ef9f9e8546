"""The program's own ear, second half: from per-frame beliefs to notes.

Task   : Evidence of the network -> the most probable sequence of notes.
In     : network.Evidence.
Out    : RawNotes in order of onset, not overlapping, with confidence and belief in an ornament.
Method : places where something may begin or end are the peaks of onset and offset and the frames
         where the most probable pitch changes; between two such places nothing changes. Over these
         stretches the best path is found exactly (Viterbi): states are the pitch classes and
         silence, a stretch counts the logarithms of its frames, a place costs what its onset says
         for beginning a note or against it. Pitch is judged in a window of almost a semitone, so
         that vibrato, scoops and drift stay one note; two notes a few cents apart can only meet
         at an onset. Leaps of whole octaves inside a phrase have to be paid for, and no leap of
         an octave happens without an onset. How many of the probable readings have a note is
         told with it (readings.py). The pitch of a note is the mean of its frames' beliefs around
         its class.
References: A. Viterbi, 1967; M. Mauch et al., "Computer-aided melody note transcription using the
         Tony software", TENOR 2015 (notes as states of such a model; we work on stretches).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from liltwright.hear.audio.events import Events
from liltwright.hear.ears.network import (
    BINS_PER_SEMITONE,
    HOP_S,
    N_PITCHES,
    Evidence,
    Known,
    class_midi,
    evidence,
)
from liltwright.hear.ears.raw import RawNote
from liltwright.hear.ears.readings import Prices, shares
from liltwright.hear.ears.repeats import weighed_anew
from liltwright.progress import Progress, silent
from liltwright.tune import Restrike

ONSET_PLACE = 0.04  # belief from which on a peak may be an onset
OFFSET_PLACE = 0.15  # belief from which on a peak may be an end
SHORTEST = 2
"""Frames; about 23 ms, the shortest cut."""
TOLERANCE = np.array([0.35, 0.9, 1.0, 0.9, 0.35])
"""Share of the belief in neighbouring classes that counts for a class."""
PITCH_FLOOR = 0.003
"""No single frame may rule a pitch out."""
ONSET_POWER = 3.0  # how strongly onsets speak against staying on a note
UNHEARD, SLURRED = 0.03, 0.2
"""Least belief in an onset where the pitch itself changes; below the second no onset is heard."""
NEW_NOTE = 0.2
"""Price of every new note."""
OCTAVE = 2.0
"""Price of a leap of one or more whole octaves."""
SLURRED_LEAP, WIDE = 1000.0, 10.5
"""Price of a leap of more than so many semitones where no onset is heard at all."""
LEAP = 0.04
"""Price per semitone beyond a fifth."""
SILENCE_IN = 0.7  # nats that going into a rest costs


@dataclass(frozen=True, slots=True)
class Stretches:
    """Places in frames, shape (n + 1,), and the belief in an onset at the first n of them."""

    places: np.ndarray
    onset: np.ndarray


def own_notes(
    samples: np.ndarray,
    events: Events,
    first: int = 0,
    *,
    progress: Progress = silent,
    known: Known | None = None,
) -> list[RawNote]:
    """The notes of a recording or of a piece of it: float32 samples at network.SAMPLE_RATE.

    events : of the whole recording; first : the frame of theirs with which the samples begin
    known  : pieces of these samples that the network has worked through before
    """
    beliefs = evidence(samples, progress=progress, known=known)
    return decode(weighed_anew(beliefs, samples, events, first))


def decode(beliefs: Evidence) -> list[RawNote]:
    """The most probable notes."""
    stretches = find_places(beliefs)
    if len(stretches.places) < 2:
        return []
    prices = all_prices(beliefs, stretches)
    path = best_path(prices, stretches.places)
    return _read_off(beliefs, stretches, path, shares(prices, stretches.places, path))


def find_places(beliefs: Evidence) -> Stretches:
    """Frames at which a note may begin or end, at least SHORTEST apart, strongest first."""
    total = len(beliefs.onset)
    best = beliefs.pitch.argmax(axis=1)
    moved = np.zeros(total)
    moved[1:] = (np.abs(np.diff(best)) > BINS_PER_SEMITONE // 2) * 0.02
    moved[1:] += (np.diff((best == N_PITCHES).astype(int)) != 0) * 0.05
    strength = np.maximum(_peaks(beliefs.onset, ONSET_PLACE), moved)
    strength = np.maximum(strength, 0.5 * _peaks(beliefs.offset, OFFSET_PLACE))
    free = np.ones(total + 2 * SHORTEST, dtype=bool)
    chosen = []
    for frame in np.argsort(-strength, kind="stable")[: int((strength > 0).sum())]:
        if free[frame + SHORTEST]:
            chosen.append(frame)
            free[frame + 1 : frame + 2 * SHORTEST] = False
    inner = np.sort([frame for frame in chosen if SHORTEST <= frame <= total - SHORTEST])
    places = np.concatenate(([0], inner, [total])).astype(int)
    around = np.pad(beliefs.onset, 1)
    onset = np.max([around[places[:-1] + k] for k in range(3)], axis=0)
    return Stretches(places, onset)


def _peaks(track: np.ndarray, least: float) -> np.ndarray:
    """The values at local maxima of at least `least`, 0 elsewhere."""
    padded = np.pad(track, 1)
    top = (track >= padded[:-2]) & (track > padded[2:]) & (track >= least)
    return np.where(top, track, 0.0)


@cache
def _is_near() -> np.ndarray:
    """1 where classes differ by less than a semitone, shape (N_PITCHES, N_PITCHES)."""
    steps = np.abs(np.subtract.outer(np.arange(N_PITCHES), np.arange(N_PITCHES)))
    return (steps < BINS_PER_SEMITONE).astype(np.float32)


@cache
def _steps(wide_leap: float) -> np.ndarray:
    """Price of going from one pitch class to another, shape (N_PITCHES, N_PITCHES)."""
    steps = np.abs(np.subtract.outer(np.arange(N_PITCHES), np.arange(N_PITCHES)))
    semitones = steps / BINS_PER_SEMITONE
    octaves = np.abs(semitones - 12 * np.round(semitones / 12)) < 0.4
    price = NEW_NOTE + LEAP * np.maximum(semitones - 7, 0)
    price += OCTAVE * (octaves & (semitones > 6)) + wide_leap * (semitones > WIDE)
    return price.astype(np.float32)


def tolerant(pitch: np.ndarray) -> np.ndarray:
    """Log belief per class and silence with neighbours counted in, shape (n, N_PITCHES + 1)."""
    reach = len(TOLERANCE) // 2
    padded = np.pad(pitch[:, :-1], ((0, 0), (reach, reach)))
    wide = sum(
        share * padded[:, k : k + N_PITCHES] for k, share in enumerate(TOLERANCE.astype(np.float32))
    )
    return np.log(np.concatenate([wide, pitch[:, -1:]], axis=1) + PITCH_FLOOR)


def all_prices(beliefs: Evidence, stretches: Stretches) -> Prices:
    """What beliefs and habits say for every state and every change of state."""
    onset = np.clip(stretches.onset, 1e-4, 1 - 1e-4).astype(np.float32)
    return Prices(
        gains=np.add.reduceat(tolerant(beliefs.pitch), stretches.places[:-1], axis=0),
        stay=ONSET_POWER * np.log(1 - onset),
        near=ONSET_POWER * np.log(onset),
        far=ONSET_POWER * np.log(np.maximum(onset, UNHEARD)),
        heard=onset > SLURRED,
        step=_steps(0.0),
        slurred_step=_steps(SLURRED_LEAP),
        is_near=_is_near(),
        rest=-SILENCE_IN,
        entry=-NEW_NOTE,
    )


def best_path(prices: Prices, places: np.ndarray) -> list[tuple[int, int, int]]:
    """Notes as (first frame, last frame + 1, class) of the best path."""
    count = len(prices.gains)
    came = np.empty((count, N_PITCHES + 1), dtype=np.int16)
    states = np.arange(N_PITCHES)
    score = prices.gains[0].copy()
    came[0] = -1
    for k in range(1, count):
        notes, silence = score[:-1], score[-1]
        table = notes[:, None] - (prices.step if prices.heard[k] else prices.slurred_step)
        if prices.near[k] < prices.far[k]:
            table -= prices.is_near * (prices.far[k] - prices.near[k])
        source = table.argmax(axis=0)
        change = table[source, states] + prices.far[k]
        from_silence = silence + prices.far[k] + prices.entry
        kept = notes + prices.stay[k]
        new = np.empty_like(score)
        # code of origin: a class = new note after it, N_PITCHES = after silence, -1 = goes on
        choice = np.where(change >= from_silence, source, N_PITCHES)
        value = np.maximum(change, from_silence)
        new[:-1] = np.maximum(kept, value)
        came[k, :-1] = np.where(kept >= value, -1, choice)
        ended = notes + prices.rest
        last = int(ended.argmax())
        silent = silence + 0.5 * prices.stay[k]
        new[-1] = max(silent, ended[last])
        came[k, -1] = -1 if silent >= ended[last] else last
        score = new + prices.gains[k]
        score -= score.max()
    return _trace(came, int(score.argmax()), places)


def _trace(came: np.ndarray, state: int, places: np.ndarray) -> list[tuple[int, int, int]]:
    notes = []
    end = len(came)
    for k in range(len(came) - 1, -1, -1):
        origin = int(came[k, state])
        if origin == -1 and k > 0:
            continue
        if state < N_PITCHES:
            notes.append((int(places[k]), int(places[end]), state))
        end, state = k, origin
    return notes[::-1]


def _read_off(
    beliefs: Evidence,
    stretches: Stretches,
    path: list[tuple[int, int, int]],
    readings: np.ndarray,
) -> list[RawNote]:
    strength = dict(zip(stretches.places.tolist(), stretches.onset.tolist(), strict=False))
    weak = [place for place, onset in strength.items() if onset >= ONSET_PLACE]
    midi, notes = class_midi(), []
    for (first, last, state), share in zip(path, readings.tolist(), strict=True):
        low, high = max(state - 3, 0), min(state + 4, N_PITCHES)
        belief = beliefs.pitch[first:last, low:high]
        total = float(belief.sum())
        pitch = float(belief.sum(axis=0) @ midi[low:high]) / total if total > 0 else midi[state]
        heard = strength[first]
        mean = total / (last - first)
        onset_s = _exact(beliefs.onset, first) * HOP_S
        inside = weak[bisect_right(weak, first) : bisect_left(weak, last)]
        begins = [(onset_s, heard)] * (heard >= ONSET_PLACE)
        begins += [(_exact(beliefs.onset, place) * HOP_S, strength[place]) for place in inside]
        notes.append(
            RawNote(
                onset_s=onset_s,
                offset_s=last * HOP_S,
                midi=float(pitch),
                confidence=float(np.clip(np.sqrt(mean * max(heard, 0.05)), 0.01, 0.99)),
                ornament=float(beliefs.ornament[first:last].mean()),
                readings=share,
                again=tuple(Restrike(max(at_s, 0.0), belief) for at_s, belief in begins),
            )
        )
    ends = [note.onset_s for note in notes][1:] + [np.inf] * bool(notes)
    return [
        replace(note, onset_s=max(note.onset_s, 0.0), offset_s=min(note.offset_s, end))
        for note, end in zip(notes, ends, strict=True)
    ]


def _exact(onset: np.ndarray, frame: int) -> float:
    """Place of an onset in frames: centre of gravity of the belief around its peak.

    Less than a frame from `frame`, so that notes stay in order.
    """
    near = np.arange(max(frame - 1, 0), min(frame + 2, len(onset)))
    peak = int(near[onset[near].argmax()])
    around = np.arange(max(peak - 1, 0), min(peak + 2, len(onset)))
    weight = onset[around] + 1e-6
    if weight.max() < ONSET_PLACE:
        return float(frame)
    return float(np.clip((around * weight).sum() / weight.sum(), frame - 0.9, frame + 0.9))
