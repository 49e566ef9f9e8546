"""What was heard, as a picture: the sound, its pitch, the notes found and the bar lines.

Task: let a player see what the program heard, row by row as the music is printed.
In:   a Tune heard in a recording, the recording's samples. Out: rows of SVG, one per few bars.
Method: behind the notes stands how strongly each pitch sounds, a harmonic sum over a short-time
    spectrum; the pitch line follows its strongest place near each note. Without samples only notes
    and bar lines are drawn.
References: harmonic summation, Hermes 1988, JASA 83(1) (from memory).
"""

from __future__ import annotations

import base64
import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from liltwright import keys
from liltwright.tune import HeardBar, NoteEvent, Tune
from liltwright.units import midi_to_hz

WIDTH, ROW_HEIGHT, TOP, LEFT = 1000.0, 190.0, 22.0, 34.0  # in units of the drawing
BARS_PER_ROW = 4  # a phrase of the dance tunes
HOP_S = 0.02  # seconds between columns
STEPS = 4
"""Rows of the picture for each semitone."""
_WINDOW_S = 0.085  # seconds by which a pitch is seen
_HARMONICS = 6  # that are summed up


@dataclass(frozen=True, slots=True)
class Salience:
    """How strongly each pitch sounds; shape (n_frames, n_pitches), 0 to 1."""

    strength: np.ndarray
    lowest_midi: float


@dataclass(frozen=True, slots=True)
class PictureRow:
    """A row of the picture and the performed bars it shows (indices into Tune.bars_heard)."""

    svg: str
    bars: tuple[int, ...]


def heard_picture(
    tune: Tune, samples: np.ndarray | None, sample_rate: int, numbers: Sequence[int]
) -> tuple[PictureRow, ...]:
    """Rows of a few bars each. `numbers` gives each heard bar's number for the label."""
    bars = tune.bars_heard
    if not bars:
        return ()
    pitches = [note.midi for note in tune.heard] or [62.0, 76.0]
    low, high = np.floor(min(pitches)) - 2.0, np.ceil(max(pitches)) + 2.0
    salience = None if samples is None else salience_of(samples, sample_rate, low, high)
    starts = _row_starts(bars)
    return tuple(
        _row(tune, salience, low, high, range(first, after), numbers)
        for first, after in zip(starts, [*starts[1:], len(bars)], strict=True)
    )


def _row_starts(bars: Sequence[HeardBar]) -> list[int]:
    """A pick-up bar stands in one row with the first full bars."""
    usual_s = float(np.median([bar.end_s - bar.start_s for bar in bars]))
    first = 1 if bars[0].end_s - bars[0].start_s < 0.8 * usual_s else 0
    later = range(first + BARS_PER_ROW, len(bars), BARS_PER_ROW)
    return [0, *later]


