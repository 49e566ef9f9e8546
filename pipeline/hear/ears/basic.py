"""The general note tracker basic-pitch as an ear; one option away, and a baseline.

Task   : mono samples -> RawNotes of one voice.
In     : float32 samples at 22.05 kHz.
Out    : RawNotes on whole semitones (the fine pitch is measured later, as for every ear).
Method : the package's ONNX model run by onnxruntime, without importing the package (which looks
         for TensorFlow), in windows of two seconds that overlap by 30 frames. Tuned: best path
         over silence and 88 pitches, cheaper changes at onsets, runs split at onset peaks.
         Recommended: the package's own note search with its default thresholds.
References: R. Bittner et al., "A Lightweight Instrument-Agnostic Model for Polyphonic Note
         Transcription and Multipitch Estimation", ICASSP 2022 (window, overlap, thresholds).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from liltwright.errors import UsageError
from liltwright.hear.ears.raw import RawNote
from liltwright.progress import Progress, silent
from liltwright.threads import threads

HOP = 256  # samples between frames, as its network was trained
RATE = 22050  # Hz, as its network was trained
WINDOW = 2 * RATE - HOP
KEEP_FROM, KEEP = 15, 142  # frames of a window: of the 172 the middle ones are kept
BATCH = 8  # windows in one call
LOWEST_MIDI = 21  # of its network's pitches, A0
PITCHES = 88  # keys of a piano


@dataclass(frozen=True, slots=True, kw_only=True)
class BasicSettings:
    """Costs of the best path over the model's beliefs, in nats, and the onset threshold."""

    change_cost: float = 5.0
    onset_discount: float = 4.0
    floor: float = 0.02
    silence_at: float = 0.25
    split_onset: float = 0.6
    shortest_s: float = 0.05


@dataclass(frozen=True, slots=True)
class Beliefs:
    """The model's output; frame i is centred on i * 256 / 22050 s. float16, (n_frames, 88)."""

    note: np.ndarray
    onset: np.ndarray


def beliefs(samples: np.ndarray, *, progress: Progress = silent) -> Beliefs:
    """Run the model over float32 samples of shape (n,) at 22.05 kHz."""
    frames = len(samples) // HOP + 1
    note = np.zeros((frames, PITCHES), dtype=np.float16)
    onset = np.zeros((frames, PITCHES), dtype=np.float16)
    starts = list(range(-KEEP_FROM, frames, KEEP))
    for at in range(0, len(starts), BATCH):
        batch = starts[at : at + BATCH]
        windows = np.stack([_window(samples, first * HOP) for first in batch])[..., None]
        on, off = _session().run(
            ["StatefulPartitionedCall:2", "StatefulPartitionedCall:1"],
            {"serving_default_input_2:0": windows},
        )
        for i, first in enumerate(batch):
            low = first + KEEP_FROM
            count = min(KEEP, frames - low)
            onset[low : low + count] = on[i, KEEP_FROM : KEEP_FROM + count]
            note[low : low + count] = off[i, KEEP_FROM : KEEP_FROM + count]
        progress("listening", (at + len(batch)) / len(starts))
    return Beliefs(note, onset)


def _window(samples: np.ndarray, start: int) -> np.ndarray:
    part = samples[max(0, start) : max(0, start + WINDOW)]
    before = max(0, -start)
    return np.pad(part, (before, WINDOW - before - len(part)))


@cache
def _session() -> Any:
    import onnxruntime

    found = find_spec("basic_pitch")
    if found is None or not found.submodule_search_locations:
        raise UsageError(
            'The ear "basic-pitch" is not installed: install it with '
            'pip install "liltwright[basic-pitch]", or choose another ear.'
        )
    model = Path(found.submodule_search_locations[0], "saved_models/icassp_2022/nmp.onnx")
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = threads(2)
    options.log_severity_level = 3
    return onnxruntime.InferenceSession(str(model), options, providers=["CPUExecutionProvider"])


