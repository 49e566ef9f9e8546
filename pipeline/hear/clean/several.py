"""Whether something else sounds with the melody.

Task   : find recordings of several voices or instruments, and a chord at the end.
In     : samples, the notes of the leading line.
Out    : for each note the share of what sounds at its middle that is not its own.
Method : peaks of a 93 ms spectrum at the middle of each note. A peak is explained when it is a
         harmonic of the note, of a note just before (strings and rooms ring on) or of a drone,
         that is of a peak that stands in most of the notes whatever they are. Peaks count by
         their height in dB above a floor 26 dB below the highest, where noise does not hide them.
References: harmonic explanation of spectral peaks: A. Klapuri, "Multipitch analysis of polyphonic
         music and speech signals using an auditory model", 2008 (idea only).
"""

from __future__ import annotations

import numpy as np

from liltwright.hear.clean.nontune import CLOSING_CHORD
from liltwright.hear.ears.raw import RawNote
from liltwright.tune import LeftOut
from liltwright.units import midi_to_hz

FRAME = 2048  # samples at 22050 Hz, 93 ms
TRANSFORM = 4096  # samples with zeros, for finer lines
FLOOR_DB = 26.0  # below the loudest line that a peak still counts
ABOVE_NOISE_DB, BAND_LINES = 13.0, 32
"""A peak counts when it stands out of what is usual around it; peaks of noise hardly do."""
LOWEST_HZ, HIGHEST_HZ = 70.0, 3000.0  # where peaks are looked for
TOLERANCE, TOLERANCE_HZ = 0.018, 8.0
"""Of a harmonic's frequency, and the least of it in Hz: nearer is explained by it."""
RINGING = 2  # notes before that may ring on
DRONE_SHARE = 0.6  # of frames in which a peak stays where it is a drone's
COMMON_WIDTH = 1 / 24
"""Width in octaves of the classes in which peaks of different notes count as the same."""
BATCH = 96  # notes worked on together


def foreign_shares(samples: np.ndarray, sample_rate: int, notes: list[RawNote]) -> np.ndarray:
    """0 (all explained) to 1 per note, shape (n_notes,). Notes in order of onset."""
    if not notes:
        return np.zeros(0)
    peaks = _peaks(samples, sample_rate, notes)
    drone = _drone_classes(peaks)
    shares = np.zeros(len(notes))
    for i, (hz, height) in enumerate(peaks):
        if not len(hz):
            continue
        own = midi_to_hz(np.array([note.midi for note in notes[max(0, i - RINGING) : i + 2]]))
        ratio = hz[:, None] / own[None, :]
        harmonic = np.maximum(1.0, np.round(ratio))
        off_hz = np.abs(hz[:, None] - harmonic * own)
        explained = (off_hz < np.maximum(TOLERANCE * hz[:, None], TOLERANCE_HZ)).any(axis=1)
        explained |= np.isin(_classes(hz), drone)
        shares[i] = height[~explained].sum() / height.sum()
    return shares


def is_several(foreign: np.ndarray) -> bool:
    """Whether the shares of a whole recording mean a second voice or an accompaniment."""
    if len(foreign) < 8:
        return False
    return bool(np.median(foreign) > 0.15 and np.quantile(foreign, 0.75) > 0.3)


def closing_chord(notes: list[RawNote], foreign: np.ndarray) -> tuple[LeftOut, ...]:
    """Left-out stretches, one for each of the last notes that belongs to a chord after the tune.

    Only what clearly is none of the tune's notes: far below all of them, or late and full of
    other pitches. A last note with a chord under it stays.
    """
    if len(notes) < 16:
        return ()
    usual_s = float(np.median(np.diff([note.onset_s for note in notes])))
    lowest = float(np.quantile([note.midi for note in notes], 0.02))
    first = len(notes)
    while first > len(notes) - 4:
        note, gap_s = notes[first - 1], notes[first - 1].onset_s - notes[first - 2].onset_s
        below = note.midi < lowest - 6.0 and note.offset_s - note.onset_s > 1.5 * usual_s
        late = gap_s > 1.8 * usual_s and foreign[first - 1] > 0.4
        if not (below or late):
            break
        first -= 1
    end_s = round(notes[-1].offset_s, 3)
    return tuple(LeftOut(round(n.onset_s, 3), end_s, CLOSING_CHORD) for n in notes[first:])


def _peaks(
    samples: np.ndarray, sample_rate: int, notes: list[RawNote]
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Frequencies in Hz and heights in dB above the floor of the peaks at each note's middle."""
    from scipy.fft import rfft

    window = np.hanning(FRAME).astype(np.float32)
    hz = np.arange(TRANSFORM // 2 + 1) * sample_rate / TRANSFORM
    inside = (hz >= LOWEST_HZ) & (hz <= HIGHEST_HZ)
    middles = [round((note.onset_s + note.offset_s) / 2 * sample_rate) for note in notes]
    starts = np.clip(np.array(middles) - FRAME // 2, 0, max(0, len(samples) - FRAME))
    padded = np.pad(samples, (0, FRAME)) if len(samples) < FRAME else samples
    found = []
    for at in range(0, len(starts), BATCH):
        frames = padded[starts[at : at + BATCH, None] + np.arange(FRAME)] * window
        level = 20 * np.log10(np.abs(rfft(frames, TRANSFORM, axis=1)) + 1e-9)
        level = np.where(inside, level, -200.0)
        floor = level.max(axis=1, keepdims=True) - FLOOR_DB
        top = np.zeros_like(level, dtype=bool)
        top[:, 2:-2] = (
            (level[:, 2:-2] > level[:, 1:-3])
            & (level[:, 2:-2] >= level[:, 3:-1])
            & (level[:, 2:-2] > level[:, :-4] + 1.0)
            & (level[:, 2:-2] > level[:, 4:] + 1.0)
        )
        top &= (level > floor) & (level > _noise_floor(level) + ABOVE_NOISE_DB)
        found += [
            (hz[row], line[row] - low) for row, line, low in zip(top, level, floor, strict=True)
        ]
    return found


def _noise_floor(level: np.ndarray) -> np.ndarray:
    """Median of the level in bands of BAND_LINES lines, per line; shape like `level`."""
    count = -(-level.shape[1] // BAND_LINES)
    padded = np.pad(level, ((0, 0), (0, count * BAND_LINES - level.shape[1])), mode="edge")
    middle = np.median(padded.reshape(len(level), count, BAND_LINES), axis=2)
    return np.repeat(middle, BAND_LINES, axis=1)[:, : level.shape[1]]


def _classes(hz: np.ndarray) -> np.ndarray:
    return np.round(np.log2(np.maximum(hz, 1.0) / 55.0) / COMMON_WIDTH).astype(int)


def _drone_classes(peaks: list[tuple[np.ndarray, np.ndarray]]) -> np.ndarray:
    """Classes of frequency that hold a peak in most notes."""
    if len(peaks) < 8:
        return np.zeros(0, dtype=int)
    all_classes = np.concatenate([np.unique(_classes(hz)) for hz, _ in peaks])
    values, counts = np.unique(all_classes, return_counts=True)
    common = values[counts > DRONE_SHARE * len(peaks)]
    return np.unique(np.concatenate([common - 1, common, common + 1]))