def salience_of(
    samples: np.ndarray, sample_rate: int, low_midi: float, high_midi: float
) -> Salience:
    """Harmonic sum at every quarter semitone from low to high, every HOP_S."""
    from scipy.fft import rfft  # in single precision, three times as fast as numpy's

    size = 1 << int(np.ceil(np.log2(_WINDOW_S * sample_rate)))
    hop = round(HOP_S * sample_rate)
    padded = np.pad(samples.astype(np.float32), (size // 2, size))
    frames = np.lib.stride_tricks.sliding_window_view(padded, size)[::hop]
    window = np.hanning(size).astype(np.float32)
    midi = np.arange(low_midi, high_midi + 1e-6, 1.0 / STEPS)
    bins = midi_to_hz(midi)[:, None] * np.arange(1, _HARMONICS + 1) * size / sample_rate
    below = np.minimum(bins.astype(int), size // 2 - 1)
    share = (bins - below).astype(np.float32)
    weight = (0.8 ** np.arange(_HARMONICS) * (bins < size // 2)).astype(np.float32)
    strength = np.empty((len(frames), len(midi)), np.float32)
    for begin in range(0, len(frames), 500):
        spectrum = np.sqrt(np.abs(rfft(frames[begin : begin + 500] * window)))
        found = spectrum[:, below] * (1.0 - share) + spectrum[:, below + 1] * share
        strength[begin : begin + 500] = (found * weight).sum(axis=2)
    floor = np.median(strength, axis=1, keepdims=True)
    strength = np.maximum(strength - floor, 0.0)
    return Salience(strength / max(float(np.percentile(strength, 99.7)), 1e-6), low_midi)


def pitch_line(salience: Salience, note: NoteEvent) -> list[tuple[float, float]]:
    """Time and pitch of the strongest place within a semitone of a note, every HOP_S."""
    first, last = int(note.onset_s / HOP_S) + 1, int(note.offset_s / HOP_S)
    centre = round((note.midi - salience.lowest_midi) * STEPS)
    low, high = max(centre - STEPS, 0), centre + STEPS + 1
    points = []
    for frame in range(first, min(last + 1, len(salience.strength))):
        near = salience.strength[frame, low:high]
        if near.size >= 3 and near.max() > 0.1:
            peak = low + int(near.argmax())
            points.append((frame * HOP_S, salience.lowest_midi + _refined(salience, frame, peak)))
    return points


def _refined(salience: Salience, frame: int, peak: int) -> float:
    """Semitones above the lowest, between the steps by a parabola."""
    row = salience.strength[frame]
    if not 0 < peak < len(row) - 1:
        return peak / STEPS
    a, b, c = (float(row[peak + step]) for step in (-1, 0, 1))
    bend = a - 2 * b + c
    off = 0.5 * (a - c) / bend if b >= max(a, c) and bend else 0.0
    return (peak + off) / STEPS


# ---------------------------------------------------------------- drawing


@dataclass(frozen=True, slots=True)
class _Scale:
    start_s: float
    end_s: float
    low: float
    high: float

    def x(self, time_s: float) -> float:
        share = (time_s - self.start_s) / (self.end_s - self.start_s)
        return LEFT + min(max(share, 0.0), 1.0) * (WIDTH - LEFT)

    def y(self, midi: float) -> float:
        return TOP + (self.high - midi) / (self.high - self.low) * (ROW_HEIGHT - TOP)


def _row(
    tune: Tune,
    salience: Salience | None,
    low: float,
    high: float,
    shown: range,
    numbers: Sequence[int],
) -> PictureRow:
    bars = tune.bars_heard
    start_s, end_s = bars[shown[0]].start_s, bars[shown[-1]].end_s
    if len(shown) < BARS_PER_ROW and shown[0]:
        per_bar = (end_s - start_s) / len(shown)
        end_s = start_s + per_bar * BARS_PER_ROW
    scale = _Scale(start_s, end_s, low, high)
    doubtful = {doubt.bar for doubt in tune.doubts}
    drawn = [_image(salience, scale), *_pitch_grid(tune, scale)]
    drawn += [_bar(bars[i], scale, i, numbers[i], numbers[i] in doubtful) for i in shown]
    drawn += _notes(tune, salience, scale)
    body = "".join(drawn)
    first, last = numbers[shown[0]], numbers[shown[-1]]
    return PictureRow(
        f'<svg class="heard" viewBox="0 0 {WIDTH:g} {ROW_HEIGHT + 4:g}" role="group" '
        f'aria-label="Heard, bars {first} to {last}">{body}</svg>',
        tuple(shown),
    )


def _image(salience: Salience | None, scale: _Scale) -> str:
    if salience is None:
        return ""
    first, last = int(scale.start_s / HOP_S), int(np.ceil(scale.end_s / HOP_S))
    piece = salience.strength[max(first, 0) : last].T[::-1]
    if not piece.size:
        return ""
    shade = (255 - 16 * np.round(np.clip(piece, 0.0, 1.0) ** 0.8 * 11.0)).astype(np.uint8)
    data = base64.b64encode(grey_png(shade)).decode()
    right = scale.x(scale.start_s + piece.shape[1] * HOP_S)
    half = 0.5 / STEPS
    top, bottom = scale.y(scale.high + half), scale.y(scale.low - half)
    return (
        f'<image class="sound" x="{LEFT:g}" y="{top:.1f}" width="{right - LEFT:.1f}" '
        f'height="{bottom - top:.1f}" preserveAspectRatio="none" '
        f'href="data:image/png;base64,{data}"/>'
    )


def _pitch_grid(tune: Tune, scale: _Scale) -> list[str]:
    """A thin line at each octave's tonic and fifth, with the name as the tune is written."""
    tonic = keys.pitch_class(tune.tonic)
    drawn = []
    for midi in range(int(scale.low), int(scale.high) + 1):
        if (midi - tonic) % 12 in (0, 7):
            y = scale.y(midi)
            name = keys.note_name(midi + 12 * tune.octave_shift, tune.signature)
            drawn.append(
                f'<path class="grid" d="M{LEFT:g} {y:.1f}H{WIDTH:g}"/>'
                f'<text class="pitch" x="{LEFT - 5:g}" y="{y + 4:.1f}">{name}</text>'
            )
    return drawn


def _bar(bar: HeardBar, scale: _Scale, index: int, number: int, doubtful: bool) -> str:
    x, right = scale.x(bar.start_s), scale.x(bar.end_s)
    kind = "hbar doubt" if doubtful else "hbar"
    words = f"Bar {number}" if number else "Pick-up"
    label = f"{words}, listen" + (", doubtful" if doubtful else "")
    mark = f"{number or ''}{' ?' if doubtful else ''}"
    return (
        f'<g class="{kind}" data-heard="{index}" role="button" tabindex="-1" aria-label="{label}">'
        f'<rect x="{x:.1f}" y="0" width="{max(right - x, 1):.1f}" height="{ROW_HEIGHT:g}"/>'
        f'<path d="M{x:.1f} 0V{ROW_HEIGHT:g}"/><text x="{x + 5:.1f}" y="14">{mark}</text></g>'
    )


def _notes(tune: Tune, salience: Salience | None, scale: _Scale) -> list[str]:
    drawn = []
    tall = abs(scale.y(0.0) - scale.y(0.8))
    for note in tune.heard:
        if note.offset_s <= scale.start_s or note.onset_s >= scale.end_s:
            continue
        x, right = scale.x(note.onset_s), scale.x(note.offset_s)
        kind = "note orn" if note.role == "ornament" else "note"
        drawn.append(
            f'<rect class="{kind}" x="{x:.1f}" y="{scale.y(note.midi) - tall / 2:.1f}" '
            f'width="{max(right - x, 1.0):.1f}" height="{tall:.1f}" rx="2"/>'
        )
        line = [] if salience is None else pitch_line(salience, note)
        points = " ".join(f"{scale.x(t):.1f},{scale.y(m):.1f}" for t, m in line)
        if len(line) > 1:
            drawn.append(f'<polyline class="trace" points="{points}"/>')
    return drawn


def grey_png(pixels: np.ndarray) -> bytes:
    """An 8-bit grey PNG (ISO/IEC 15948), shape (rows, columns)."""
    rows, columns = pixels.shape
    lines = np.concatenate([np.zeros((rows, 1), np.uint8), pixels], axis=1).tobytes()

    def chunk(name: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        )

    header = struct.pack(">IIBBBBB", columns, rows, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(lines, 6)) + chunk(b"IEND", b"")
    )  # fmt: skip
