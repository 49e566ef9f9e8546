"""Samples to the bytes of an audio file: wav, ogg (Opus) or mp3; the same samples, the same bytes.

In: float samples, shape (n,) or (n, channels), -1 to 1. Out: bytes.
Method: wav and mp3 by libsndfile; Opus by FFmpeg (PyAV) with its bit-exact flags, because
    libsndfile numbers its ogg streams at random. mp3 plays everywhere, Opus is three times as
    fast to write and smaller.
"""

from __future__ import annotations

import io
from typing import Literal

import numpy as np

AudioKind = Literal["wav", "ogg", "mp3"]
MIME = {"wav": "audio/wav", "ogg": "audio/ogg", "mp3": "audio/mpeg"}

_OPUS_RATES = (8_000, 12_000, 16_000, 24_000, 48_000)
_BITEXACT = 1 << 23
"""AV_CODEC_FLAG_BITEXACT of FFmpeg's avcodec.h."""


def encode_audio(samples: np.ndarray, sample_rate: int, kind: AudioKind) -> bytes:
    """The bytes of an audio file of about 50 kbit/s a channel (wav: 16 bit)."""
    clipped = np.clip(samples, -1.0, 1.0).astype(np.float32)
    if kind == "ogg":
        return _opus(clipped if clipped.ndim == 2 else clipped[:, None], sample_rate)
    import soundfile

    out = io.BytesIO()
    if kind == "wav":
        soundfile.write(out, clipped, sample_rate, format="WAV", subtype="PCM_16")
    else:
        soundfile.write(
            out, clipped, sample_rate, format="MP3", subtype="MPEG_LAYER_III",
            bitrate_mode="VARIABLE", compression_level=0.5,
        )  # fmt: skip
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
    import av

    layout = "mono" if samples.shape[1] == 1 else "stereo"
    rate = sample_rate if sample_rate in _OPUS_RATES else 48_000
    out = io.BytesIO()
    with av.open(out, "w", format="ogg", options={"fflags": "+bitexact"}) as container:
        stream = container.add_stream("libopus", rate=rate, options={"compression_level": "3"})
        stream.layout = layout
        stream.bit_rate = 48_000 * samples.shape[1]
        stream.codec_context.flags |= _BITEXACT
        stream.codec_context.open()
        resampler = av.AudioResampler("flt", layout, rate, stream.codec_context.frame_size)
        frame = av.AudioFrame.from_ndarray(
            np.ascontiguousarray(samples.reshape(1, -1)), format="flt", layout=layout
        )
        frame.sample_rate = sample_rate
        for piece in (*resampler.resample(frame), *resampler.resample(None)):
            container.mux(stream.encode(piece))
        container.mux(stream.encode(None))
    return out.getvalue()
