"""Fundamental frequency from general trackers of maintained libraries.

Task   : Audio samples -> a pitch per frame, for ears that are not our own network.
In     : float32 mono samples.
Out    : F0Track.
Method : swift-f0 (a small convolutional network, MIT, run by onnxruntime) or librosa's pYIN, in
         overlapping pieces so that a long recording needs no more memory than a short one.
References: L. Nieradzik, "SwiftF0", 2025; M. Mauch and S. Dixon, "pYIN", ICASSP 2014.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from liltwright.hear.audio.pieces import Piece, pieces
from liltwright.progress import Progress, silent
from liltwright.threads import threads
from liltwright.units import hz_to_midi

SWIFT_RATE = 16000  # Hz, as its network was trained
SWIFT_HOP = 256  # samples between its frames
SWIFT_CENTRE = 127.5  # samples from the file's beginning to the middle of its first frame
PIECE_S = 30.0  # seconds at once, for bounded memory
OVERLAP_S = 1.0  # seconds that pieces share, so that no note is cut
UNHEARD_HZ = 220.0  # where no pitch was heard at all; any would do


@dataclass(frozen=True, slots=True)
class F0Track:
    """Pitch per frame.

    times_s    : centre of each frame in seconds, evenly spaced
    pitch_midi : fractional MIDI numbers, always finite, meaningless where unvoiced
    voiced     : belief that the frame has a pitch, 0 to 1
    """

    times_s: np.ndarray
    pitch_midi: np.ndarray
    voiced: np.ndarray


def swift_track(samples: np.ndarray, sample_rate: int, *, progress: Progress = silent) -> F0Track:
    """Track pitch with swift-f0, 47 to 2094 Hz, every 16 ms.

    samples : float32, shape (n,)
    """
    import soxr

    found: list[tuple[np.ndarray, np.ndarray]] = []
    session = _swift_session()
    hop_s = SWIFT_HOP / SWIFT_RATE
    for piece in pieces(len(samples) / sample_rate, PIECE_S, OVERLAP_S, grid_s=hop_s):
        part = samples[round(piece.start_s * sample_rate) : round(piece.end_s * sample_rate)]
        part = soxr.resample(part, sample_rate, SWIFT_RATE, quality="HQ")
        if len(part) < SWIFT_HOP:
            part = np.pad(part, (0, SWIFT_HOP - len(part)))
        hz, voiced = (out[0] for out in session.run(None, {_input_name(session): part[None, :]}))
        found.append(_kept(piece, hop_s, hz, voiced))
        progress("following the pitch", piece.keep_to_s * sample_rate / max(1, len(samples)))
    hz = np.concatenate([one for one, _ in found])
    voiced = np.concatenate([one for _, one in found])
    times_s = (np.arange(len(hz)) * SWIFT_HOP + SWIFT_CENTRE) / SWIFT_RATE
    return F0Track(times_s, hz_to_midi(np.maximum(hz, 1.0)), voiced)


def _kept(
    piece: Piece, hop_s: float, hz: np.ndarray, voiced: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    first = round((piece.keep_from_s - piece.start_s) / hop_s)
    last = len(hz) if piece.is_last else round((piece.keep_to_s - piece.start_s) / hop_s)
    return hz[first:last].astype(float), voiced[first:last].astype(float)


def _input_name(session: Any) -> str:
    return session.get_inputs()[0].name


@cache
def _swift_session() -> Any:
    import onnxruntime
    from swift_f0 import core

    options = onnxruntime.SessionOptions()
    options.inter_op_num_threads = 1
    options.intra_op_num_threads = threads(2)
    options.log_severity_level = 3
    from pathlib import Path

    model = Path(core.__file__).with_name("model.onnx")
    return onnxruntime.InferenceSession(str(model), options, providers=["CPUExecutionProvider"])


def pyin_track(samples: np.ndarray, sample_rate: int, *, progress: Progress = silent) -> F0Track:
    """Track pitch with librosa's pYIN, 65 to 2093 Hz (C2 to C7), every 11.6 ms at 22.05 kHz."""
    import librosa

    hop, hop_s = 256, 256 / sample_rate
    found: list[tuple[np.ndarray, np.ndarray]] = []
    for piece in pieces(len(samples) / sample_rate, PIECE_S, OVERLAP_S, grid_s=hop_s):
        part = samples[round(piece.start_s * sample_rate) : round(piece.end_s * sample_rate)]
        hz, flag, _ = librosa.pyin(
            part, fmin=65.4, fmax=2093.0, sr=sample_rate, frame_length=2048, hop_length=hop
        )
        # the flag is what pYIN's hidden Markov model decides; its belief says little more
        found.append(_kept(piece, hop_s, np.nan_to_num(hz), flag))
        progress("following the pitch", piece.keep_to_s * sample_rate / max(1, len(samples)))
    hz = np.concatenate([one for one, _ in found])
    voiced = np.concatenate([one for _, one in found])
    return F0Track(np.arange(len(hz)) * hop_s, hz_to_midi(_bridged(hz, voiced)), voiced)


def _bridged(hz: np.ndarray, voiced: np.ndarray) -> np.ndarray:
    """Where nothing is voiced, the frequencies in between; any frequency when nothing is at all."""
    heard = np.flatnonzero(voiced)
    if not len(heard):
        return np.full(len(hz), UNHEARD_HZ)
    return np.interp(np.arange(len(hz)), heard, hz[heard])
