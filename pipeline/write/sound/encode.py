"""Samples to the bytes of an audio file: wav, ogg (Opus) or mp3; the same samples, the same bytes.

In: float samples, shape (n,) or (n, channels), -1 to 1. Out: bytes.
Method: wav by libsndfile; Opus and mp3 by FFmpeg (PyAV) with its bit-exact flags, because
    libsndfile numbers its ogg streams at random and takes half as long again for mp3. mp3 plays
    everywhere, Opus is faster to write and smaller.
"""

from __future__ import annotations

import io
from typing import Literal

import numpy as np

AudioKind = Literal["wav", "ogg", "mp3"]

MP3_RATES = (16_000, 22_050, 24_000, 32_000, 44_100, 48_000)
"""Sample rates of MPEG-1 and MPEG-2 layer III (ISO/IEC 11172-3, 13818-3)."""
_OPUS_RATES = (8_000, 12_000, 16_000, 24_000, 48_000)  # Hz that Opus takes (RFC 6716)
_LAME_SCALE = np.float32(0.95)
"""LAME writes everything softer by this at 48 kbit/s a channel, to be on the safe side."""
_BITEXACT = 1 << 23
"""AV_CODEC_FLAG_BITEXACT of FFmpeg's avcodec.h."""


def encode_audio(samples: np.ndarray, sample_rate: int, kind: AudioKind) -> bytes:
    """The bytes of an audio file of about 50 kbit/s a channel (wav: 16 bit)."""
    clipped = np.clip(samples, -1.0, 1.0).astype(np.float32)
    samples = clipped if clipped.ndim == 2 else clipped[:, None]
    if kind != "wav":
        return _opus(samples, sample_rate) if kind == "ogg" else _mp3(samples, sample_rate)
    import soundfile

    out = io.BytesIO()
    soundfile.write(out, clipped, sample_rate, format="WAV", subtype="PCM_16")
    return out.getvalue()


def resampled(samples: np.ndarray, sample_rate: int, wanted: int) -> np.ndarray:
    """Mono samples, shape (n,), at another rate."""
    if sample_rate == wanted:
        return samples.astype(np.float32)
    import av

    frame = av.AudioFrame.from_ndarray(
        np.ascontiguousarray(samples[None], np.float32), format="flt", layout="mono"
    )
    frame.sample_rate = sample_rate
    resampler = av.AudioResampler("flt", "mono", wanted)
    pieces = (*resampler.resample(frame), *resampler.resample(None))
    return np.concatenate([piece.to_ndarray()[0] for piece in pieces])


def _opus(samples: np.ndarray, sample_rate: int) -> bytes:
    rate = sample_rate if sample_rate in _OPUS_RATES else 48_000
    return _ffmpeg(samples, sample_rate, rate, "ogg", "libopus", {"compression_level": "3"})


def _mp3(samples: np.ndarray, sample_rate: int) -> bytes:
    rate = sample_rate if sample_rate in MP3_RATES else 44_100
    louder = samples / _LAME_SCALE
    return _ffmpeg(louder, sample_rate, rate, "mp3", "libmp3lame", {"compression_level": "7"})


def _ffmpeg(
    samples: np.ndarray, sample_rate: int, rate: int, form: str, codec: str, options: dict[str, str]
) -> bytes:
    """Samples, shape (n, channels), through one of FFmpeg's encoders at `rate`."""
    import av

    layout = "mono" if samples.shape[1] == 1 else "stereo"
    out = io.BytesIO()
    with av.open(out, "w", format=form, options={"fflags": "+bitexact"}) as container:
        stream = container.add_stream(codec, rate=rate, options=options)
        stream.layout = layout
        stream.bit_rate = 48_000 * samples.shape[1]
        stream.codec_context.flags |= _BITEXACT
        frame = av.AudioFrame.from_ndarray(
            np.ascontiguousarray(samples.reshape(1, -1)), format="flt", layout=layout
        )
        frame.sample_rate = sample_rate
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return out.getvalue()
