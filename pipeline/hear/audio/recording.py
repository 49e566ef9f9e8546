"""Reading a recording.

Task   : any sound file -> mono samples at one rate, checked and ready to listen to.
In     : path of a wav, flac, mp3, ogg, m4a/aac, webm/opus ... file, any rate, any channels.
Out    : Audio, float32 mono at 22.05 kHz.
Method : decoded block by block; the channels are mixed along the direction in which they vary
         together (first principal component of the opening), so that channels of opposite phase
         do not cancel and a dead channel adds no noise; then resampled by soxr. Only the mono
         result is kept whole, and of two channels that differ what is beside it, for bands.
References: I. T. Jolliffe, "Principal Component Analysis", 2nd ed., Springer 2002, ch. 1.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from liltwright.errors import PipelineError
from liltwright.hear.audio.codecs import Stream, UnreadableError, open_stream
from liltwright.limits import check, check_between, check_regular, clean, limit, shown_path
from liltwright.progress import Progress, silent
from liltwright.tune import Source

SAMPLE_RATE = 22050  # Hz; nothing that is looked for lies above half of it
MIN_DURATION_S = 4.0  # shorter is no tune
MAX_DURATION_S = 3600.0  # an hour, for bounded memory
SILENT_PEAK = 10 ** (-70 / 20)  # -70 dB of full scale: quieter than any microphone's own noise
CLIPPED_SHARE = 1e-3  # of samples at full scale from which on the user is told
TRUNCATED_S = 0.5  # seconds less than the file promises from which on the user is told
PROBE_S = 20.0  # seconds of sound by which the mix of the channels is chosen
BESIDE_SHARE = 0.01
"""Least power beside the mono mix, of that of the mix, for the channels to differ at all."""
FORMATS = "wav, flac, mp3, ogg, m4a, webm"


@dataclass(frozen=True, slots=True)
class Audio:
    """A recording ready to listen to.

    samples     : float32, shape (n,), mono, about -1 to 1
    sample_rate : Hz
    source      : file name, checksum of the file's bytes, duration
    warnings    : sentences for the user about the recording
    beside      : float16, shape (n,), what two channels do not have in common (second principal
                  component); None when there is hardly anything
    """

    samples: np.ndarray
    sample_rate: int
    source: Source
    warnings: tuple[str, ...] = ()
    beside: np.ndarray | None = None

    @property
    def duration_s(self) -> float:
        """Length of the recording in seconds."""
        return len(self.samples) / self.sample_rate


def load_audio(path: Path | str, *, progress: Progress = silent) -> Audio:
    """Read a recording of 4 s to 60 min.

    Raises PipelineError when the file is missing, empty, no sound, truncated, silent, too short
    or too long.
    """
    path = Path(path)
    _check_file(path)
    progress("reading the recording", 0.0)
    try:
        stream = open_stream(path)
        samples, beside, native_frames, clipped = _decode(stream, path)
    except UnreadableError as fault:
        raise PipelineError(
            f"{clean(path.name)} cannot be read as a recording ({fault}); "
            f"give a sound file such as {FORMATS}."
        ) from fault
    _check_complete(path, native_frames, stream)
    _check_sound(path, samples)
    warnings = []
    if clipped > CLIPPED_SHARE * native_frames:
        warnings.append(
            f"The recording is clipped ({100 * clipped / native_frames:.1f} % of it is cut off at "
            "full level): record further from the microphone or with less gain if notes are wrong."
        )
    duration_s = len(samples) / SAMPLE_RATE
    source = Source(clean(path.name), sha256_of(path), round(duration_s, 3))
    progress("reading the recording", 1.0)
    return Audio(samples, SAMPLE_RATE, source, tuple(warnings), beside)


def audio_from_samples(samples: np.ndarray, sample_rate: int, *, name: str = "samples") -> Audio:
    """Audio from an array, float, shape (n,) or (n, channels), e.g. in tests and benchmarks."""
    block = np.atleast_2d(np.asarray(samples, dtype=np.float32).T).T
    stream = Stream(sample_rate, block.shape[1], 0, iter((block,)))
    mono, beside, _, _ = _decode(stream, Path(name))
    digest = hashlib.sha256(np.ascontiguousarray(mono).tobytes()).hexdigest()
    source = Source(name, digest, round(len(mono) / SAMPLE_RATE, 3))
    return Audio(mono, SAMPLE_RATE, source, beside=beside)


def _check_file(path: Path) -> None:
    size = check_regular(path, what="recording")
    try:
        with open(path, "rb") as file:
            file.read(1)
    except OSError as fault:
        raise PipelineError(f"{shown_path(path)} cannot be opened: {fault.strerror}.") from fault
    if size == 0:
        raise PipelineError(f"{clean(path.name)} is empty (0 bytes): record or copy it again.")


def _decode(stream: Stream, path: Path) -> tuple[np.ndarray, np.ndarray | None, int, int]:
    """Mono samples and what is beside them (Audio.beside), both at SAMPLE_RATE, frames read at the
    file's rate, and clipped frames among them.

    The samples are views into arrays that are reserved, not filled, for the longest recording.
    """
    most = int(MAX_DURATION_S * SAMPLE_RATE)
    _check_stream(stream, clean(path.name))
    kept = np.empty(most + SAMPLE_RATE, dtype=np.float32)
    beside: np.ndarray | None = None
    resample, resample_beside = _resampler(stream.sample_rate), _resampler(stream.sample_rate)
    filled = frames = clipped = 0
    for block, aside, last in _mixed(stream):
        frames += len(block)
        clipped += _clipped(block)
        part = resample(block, last)
        if filled + len(part) > most:
            raise PipelineError(
                f"{clean(path.name)} is longer than {MAX_DURATION_S / 60:.0f} minutes: "
                "cut out the tune and give only that."
            )
        kept[filled : filled + len(part)] = part
        if aside is not None:
            if beside is None:
                beside = np.empty(most + SAMPLE_RATE, dtype=np.float16)
            beside[filled : filled + len(part)] = resample_beside(aside, last)
        filled += len(part)
    samples = kept[:filled]
    samples[~np.isfinite(samples)] = 0.0
    if beside is None:
        return samples, None, frames, clipped
    other = beside[:filled]
    other[~np.isfinite(other)] = 0.0
    return samples, other, frames, clipped


def _check_stream(stream: Stream, name: str) -> None:
    check_between("rate_low", "rate_high", stream.sample_rate, name)
    check("channels", stream.channels, name)


def _resampler(rate: int):  # type: ignore[no-untyped-def]
    if rate == SAMPLE_RATE:
        return lambda block, last: block
    import soxr

    return soxr.ResampleStream(rate, SAMPLE_RATE, 1, dtype="float32", quality="HQ").resample_chunk


def _mixed(stream: Stream) -> Iterator[tuple[np.ndarray, np.ndarray | None, bool]]:
    """Mono blocks, what is beside them, and whether each is the last (an empty one at the end)."""
    opening: list[np.ndarray] = []
    held = total = 0
    mix = _Mix(np.ones(1, dtype=np.float32), None) if stream.channels == 1 else None
    for block in stream.blocks:
        if mix is not None:
            yield *mix.of(block), False
            continue
        opening.append(block)
        total += block.nbytes
        held += len(block) if np.abs(block).max(initial=0.0) > SILENT_PEAK else 0
        if held >= PROBE_S * stream.sample_rate or total >= limit("opening_bytes"):
            mix = _mix_of(opening)
            for early in opening:
                yield *mix.of(early), False
            opening = []
    if mix is None and opening:
        mix = _mix_of(opening)
        for early in opening:
            yield *mix.of(early), False
    empty = np.zeros(0, dtype=np.float32)
    yield empty, empty if mix is not None and mix.beside is not None else None, True


@dataclass(frozen=True, slots=True)
class _Mix:
    """Weights per channel of the mono mix, and of what is beside it."""

    main: np.ndarray
    beside: np.ndarray | None

    def of(self, block: np.ndarray) -> tuple[np.ndarray, np.ndarray | None]:
        """Both mixes of a block, shape (n, channels)."""
        return block @ self.main, None if self.beside is None else block @ self.beside


def _mix_of(blocks: list[np.ndarray]) -> _Mix:
    """Weights per channel, float32, whose absolute values add up to 1."""
    channels = blocks[0].shape[1]
    covariance = np.zeros((channels, channels))
    for block in blocks:
        covariance += block.T.astype(float) @ block
    if not np.isfinite(covariance).all() or not covariance.any():
        return _Mix(np.full(channels, 1 / channels, dtype=np.float32), None)
    power, axes = np.linalg.eigh(covariance)
    notable = channels == 2 and power[0] >= BESIDE_SHARE * power[1]
    return _Mix(_even(axes[:, -1]), _even(axes[:, 0]) if notable else None)


def _even(axis: np.ndarray) -> np.ndarray:
    main = axis * np.sign(axis[np.argmax(np.abs(axis))])
    return np.asarray(main / np.abs(main).sum(), dtype=np.float32)


def _clipped(block: np.ndarray) -> int:
    """Samples that sit on a flat top near full scale, or over it (lossy codecs overshoot)."""
    if np.abs(block).max(initial=0.0) < 0.5:
        return 0
    high = np.abs(block) > 0.5
    flat = high[2:] & (np.abs(np.diff(block[1:])) < 2e-5) & (np.abs(np.diff(block[:-1])) < 2e-5)
    return int(np.count_nonzero(flat) + np.count_nonzero(np.abs(block) > 1.02))


def _check_complete(path: Path, frames: int, stream: Stream) -> None:
    missing_s = (stream.expected_frames - frames) / stream.sample_rate
    if missing_s > TRUNCATED_S:
        raise PipelineError(
            f"{clean(path.name)} is cut short: it should last "
            f"{stream.expected_frames / stream.sample_rate:.1f} s but only "
            f"{frames / stream.sample_rate:.1f} s can be read; copy or export it again."
        )


def _check_sound(path: Path, samples: np.ndarray) -> None:
    duration_s = len(samples) / SAMPLE_RATE
    if duration_s < MIN_DURATION_S:
        raise PipelineError(
            f"{clean(path.name)} lasts {duration_s:.1f} s, "
            f"a tune needs at least {MIN_DURATION_S:.0f} s: "
            "record the tune at least once through."
        )
    peak = max(float(samples.max()), -float(samples.min()))
    if peak < SILENT_PEAK:
        raise PipelineError(
            f"{clean(path.name)} is silent (its loudest moment is below -70 dB): "
            "check the microphone and record again."
        )


def sha256_of(path: Path) -> str:
    """Checksum of a file's bytes."""
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
