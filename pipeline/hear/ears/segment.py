"""From pitch per frame to notes, for any tracker that gives one fundamental frequency.

Task   : F0Track + Events -> RawNotes.
In     : pitch every 10 to 20 ms, onset strength and level every 5.8 ms.
Out    : RawNotes in order of onset, not overlapping, pitch on A4 = 440 Hz.
Method : 1. best path (Viterbi) over silence and pitch states a third of a semitone apart. A state
         pays for the distance of the frame's pitch from it, up to a ceiling, and every change of
         state costs more than half a vibrato cycle or a scoop can save, less where an onset is
         strong. 2. runs of a state whose mean pitches lie too close to be two notes are joined.
         3. long runs are split where an onset is strong or the level dips and rises again
         (repeated notes). 4. boundaries move to the nearest onset.
References: G. D. Forney, "The Viterbi algorithm", Proc. IEEE 61, 1973; M. Mauch et al.,
         "Computer-aided melody note transcription using the Tony software", TENOR 2015 (note
         states over f0; we use plain states with a ceiling on the distance instead of three
         states per note).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from liltwright.hear.audio.events import Events
from liltwright.hear.ears.f0 import F0Track
from liltwright.hear.ears.raw import RawNote

STEPS = 3  # states a semitone
SILENCE = 0  # number of the state


@dataclass(frozen=True, slots=True, kw_only=True)
class SegmentSettings:
    """How pitch per frame becomes notes. Costs are in units of one bad frame."""

    voiced_at: float = 0.6
    """Belief at which a frame is as likely sung as silent."""
    spread_semitones: float = 0.7
    """Distance from the note's pitch that costs half a frame."""
    ceiling: float = 1.5
    change_cost: float = 2.6
    onset_discount: float = 1.6
    faint_db: float = 35.0
    """Frames this far below the loud tenth of the recording are taken as silent."""
    shortest_s: float = 0.05
    joined_semitones: float = 0.8
    split_strength: float = 1.0
    split_rise_db: float = 3.2
    split_gap_s: float = 0.09


SWIFT = SegmentSettings(
    ceiling=1.0, change_cost=3.2, onset_discount=2.2, faint_db=25.0, shortest_s=0.065,
    joined_semitones=0.65, split_strength=2.0, split_gap_s=0.07,
)  # fmt: skip
PYIN = SegmentSettings(
    ceiling=1.0, onset_discount=1.2, faint_db=25.0, shortest_s=0.065, joined_semitones=0.65,
    split_strength=2.0, split_gap_s=0.07,
)  # fmt: skip
"""Both tuned on development renders, one setting after the other, twice round: models/hearing."""


def segment(
    track: F0Track, events: Events, *, settings: SegmentSettings = SegmentSettings()
) -> list[RawNote]:
    """Notes of one voice. All arrays of `track` have shape (n_frames,)."""
    if len(track.times_s) < 2:
        return []
    lowest = np.floor(track.pitch_midi.min())
    states = _best_path(track, events, lowest, settings)
    runs = _runs(states)
    runs = _joined(runs, track, events, settings)
    notes: list[RawNote] = []
    for first, last in runs:
        notes += _notes_of_run(first, last, track, events, settings)
    return _in_order(notes, settings.shortest_s)


def _best_path(
    track: F0Track, events: Events, lowest: float, settings: SegmentSettings
) -> np.ndarray:
    """State per frame, 0 for silence, else 1 + steps above `lowest`."""
    span = int((np.ceil(track.pitch_midi.max()) - lowest + 1) * STEPS)
    centres = lowest + np.arange(span) / STEPS
    frames = len(track.times_s)
    strength = _at_frames(track, events, events.strength)
    change = settings.change_cost - settings.onset_discount * np.minimum(strength / 2, 1.5)
    voiced = _belief(track, events, settings)
    came_from = np.empty((frames, span + 1), dtype=np.int16)
    cost = np.zeros(span + 1)
    index = np.arange(span + 1)
    for i in range(frames):
        distance = np.abs(track.pitch_midi[i] - centres) / settings.spread_semitones
        best = int(np.argmin(cost))
        jump = cost[best] + change[i]
        stay = cost <= jump
        came_from[i] = np.where(stay, index, best)
        cost = np.where(stay, cost, jump)
        weight = max(voiced[i], 0.0)
        cost[1:] += weight * np.minimum(0.5 * distance, settings.ceiling) + max(-voiced[i], 0.0)
        cost[SILENCE] += weight
    path = np.empty(frames, dtype=np.int64)
    state = int(np.argmin(cost))
    for i in range(frames - 1, -1, -1):
        path[i] = state
        state = came_from[i, state]
    return path


def _belief(track: F0Track, events: Events, settings: SegmentSettings) -> np.ndarray:
    """-1 (surely silent) to 1 (surely pitched) per frame; faint frames are not pitched."""
    voiced = track.voiced
    sure = np.where(
        voiced >= settings.voiced_at,
        (voiced - settings.voiced_at) / (1.0 - settings.voiced_at),
        voiced / settings.voiced_at - 1.0,
    )
    level = _at_frames(track, events, events.level_db)
    loud = float(np.quantile(events.level_db, 0.9))
    floor = min(max(loud - settings.faint_db, events.noise_db + 3.0), loud - 15.0)
    return np.clip(sure, -1.0, np.clip((level - floor) / 6.0, -1.0, 1.0))


