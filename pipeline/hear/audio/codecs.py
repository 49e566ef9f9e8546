"""Reading sound files block by block: soundfile where it can, FFmpeg's libraries (PyAV) otherwise.

Task   : decode any file that a phone, a browser or a recorder makes, in bounded memory.
In     : a path.
Out    : blocks of samples, float32 of shape (n, channels), at the file's own rate.
Method : libsndfile reads wav, aiff, flac, ogg and mp3; everything else (m4a, webm, wma, video
         files with a sound track ...) and whatever libsndfile refuses goes through FFmpeg.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

BLOCK_FRAMES = 1 << 17  # samples read at once, about 3 s
SOUND_FORMATS = (
    "wav,w64,aiff,flac,ogg,mp3,aac,mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,asf,avi,amr,au,caf,ac3,"
    "eac3,wv,ape,tta,adts,loas,mpeg,mpegts,flv,dsf"
)
ONLY_SOUND = {"format_whitelist": SOUND_FORMATS, "protocol_whitelist": "none", "enable_drefs": "0"}
"""Playlists, lists of files and whatever else opens other files are not read."""
DAMAGED_SHARE = 0.05
"""More damaged packets than this share, and the file counts as broken."""


class UnreadableError(Exception):
    """The file holds no sound that can be decoded; the text says what the decoder said."""


@dataclass(frozen=True, slots=True)
class Stream:
    """An open sound stream.

    sample_rate       : Hz
    channels          : number of channels
    expected_frames   : length the file claims, 0 when it claims none that can be trusted
    blocks            : the samples, to be read once
    """

    sample_rate: int
    channels: int
    expected_frames: int
    blocks: Iterator[np.ndarray]


def open_stream(path: Path) -> Stream:
    """Open `path` for reading. Raises UnreadableError."""
    return _open_soundfile(path) or _open_av(path)


def _open_soundfile(path: Path) -> Stream | None:
    import soundfile

    try:
        # as bytes where names are bytes: such a name need not be UTF-8
        file = soundfile.SoundFile(os.fsencode(path) if os.name == "posix" else path)
    except (soundfile.LibsndfileError, RuntimeError, TypeError):
        return None
    if file.frames <= 0 or file.samplerate <= 0:
        file.close()
        return None
    claimed = 0
    if file.format.startswith("WAV"):
        claimed = _claimed_wav_frames(path)
    elif file.format in ("FLAC", "AIFF"):
        claimed = file.frames
    elif file.format in ("MP3", "MPEG"):
        claimed = _claimed_mp3_frames(path)

    def blocks() -> Iterator[np.ndarray]:
        with file:
            while True:
                try:
                    block = file.read(BLOCK_FRAMES, dtype="float32", always_2d=True)
                except (soundfile.LibsndfileError, RuntimeError):
                    return  # a broken tail: the caller compares the length with the claim
                if not len(block):
                    return
                yield block

    return Stream(file.samplerate, file.channels, claimed, blocks())


def _claimed_wav_frames(path: Path) -> int:
    """Frames that a RIFF header promises; 0 when it promises nothing (streamed files)."""
    with open(path, "rb") as file:
        head = file.read(12)
        if len(head) < 12 or head[:4] != b"RIFF" or head[8:12] != b"WAVE":
            return 0
        frame_bytes = 0
        while len(chunk := file.read(8)) == 8:
            size = int.from_bytes(chunk[4:], "little")
            if chunk[:4] == b"fmt ":
                body = file.read(size + size % 2)
                frame_bytes = int.from_bytes(body[12:14], "little")
                continue
            if chunk[:4] == b"data":
                streamed = size in (0, 0xFFFFFFFF) or size >= 0x7FFFF000
                return 0 if streamed or not frame_bytes else size // frame_bytes
            file.seek(size + size % 2, 1)
    return 0


def _claimed_mp3_frames(path: Path) -> int:
    """Sample frames that the Xing or Info header of an mp3 promises; 0 without such a header.

    The header names MPEG frames of 1152 samples (576 below 32 kHz, MPEG 2 and 2.5); the decoder
    may take up to about 3000 samples of padding off, far less than what counts as cut short.
    """
    head = _first_bytes(path, 65536)
    at = max(head.find(b"Xing"), head.find(b"Info"))
    if at < 4 or not head[at + 7] & 1:
        return 0
    sync = head.rfind(b"\xff", max(0, at - 40), at)
    mpeg1 = sync >= 0 and head[sync + 1] & 0x18 == 0x18
    return int.from_bytes(head[at + 8 : at + 12], "big") * (1152 if mpeg1 else 576) - 3000


def _first_bytes(path: Path, count: int) -> bytes:
    with open(path, "rb") as file:
        return file.read(count)


class _Bytes:
    """A file for FFmpeg without its name: nothing goes by the name, and it need not be UTF-8."""

    def __init__(self, path: Path) -> None:
        self._file = open(path, "rb")  # noqa: SIM115
        self.read, self.seek, self.tell = self._file.read, self._file.seek, self._file.tell


def _open_av(path: Path) -> Stream:
    import av

    try:
        container = av.open(_Bytes(path), container_options=ONLY_SOUND)
    except (av.error.FFmpegError, OSError, ValueError) as fault:
        raise UnreadableError(_words(fault)) from fault
    if not container.streams.audio:
        container.close()
        raise UnreadableError("it has no sound track")
    track = container.streams.audio[0]
    if track.codec_context is None:
        container.close()
        raise UnreadableError("its sound is in a codec that is not known here")
    rate = int(track.codec_context.sample_rate or 0)
    channels = int(track.codec_context.channels or 0)
    if rate <= 0 or channels <= 0:
        container.close()
        raise UnreadableError("its sound track has no sample rate")
    expected = 0
    if "mp4" in container.format.name and track.duration and track.time_base:
        expected = int(float(track.duration * track.time_base) * rate)
    elif "matroska" in container.format.name and container.duration:
        expected = int(container.duration / 1e6 * rate)
    return Stream(rate, channels, expected, _av_blocks(container, track, rate, channels))


def _av_blocks(container, track, rate: int, channels: int) -> Iterator[np.ndarray]:  # type: ignore[no-untyped-def]
    """Decoded blocks; floats come out channel by channel in each frame, at one fixed rate."""
    import av

    layout = track.codec_context.layout.name
    resampler = av.AudioResampler(format="flt", layout=layout, rate=rate)
    good = damaged = 0
    with container:
        packets = container.demux(track)
        while True:
            try:
                packet = next(packets)
            except StopIteration:
                break
            except av.error.FFmpegError:
                break  # a broken tail: the caller compares the length with the claim
            try:
                frames = packet.decode()
            except av.error.FFmpegError:
                damaged += 1
                continue
            good += 1
            for frame in frames:
                frame.pts = None
                if frame.layout.name != layout or frame.sample_rate != rate:
                    raise UnreadableError(
                        "its channels or its sample rate change in the middle, from "
                        f"{layout} at {rate} Hz to {frame.layout.name} at {frame.sample_rate} Hz"
                    )
                for part in resampler.resample(frame):
                    yield part.to_ndarray().reshape(-1, channels)
        for part in resampler.resample(None):
            yield part.to_ndarray().reshape(-1, channels)
    if damaged > max(2, DAMAGED_SHARE * (good + damaged)):
        raise UnreadableError(f"{damaged} of its {good + damaged} packets are damaged")


def _words(fault: Exception) -> str:
    text = getattr(fault, "strerror", None) or str(fault)
    return text[:1].lower() + text[1:].rstrip(".")
