"""The fine pitch of notes whose rough pitch is known.

Task   : samples + RawNotes -> for each note its pitch in cents, how steady and how clear it is.
In     : float32 mono samples at 22.05 kHz; notes within about a semitone of the truth.
Out    : NotePitch per note.
Method : normalised square difference function (autocorrelation over energy) of 46 ms frames inside
         the note, looked at only near whole multiples of the expected period: first near 60
         samples, then near 250, where a sample is worth few cents whatever the pitch. The pitch of
         a steady note is the mean of the middle half of its frames' pitches, its beginning (scoop,
         attack) left out where it is long enough; that of an unsteady one is where most of its
         frames lie. Sung notes are asked once more, when it is known where they begin and end.
References: P. McLeod and G. Wyvill, "A smarter way to find pitch", ICMC 2005 (the function);
         A. de Cheveigné and H. Kawahara, "YIN", JASA 111, 2002, step 5 (parabola). We search
         multiples of a known period instead of picking the first of all peaks.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from liltwright.hear.audio.recording import Audio
from liltwright.hear.ears.raw import RawNote
from liltwright.threads import threads
from liltwright.units import hz_to_midi, midi_to_hz

FRAME = 1024  # samples at 22050 Hz, 46 ms
HOP = 256  # samples between frames, 12 ms
TRANSFORM = 2048  # samples with zeros, so that the correlation does not wrap
BATCH, WORKERS = 96, 2  # frames worked on together, and how many of these side by side
MOST_FRAMES = 30  # of one note; more would not make its median better
COARSE_LAG, FINE_LAG = 60.0, 250.0
"""Samples: as many periods as fit are compared, first few, then many."""
COARSE_CENTS, FINE_CENTS = 65.0, 35.0  # about the pitch so far in which the peak is looked for
SCOOP_SHARE = 0.25  # of a note's beginning that is left out: singers slide in
LEAST_CLARITY, CLEAR_SHARE = 0.4, 0.7
"""A frame counts when it is at least so clear, and so clear against the note's clearest."""
STEADY_SEMITONES, BELL_SEMITONES = 0.1, 0.35
"""Up to this width the middle half's mean is the pitch, beyond it where the pitch is mostly."""
SETTLED_S = 0.16  # seconds; a shorter note is mostly the way to the next pitch
LONGEST_S = 1.5
"""Of a very long note only this much is measured."""


@dataclass(frozen=True, slots=True)
class NotePitch:
    """What was measured inside each note, arrays of shape (n_notes,).

    midi         : fine pitch on A4 = 440 Hz; the rough pitch where nothing periodic was found
    clarity      : 0 to 1, how periodic the note is at this pitch
    spread_cents : half the distance between the 16th and 84th percentile of its frames
    slope_cents_per_s : trend of the pitch over the note; speech glides, notes do not
    half_clarity : clarity at half the period; near `clarity` when the note sounds an octave higher
    double_clarity : clarity at twice the period; well above `clarity` when an octave lower
    """

    midi: np.ndarray
    clarity: np.ndarray
    spread_cents: np.ndarray
    slope_cents_per_s: np.ndarray
    half_clarity: np.ndarray
    double_clarity: np.ndarray


def measure_pitch(samples: np.ndarray, sample_rate: int, notes: list[RawNote]) -> NotePitch:
    """Measure every note. `notes` in any order; the result is in theirs."""
    return _per_note(notes, *_measured_frames(samples, sample_rate, notes))