def _at_frames(track: F0Track, events: Events, values: np.ndarray) -> np.ndarray:
    """The largest of `values` (event grid) within one frame of the track, shape (n_frames,)."""
    hop_s = track.times_s[1] - track.times_s[0]
    reach = max(1, round(hop_s / events.hop_s))
    centre = np.rint(track.times_s / events.hop_s).astype(int)
    around = centre[:, None] + np.arange(-reach, reach + 1)
    return values[np.clip(around, 0, len(values) - 1)].max(axis=1)


def _runs(states: np.ndarray) -> list[tuple[int, int]]:
    """Frame ranges [first, last) of one pitch state each."""
    edges = np.flatnonzero(np.diff(states)) + 1
    bounds = np.concatenate(([0], edges, [len(states)]))
    return [(int(a), int(b)) for a, b in pairwise(bounds) if states[a] > 0]


def _joined(
    runs: list[tuple[int, int]], track: F0Track, events: Events, settings: SegmentSettings
) -> list[tuple[int, int]]:
    """Runs without those that only follow a scoop, a fall or a drift of the same note."""
    done: list[tuple[int, int]] = []
    for run in runs:
        if done and run[0] == done[-1][1]:
            apart = abs(_pitch(*run, track) - _pitch(*done[-1], track))
            if apart < settings.joined_semitones:
                done[-1] = (done[-1][0], run[1])
                continue
        done.append(run)
    return done


def _pitch(first: int, last: int, track: F0Track) -> float:
    """Median pitch of a run, its edges left out where it is long enough."""
    trim = min(2, (last - first - 1) // 3)
    pitch = track.pitch_midi[first + trim : last - trim]
    voiced = track.voiced[first + trim : last - trim]
    return float(np.median(pitch[voiced > 0.3] if (voiced > 0.3).any() else pitch))


def _notes_of_run(
    first: int, last: int, track: F0Track, events: Events, settings: SegmentSettings
) -> list[RawNote]:
    """One run of one pitch as one note, or as several where it is struck again."""
    half = (track.times_s[1] - track.times_s[0]) / 2
    start_s = max(0.0, track.times_s[first] - half)
    end_s = track.times_s[last - 1] + half
    start_s = _nearest_onset(start_s, events)
    cuts = [start_s, *_splits(start_s, end_s, events, settings), end_s]
    notes = []
    for onset_s, offset_s in pairwise(cuts):
        inside = slice(
            max(first, int(np.searchsorted(track.times_s, onset_s))),
            max(first + 1, min(last, int(np.searchsorted(track.times_s, offset_s)))),
        )
        if inside.stop <= inside.start or offset_s - onset_s < settings.shortest_s:
            continue
        pitch = _pitch(inside.start, inside.stop, track)
        belief = float(np.clip(track.voiced[inside].mean(), 0.0, 1.0))
        notes.append(RawNote(float(onset_s), float(offset_s), pitch, belief))
    return notes


def _nearest_onset(time_s: float, events: Events, reach_s: float = 0.045) -> float:
    """`time_s` moved to the strongest onset close by, when there is a clear one."""
    low = max(0, round((time_s - reach_s) / events.hop_s))
    high = min(len(events.strength), round((time_s + reach_s) / events.hop_s) + 1)
    if high <= low:
        return time_s
    distance = np.abs(np.arange(low, high) * events.hop_s - time_s) / reach_s
    score = events.strength[low:high] * (1 - 0.5 * distance)
    best = int(np.argmax(score))
    return (low + best) * events.hop_s if score[best] > 1.0 else time_s


def _splits(start_s: float, end_s: float, events: Events, settings: SegmentSettings) -> list[float]:
    """Times inside a note where it is struck, tongued or bowed again."""
    margin = settings.split_gap_s
    low = round((start_s + margin) / events.hop_s)
    high = min(len(events.strength), round((end_s - 0.04) / events.hop_s))
    if high - low < 3:
        return []
    strength = events.strength[low:high]
    peak = (strength[1:-1] >= strength[:-2]) & (strength[1:-1] > strength[2:])
    found: list[float] = []
    for frame in np.flatnonzero(peak & (strength[1:-1] > 0.5)):
        i = int(frame) + 1 + low
        if not _struck(float(strength[i - low]), _rise_db(events.level_db, i), settings):
            continue
        time_s = float(i * events.hop_s)
        if found and time_s - found[-1] < margin:
            continue
        found.append(time_s)
    return found


def _struck(strength: float, rise_db: float, settings: SegmentSettings) -> bool:
    """A new attack: a clear rise of the level, a strong change of the spectrum, or some of both."""
    if rise_db >= settings.split_rise_db and strength >= 0.5 * settings.split_strength:
        return True
    if rise_db >= 0.4 * settings.split_rise_db and strength >= settings.split_strength:
        return True
    return strength >= 3 * settings.split_strength


def _rise_db(level_db: np.ndarray, frame: int, *, reach: int = 8, lag: int = 5) -> float:
    """The steepest rise of the level within 29 ms, close to `frame`; vibrato swells slower."""
    near = level_db[max(0, frame - reach) : frame + reach + 1]
    return float((near[lag:] - near[:-lag]).max()) if len(near) > lag else 0.0


def _in_order(notes: list[RawNote], shortest_s: float) -> list[RawNote]:
    """Notes sorted, each ending at the latest where the next begins; specks dropped."""
    notes = sorted(notes, key=lambda note: note.onset_s)
    done: list[RawNote] = []
    for i, note in enumerate(notes):
        end_s = min([note.offset_s, *(other.onset_s for other in notes[i + 1 : i + 2])])
        if end_s - note.onset_s >= shortest_s:
            done.append(RawNote(note.onset_s, end_s, note.midi, note.confidence))
    return done