def one_voice(found: Beliefs, *, settings: BasicSettings = BasicSettings()) -> list[RawNote]:
    """The best single line through the beliefs."""
    note = found.note.astype(np.float32)
    onset = found.onset.astype(np.float32)
    states = _best_path(note, onset, settings)
    edges = np.flatnonzero(np.diff(states)) + 1
    hop_s = HOP / RATE
    notes: list[RawNote] = []
    for first, last in pairwise((0, *edges.tolist(), len(states))):
        if states[first] == 0:
            continue
        pitch = int(states[first]) - 1
        for low, high in pairwise((*_strikes(onset[:, pitch], first, last, settings), last)):
            if (high - low) * hop_s >= settings.shortest_s:
                belief = float(note[low:high, pitch].mean())
                notes.append(RawNote(low * hop_s, high * hop_s, LOWEST_MIDI + pitch, belief))
    return notes


def _best_path(note: np.ndarray, onset: np.ndarray, settings: BasicSettings) -> np.ndarray:
    """State per frame: 0 for silence, else 1 + index of the pitch."""
    frames = len(note)
    # a note that sounds for others too: compare each pitch with silence at a fixed belief
    cost = -np.log(np.maximum(note, settings.floor) / settings.silence_at)
    enter = settings.change_cost - settings.onset_discount * np.minimum(1.0, 1.5 * onset)
    came_from = np.zeros((frames, PITCHES + 1), dtype=np.int8)
    total = np.zeros(PITCHES + 1)
    index = np.arange(PITCHES + 1)
    jump_cost = np.empty(PITCHES + 1)
    for i in range(frames):
        best = int(np.argmin(total))
        jump_cost[0] = 0.5 * settings.change_cost
        jump_cost[1:] = enter[i]
        jump = total[best] + jump_cost
        stay = total <= jump
        came_from[i] = np.where(stay, index, best)
        total = np.where(stay, total, jump)
        total[1:] += cost[i]
        total -= total.min()
    path = np.empty(frames, dtype=np.int64)
    state = int(np.argmin(total))
    for i in range(frames - 1, -1, -1):
        path[i] = state
        state = came_from[i, state]
    return path


def _strikes(onset: np.ndarray, first: int, last: int, settings: BasicSettings) -> list[int]:
    """Frames in first..last at which the note begins again, `first` included."""
    part = onset[first:last]
    found = [first]
    for i in range(1, len(part) - 1):
        peak = part[i] >= settings.split_onset and part[i - 1] <= part[i] > part[i + 1]
        if peak and (i + first - found[-1]) * HOP / RATE >= 0.06:
            found.append(i + first)
    return found


def recommended(found: Beliefs, *, one_line: bool = True) -> list[RawNote]:
    """The package's own note search with its defaults (0.5, 0.3, 127.7 ms); several voices.

    Raises UsageError when the package is missing.
    """
    _session()
    import logging

    logging.disable(logging.WARNING)  # the package reports each format it cannot run
    from basic_pitch.note_creation import output_to_notes_polyphonic

    logging.disable(logging.NOTSET)
    events = output_to_notes_polyphonic(
        found.note.astype(np.float32),
        found.onset.astype(np.float32),
        onset_thresh=0.5,
        frame_thresh=0.3,
        min_note_len=11,
        infer_onsets=True,
        max_freq=None,
        min_freq=None,
        melodia_trick=True,
    )
    hop_s = HOP / RATE
    notes = [RawNote(a * hop_s, b * hop_s, float(midi), float(amp)) for a, b, midi, amp in events]
    notes.sort(key=lambda note: (note.onset_s, -note.confidence))
    return _loudest(notes) if one_line else notes


def _loudest(notes: list[RawNote]) -> list[RawNote]:
    """Of notes that sound together the loudest, cut where another louder one takes over."""
    done: list[RawNote] = []
    for note in sorted(notes, key=lambda note: -note.confidence):
        start_s, end_s = note.onset_s, note.offset_s
        for other in done:
            if other.onset_s <= start_s < other.offset_s:
                start_s = other.offset_s
            if start_s < other.onset_s < end_s:
                end_s = other.onset_s
        if end_s - start_s >= 0.06 and start_s == note.onset_s:
            done.append(RawNote(start_s, end_s, note.midi, note.confidence))
    return sorted(done, key=lambda note: note.onset_s)
