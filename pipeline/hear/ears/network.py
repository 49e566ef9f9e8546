"""The program's own ear, first half: what the network believes about every frame.

Task   : mono samples at 22.05 kHz -> per-frame probabilities of pitch, onset, offset, ornament.
In     : float32 samples, shape (n,), about -1 to 1.
Out    : Evidence.
Method : three log-frequency spectra (long, middle and short window, three bins per semitone) go
         through a convolutional network in ONNX: features per semitone, joined over harmonics,
         then dilated convolutions in time. The network sees a bounded stretch on either side of
         a frame, so a recording is worked through in pieces that overlap by that stretch and the
         result is that of the whole recording, up to rounding, in memory that does not grow with
         its length (the samples and the result aside).
References: R. Bittner et al., "Deep Salience Representations for F0 Estimation", ISMIR 2017
         (harmonics as channels); S. Bai, J. Kolter, V. Koltun, "An Empirical Evaluation of
         Generic Convolutional and Recurrent Networks for Sequence Modeling", 2018; models/ear.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from liltwright.hear.audio.pieces import cut
from liltwright.models import read_bytes
from liltwright.progress import Progress, silent
from liltwright.threads import threads
from liltwright.units import midi_to_hz

SAMPLE_RATE = 22050  # Hz, as the network was trained
HOP = 256  # samples between frames, 11.6 ms
HOP_S = HOP / SAMPLE_RATE
WINDOWS = ((4096, 4096), (1536, 2048), (640, 1024))
"""Window and transform length of the three spectra, in samples."""
BINS_PER_SEMITONE = 3  # of the spectrum that the network sees
LOWEST_MIDI, HIGHEST_MIDI = 36, 104
"""Range of the pitch output, both ends included."""
SPECTRUM_SEMITONES = 89  # how far up it goes
N_BINS = SPECTRUM_SEMITONES * BINS_PER_SEMITONE
N_PITCHES = (HIGHEST_MIDI - LOWEST_MIDI + 1) * BINS_PER_SEMITONE
"""Pitch classes of a third of a semitone; class 1 is LOWEST_MIDI exactly."""
CONTEXT = 160
"""Frames on either side that can change a frame's result; at least the network's reach."""
PIECE = 3000
"""Most frames worked through at once, without the context, which is worked through twice."""
MIDDLE = 800
"""Frames of the piece in the middle of a recording, 9.3 s: enough for a glance."""
WORKERS = 2
"""Pieces worked through side by side; each takes memory of its own."""
FRAMES_AT_ONCE = 128
"""Frames transformed together: as many as stay in the processor's cache."""
FLOOR = 1e-5  # amplitude that is silence, against logarithms of nothing

SOLO, BAND = "ear/ear.onnx", "band/band.onnx"
"""One player alone; the lead of a band."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the network believes; frame i is centred on i * HOP_S seconds.

    pitch    : float32, shape (n_frames, N_PITCHES + 1), sums to 1; the last column is silence
    onset    : float32, shape (n_frames,), 0 to 1, a note begins here
    offset   : float32, shape (n_frames,), 0 to 1, a note ends here
    ornament : float32, shape (n_frames,), 0 to 1, the note here is an ornament
    """

    pitch: np.ndarray
    onset: np.ndarray
    offset: np.ndarray
    ornament: np.ndarray


Span = tuple[int, int]
"""First frame of a piece and its last + 1."""
Known = dict[tuple[str, int, int], tuple[np.ndarray, np.ndarray]]
"""Pitch and events of pieces, by model, first frame and last frame + 1, of one recording."""


def class_midi() -> np.ndarray:
    """MIDI pitch of every pitch class, shape (N_PITCHES,)."""
    return LOWEST_MIDI + (np.arange(N_PITCHES) - 1) / BINS_PER_SEMITONE


def n_frames(n_samples: int) -> int:
    """Number of frames of a recording of `n_samples` samples."""
    return 1 + n_samples // HOP


@cache
def filterbank(n_fft: int) -> np.ndarray:
    """Weights from power spectrum to log-frequency bins, shape (n_fft // 2 + 1, N_BINS).

    Triangles a third of a semitone to either side, never narrower than one line of the spectrum.
    """
    midi = LOWEST_MIDI + (np.arange(N_BINS) - 1) / BINS_PER_SEMITONE
    centre = midi_to_hz(midi) * n_fft / SAMPLE_RATE
    half = np.maximum(centre * (2 ** (1 / (12 * BINS_PER_SEMITONE)) - 1), 1.0)
    lines = np.arange(n_fft // 2 + 1)[:, None]
    return np.maximum(0.0, 1.0 - np.abs(lines - centre) / half).astype(np.float32)


@cache
def _bands(n_fft: int, count: int = 32) -> tuple[tuple[int, int, np.ndarray], ...]:
    """The filter bank cut into blocks of bins, each with the spectral lines it needs.

    Blocks this small are multiplied at once: larger ones wake the linear algebra library's
    threads, which cost eight times as much as they do.
    """
    weights = filterbank(n_fft)
    bands = []
    for block in np.array_split(np.arange(N_BINS), count):
        used = np.flatnonzero(weights[:, block].any(axis=1))
        low, high = int(used[0]), int(used[-1]) + 1
        bands.append((low, high, np.ascontiguousarray(weights[low:high, block])))
    return tuple(bands)


@cache
def window(length: int) -> np.ndarray:
    """Hann window scaled so that a full-scale sine has magnitude 1."""
    hann = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(length) / length)
    return (hann * 2 / hann.sum()).astype(np.float32)