def _measured_frames(
    samples: np.ndarray, sample_rate: int, notes: list[RawNote]
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Note, time in seconds and MIDI pitch of every frame, and what _measure_frames gives."""
    starts, owner = _frame_places(notes, len(samples), sample_rate)
    rough_hz = midi_to_hz(np.array([note.midi for note in notes]))
    periods = sample_rate / rough_hz[owner] if len(owner) else np.zeros(0)

    def measured(at: int) -> np.ndarray:
        return _measure_frames(samples, starts[at : at + BATCH], periods[at : at + BATCH])

    with ThreadPoolExecutor(threads(WORKERS)) as pool:
        columns = list(pool.map(measured, range(0, len(starts), BATCH)))
    frames = np.concatenate(columns, axis=1) if columns else np.zeros((4, 0))
    pitch_midi = hz_to_midi(sample_rate / np.maximum(frames[0], 1.0))
    return owner, starts / sample_rate, pitch_midi, frames


def settled_pitch(samples: np.ndarray, sample_rate: int, notes: list[RawNote]) -> np.ndarray:
    """Where the pitch of each sung note is most of the time, MIDI, shape (n_notes,).

    For notes whose beginning and end are known; the note's own pitch where nothing is periodic
    and of notes shorter than SETTLED_S, which are mostly the way from one pitch to the next.
    """
    owner, _, pitch_midi, frames = _measured_frames(samples, sample_rate, notes)
    result = np.array([note.midi for note in notes], dtype=float)
    bounds = np.searchsorted(owner, np.arange(len(notes) + 1))
    for i in range(len(notes)):
        clarity = frames[1, bounds[i] : bounds[i + 1]]
        clear = clarity > max(LEAST_CLARITY, CLEAR_SHARE * clarity.max(initial=0.0))
        if clear.any() and notes[i].offset_s - notes[i].onset_s >= SETTLED_S:
            result[i] = _held(pitch_midi[bounds[i] : bounds[i + 1]][clear])
    return result


def periodic_share(audio: Audio, start_s: float, end_s: float) -> float:
    """Share of the frames from start_s to end_s that have some pitch between 80 and 500 Hz."""
    first = round(start_s * audio.sample_rate)
    last = min(round(end_s * audio.sample_rate), len(audio.samples)) - FRAME
    starts = np.arange(first, max(first, last) + 1, FRAME // 2)[:400]
    frames = audio.samples[
        np.clip(starts, 0, len(audio.samples) - FRAME)[:, None] + np.arange(FRAME)
    ]
    low, high = audio.sample_rate // 500, audio.sample_rate // 80
    nsdf = _nsdf(frames - frames.mean(axis=1, keepdims=True))[:, low:high]
    return float(np.mean(nsdf.max(axis=1) > 0.8))


def _frame_places(
    notes: list[RawNote], n_samples: int, sample_rate: int
) -> tuple[np.ndarray, np.ndarray]:
    """First sample of every frame and the note that it belongs to, both shape (n_frames,)."""
    starts, owner = [], []
    for i, note in enumerate(notes):
        end_s = min(note.offset_s, note.onset_s + LONGEST_S)
        first = round((note.onset_s + 0.010) * sample_rate)
        last = round(end_s * sample_rate) - FRAME
        if last < first:  # shorter than a frame: one frame around its middle
            first = last = round((note.onset_s + end_s) / 2 * sample_rate) - FRAME // 2
        count = min(MOST_FRAMES, (last - first) // HOP + 1)
        places = np.linspace(first, last, count).astype(int)
        starts.append(np.clip(places, 0, max(0, n_samples - FRAME)))
        owner.append(np.full(len(places), i))
    if not starts:
        return np.zeros(0, dtype=int), np.zeros(0, dtype=int)
    return np.concatenate(starts), np.concatenate(owner)


def _measure_frames(samples: np.ndarray, starts: np.ndarray, periods: np.ndarray) -> np.ndarray:
    """Rows: period in samples, clarity at it, at half of it, at twice it; shape (4, n_frames)."""
    padded = np.pad(samples, (0, FRAME)) if len(samples) < FRAME else samples
    frames = padded[starts[:, None] + np.arange(FRAME)]
    frames = frames - frames.mean(axis=1, keepdims=True)
    nsdf = _nsdf(frames)
    count = np.maximum(1.0, np.floor(COARSE_LAG / periods))
    found, _ = _peak(nsdf, count * periods, COARSE_CENTS)
    better = found / count
    fine = np.maximum(count, np.floor(FINE_LAG / better))
    found, fine_clarity = _peak(nsdf, fine * better, FINE_CENTS)
    sure = fine_clarity > 0.3
    period = np.where(sure, found / fine, better)
    at_one = _peak(nsdf, np.maximum(period, 4.0), 60.0)[1]
    at_half = _peak(nsdf, np.maximum(period / 2, 4.0), 60.0)[1]
    at_double = _peak(nsdf, 2 * period, 60.0)[1]
    return np.stack((period, at_one, at_half, at_double))


def _nsdf(frames: np.ndarray) -> np.ndarray:
    """Normalised square difference function, shape (n_frames, FRAME), 1 at lag 0."""
    from scipy.fft import irfft, rfft

    spectrum = rfft(frames, TRANSFORM, axis=1)
    product = irfft(spectrum.real**2 + spectrum.imag**2, TRANSFORM, axis=1)[:, :FRAME]
    squares = np.cumsum(frames.astype(float) ** 2, axis=1)
    total = squares[:, -1:]
    # energy of the two overlapping ends: x[:n-lag] and x[lag:]
    energy = (
        squares[:, ::-1] + total - np.concatenate((np.zeros_like(total), squares[:, :-1]), axis=1)
    )
    return 2.0 * product / np.maximum(energy, 1e-12)


def _peak(nsdf: np.ndarray, lags: np.ndarray, reach_cents: float) -> tuple[np.ndarray, np.ndarray]:
    """Lag (fractional) and height of the highest point near `lags`, each shape (n_frames,)."""
    ratio = 2 ** (reach_cents / 1200)
    low = np.clip(np.floor(lags / ratio), 1, FRAME - 3).astype(int)
    high = np.clip(np.ceil(lags * ratio), 2, FRAME - 2).astype(int)
    around = low[:, None] + np.arange(max(1, int((high - low).max(initial=0)) + 1))
    rows = np.arange(len(nsdf))
    values = np.take_along_axis(nsdf, np.minimum(around, FRAME - 2), axis=1)
    values = np.where(around <= high[:, None], values, -np.inf)
    best = low + np.argmax(values, axis=1)
    left, mid, right = nsdf[rows, best - 1], nsdf[rows, best], nsdf[rows, best + 1]
    bend = left - 2 * mid + right
    shift = np.where(bend < -1e-9, 0.5 * (left - right) / np.minimum(bend, -1e-9), 0.0)
    shift = np.clip(shift, -0.5, 0.5)
    return best + shift, np.clip(mid - 0.25 * (left - right) * shift, -1.0, 1.0)


def _per_note(
    notes: list[RawNote],
    owner: np.ndarray,
    times_s: np.ndarray,
    pitch_midi: np.ndarray,
    frames: np.ndarray,
) -> NotePitch:
    rough = np.array([note.midi for note in notes], dtype=float)
    result = NotePitch(rough.copy(), *(np.zeros(len(notes)) for _ in range(5)))
    bounds = np.searchsorted(owner, np.arange(len(notes) + 1))
    for i in range(len(notes)):
        mine = slice(bounds[i], bounds[i + 1])
        clarity = frames[1, mine]
        result.clarity[i] = np.median(clarity)
        result.half_clarity[i] = np.median(frames[2, mine])
        result.double_clarity[i] = np.median(frames[3, mine])
        good = clarity > max(LEAST_CLARITY, CLEAR_SHARE * clarity.max())
        periodic = good.copy()
        good[: int(SCOOP_SHARE * len(good))] = False
        if not good.any():
            good = clarity > LEAST_CLARITY
            periodic = good
        if not good.any():
            continue
        pitches = pitch_midi[mine][good]
        wide = _width(pitches)
        steady = wide <= STEADY_SEMITONES
        result.midi[i] = _middle_mean(pitches) if steady else _held(pitch_midi[mine][periodic])
        result.spread_cents[i] = 50.0 * wide
        result.slope_cents_per_s[i] = 100.0 * _slope(times_s[mine][good], pitches)
    return result


def _width(values: np.ndarray) -> float:
    """Distance between about the 16th and the 84th percentile."""
    ordered = np.sort(values)
    cut = round(0.16 * (len(ordered) - 1))
    return float(ordered[len(ordered) - 1 - cut] - ordered[cut])


def _slope(times_s: np.ndarray, values: np.ndarray) -> float:
    """Least-squares slope per second, 0 for fewer than three values."""
    if len(values) < 3:
        return 0.0
    centred = times_s - times_s.mean()
    return float(centred @ values / max(float(centred @ centred), 1e-9))


def _held(pitches: np.ndarray) -> float:
    """Where the pitch is most of the time: the mode, with a bell of BELL_SEMITONES."""
    near = np.exp(-0.5 * ((pitches[:, None] - pitches) / BELL_SEMITONES) ** 2)
    weights = near[int(near.sum(axis=1).argmax())]
    return float(pitches @ weights / weights.sum())


def _middle_mean(values: np.ndarray) -> float:
    """Mean of the middle half."""
    ordered = np.sort(values)
    cut = len(ordered) // 4
    return float(ordered[cut : len(ordered) - cut].mean())