def spectra(samples: np.ndarray, first: int, last: int) -> np.ndarray:
    """Input of the network for frames first to last - 1.

    samples : float32, shape (n,), the whole recording (only the needed stretch is touched)
    Returns float32, shape (3, last - first, N_BINS).
    """
    from scipy.fft import rfft

    result = np.empty((len(WINDOWS), last - first, N_BINS), dtype=np.float32)
    for which, (length, n_fft) in enumerate(WINDOWS):
        start = first * HOP - length // 2
        stop = (last - 1) * HOP + length // 2
        stretch = cut(samples, start, stop)
        frames = np.lib.stride_tricks.sliding_window_view(stretch, length)[::HOP]
        for at in range(0, len(frames), FRAMES_AT_ONCE):
            lines = rfft(frames[at : at + FRAMES_AT_ONCE] * window(length), n=n_fft)
            power = np.square(lines.real)
            power += np.square(lines.imag)
            rows = result[which, at : at + FRAMES_AT_ONCE]
            column = 0
            for low, high, weights in _bands(n_fft):
                width = weights.shape[1]
                rows[:, column : column + width] = power[:, low:high] @ weights
                column += width
    return scale(result)


def scale(power: np.ndarray) -> np.ndarray:
    """Power in the log-frequency bins -> what the network sees, about -2 to 2."""
    return (np.log(np.sqrt(power) + FLOOR) + 6.0) / 3.0


@cache
def _session(model: str) -> Any:
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.log_severity_level = 3
    options.intra_op_num_threads = 1  # whole pieces side by side are quicker, see `evidence`
    return onnxruntime.InferenceSession(
        read_bytes(model), options, providers=["CPUExecutionProvider"]
    )


def run_network(frames: np.ndarray, *, model: str = SOLO) -> tuple[np.ndarray, np.ndarray]:
    """The network alone: spectra (3, n, N_BINS) -> pitch (n, N_PITCHES + 1) and events (n, 3).

    Both are probabilities; the events are onset, offset and ornament.
    """
    pitch, events = _session(model).run(None, {"spectra": frames[None]})
    return pitch[0], events[0]


def _spans(total: int) -> list[Span]:
    """The pieces of a recording of `total` frames, that in the middle first.

    A long one has a piece of MIDDLE frames there and on either side as few of one length as PIECE
    allows; a short one is cut in two.
    """
    if total < 3 * MIDDLE:
        return _even(0, total, 2)
    first = (total - MIDDLE) // 2
    last = first + MIDDLE
    count = -(-first // PIECE)
    return [(first, last), *_even(0, first, count), *_even(last, total, count)]


def _even(first: int, last: int, count: int) -> list[Span]:
    """At most `count` pieces of about one length, none of them shorter than CONTEXT."""
    length = max(-(-(last - first) // count), CONTEXT)
    return [(start, min(start + length, last)) for start in range(first, last, length)]


def evidence(
    samples: np.ndarray,
    *,
    piece: int | None = None,
    progress: Progress = silent,
    model: str = SOLO,
    known: Known | None = None,
) -> Evidence:
    """Run the network over a recording at SAMPLE_RATE, piece by piece.

    samples : float32, shape (n,)
    piece   : frames per piece; any value gives the same result up to rounding
    model   : SOLO or BAND
    known   : pieces of these samples that were worked through before (see `evidence_inside`)
    """
    total = n_frames(len(samples))
    spans = _even(0, total, -(-total // piece)) if piece else _spans(total)
    pitch = np.empty((total, N_PITCHES + 1), dtype=np.float32)
    events = np.empty((total, 3), dtype=np.float32)
    before = known or {}

    def work(span: Span) -> int:
        found = before.get((model, *span)) or _one_piece(samples, *span, model)
        inside = slice(*span)
        pitch[inside], events[inside] = found
        return span[1] - span[0]

    done = 0
    with ThreadPoolExecutor(threads(WORKERS)) as pool:
        for length in pool.map(work, sorted(spans, key=lambda span: span[0] - span[1])):
            done += length
            progress("Listening", done / total)
    return _as_evidence(pitch, events)


def evidence_inside(
    samples: np.ndarray, *, model: str, known: Known, at_s: float | None = None
) -> tuple[Evidence, float]:
    """What the network believes of one piece, and at what second that begins.

    It is put into `known`, so that a later `evidence` of the same samples need not work on it again
    and gives the same bytes.

    at_s : a moment within the piece; None: the piece in the middle, or the first half of a short
           recording
    """
    total = n_frames(len(samples))
    span = _spans(total)[0]
    if at_s is not None:
        frame = int(np.clip(at_s / HOP_S, 0, total - 1))
        span = next(one for one in _spans(total) if one[0] <= frame < one[1])
    key = (model, *span)
    if key not in known:
        known[key] = _one_piece(samples, *span, model)
    return _as_evidence(*known[key]), span[0] * HOP_S


def _one_piece(
    samples: np.ndarray, start: int, stop: int, model: str
) -> tuple[np.ndarray, np.ndarray]:
    """Pitch and events of frames start to stop - 1."""
    first, last = max(start - CONTEXT, 0), min(stop + CONTEXT, n_frames(len(samples)))
    pitch, events = run_network(spectra(samples, first, last), model=model)
    inner = slice(start - first, stop - first)
    return pitch[inner], events[inner]


def _as_evidence(pitch: np.ndarray, events: np.ndarray) -> Evidence:
    onset, offset, ornament = np.ascontiguousarray(events.T)
    return Evidence(pitch, onset, offset, ornament)
