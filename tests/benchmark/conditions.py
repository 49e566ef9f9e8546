"""Task: what happens to a sound between the player and the file.

In: float32 mono audio, its sample rate, a seed. Out: audio and rate; times move only where said.
Method: "room": early reflections and a decaying tail, the direct sound first; "noise20",
    "noise12": coloured room noise and mains hum at that many decibels below the playing;
    "phone": a small room, the band and the automatic gain of a telephone, soft clipping, then a
    real codec (AMR, Opus, AAC or MP3 at a low rate by PyAV). Talking and foot taps can be added.
"""

from __future__ import annotations

import io
import shutil
import subprocess
from typing import Literal

import numpy as np

from liltwright.tune import Tune

Condition = Literal["clean", "room", "noise20", "noise12", "phone"]
CONDITIONS: tuple[Condition, ...] = ("clean", "room", "noise20", "noise12", "phone")

CODECS = (
    ("libopus", "ogg", 16_000, 16_000), ("libopus", "ogg", 24_000, 24_000),
    ("aac", "mp4", 24_000, 32_000), ("libmp3lame", "mp3", 22_050, 40_000),
    ("libopencore_amrnb", "amr", 8_000, 12_200),
)  # fmt: skip
"""Codec, container, sample rate, bits per second."""

SAYINGS = (
    "Right so, here it is.", "I think it goes like this.", "One, two, ready now.",
    "This is the one from Tuesday.", "Hold on. Okay. One, two, three, four.",
)  # fmt: skip


def apply(
    audio: np.ndarray, rate: int, condition: Condition, *, seed: int
) -> tuple[np.ndarray, int]:
    """The audio under a condition, peak at most 0.9. "phone" changes the sample rate."""
    rng = np.random.default_rng([seed, 991])
    if condition == "room":
        audio = room(audio, rate, rng)
        audio = add_noise(audio, rate, 35.0, rng)
    elif condition in ("noise20", "noise12"):
        audio = add_noise(audio, rate, float(condition[5:]), rng)
    elif condition == "phone":
        audio, rate = phone(audio, rate, rng)
    return (audio * min(1.0, 0.9 / max(float(np.abs(audio).max()), 1e-9))).astype(np.float32), rate


def room(
    audio: np.ndarray, rate: int, rng: np.random.Generator, *, wet_db: float | None = None
) -> np.ndarray:
    """Direct sound, a few early reflections, a tail of 0.25 to 0.6 s."""
    from scipy.signal import butter, fftconvolve, sosfilt

    decay = float(rng.uniform(0.25, 0.6))
    size = int(decay * rate)
    t = np.arange(size) / rate
    tail = rng.normal(size=size) * np.exp(-6.9 * t / decay)
    tail[: int(0.01 * rate)] = 0
    tail = sosfilt(butter(1, min(4000, rate * 0.4), fs=rate, output="sos"), tail)
    wet = float(rng.uniform(-12, -5)) if wet_db is None else wet_db
    response = tail / np.sqrt(np.sum(tail**2)) * 10 ** (wet / 20)
    for _ in range(8):
        at = int(rng.uniform(0.004, 0.04) * rate)
        response[at] += float(rng.choice([-1, 1]) * rng.uniform(0.05, 0.3))
    response[0] = 1.0
    return fftconvolve(audio, response)[: len(audio) + int(0.2 * rate)].astype(np.float32)


def add_noise(audio: np.ndarray, rate: int, snr_db: float, rng: np.random.Generator) -> np.ndarray:
    """Coloured noise with a slope between white and brown, and some mains hum."""
    size = len(audio)
    shape = np.fft.rfftfreq(size, 1 / rate)
    spectrum = np.fft.rfft(rng.normal(size=size))
    spectrum *= np.maximum(shape, 40.0) ** -float(rng.uniform(0.2, 0.9))
    noise = np.fft.irfft(spectrum, size)
    noise /= noise.std()
    t = np.arange(size) / rate
    hum = sum(np.sin(2 * np.pi * 50 * k * t + rng.uniform(0, 6)) / k for k in (1, 2, 3))
    noise += float(rng.uniform(0, 0.3)) * hum
    return (audio + noise / noise.std() * _playing_level(audio) * 10 ** (-snr_db / 20)).astype(
        np.float32
    )


def _playing_level(audio: np.ndarray) -> float:
    """Root mean square of the louder half of the recording."""
    frame = 1024
    squares = (audio[: len(audio) // frame * frame].reshape(-1, frame) ** 2).mean(axis=1)
    return float(np.sqrt(squares[squares >= np.median(squares)].mean()))


def phone(audio: np.ndarray, rate: int, rng: np.random.Generator) -> tuple[np.ndarray, int]:
    """A telephone on the table: room, band, automatic gain, codec. Returns audio and its rate."""
    from scipy.signal import butter, sosfilt

    audio = add_noise(room(audio, rate, rng, wet_db=-9), rate, 30.0, rng)
    low, high = float(rng.uniform(120, 250)), float(rng.uniform(3400, 7500))
    band = butter(2, [low, min(high, rate * 0.45)], "band", fs=rate, output="sos")
    audio = _automatic_gain(sosfilt(band, audio), rate)
    audio = np.tanh(audio * float(rng.uniform(0.8, 1.6)))
    available = [codec for codec in CODECS if _has(codec[0])]
    codec, container, codec_rate, bits = available[int(rng.integers(len(available)))]
    return through_codec(audio, rate, codec, container, codec_rate, bits), codec_rate


def _automatic_gain(audio: np.ndarray, rate: int) -> np.ndarray:
    """Slowly level the loudness, as recorders do."""
    from scipy.signal import lfilter

    alpha = 1 / (0.4 * rate)
    level = np.sqrt(np.maximum(lfilter([alpha], [1, alpha - 1], audio**2), 1e-6))
    gain = (0.3 / np.maximum(level, 0.02)) ** 0.6
    return audio * gain


def _has(codec: str) -> bool:
    import av

    try:
        return bool(av.Codec(codec, "w"))
    except ValueError:
        return False


def through_codec(
    audio: np.ndarray, rate: int, codec: str, container: str, codec_rate: int, bits: int
) -> np.ndarray:
    """Encode and decode; the result is at codec_rate, mono float32."""
    import av

    pcm = (np.clip(_resampled(audio, rate, codec_rate), -1, 1) * 32767).astype(np.int16)
    file = io.BytesIO()
    with av.open(file, "w", format=container) as out:
        stream = out.add_stream(codec, rate=codec_rate)
        stream.layout = "mono"
        stream.bit_rate = bits
        frame = av.AudioFrame.from_ndarray(pcm[None, :], format="s16", layout="mono")
        frame.sample_rate = codec_rate
        resampler = av.AudioResampler(
            format=stream.codec_context.codec.audio_formats[0].name,
            layout="mono", rate=codec_rate, frame_size=stream.codec_context.frame_size or 0,
        )  # fmt: skip
        for piece in [*resampler.resample(frame), *resampler.resample(None)]:
            out.mux(stream.encode(piece))
        out.mux(stream.encode(None))
    file.seek(0)
    with av.open(file) as back:
        to_float = av.AudioResampler(format="flt", layout="mono", rate=codec_rate)
        pieces = [p.to_ndarray()[0] for f in back.decode(audio=0) for p in to_float.resample(f)]
    return _without_delay(np.concatenate(pieces), pcm / 32767, codec_rate).astype(np.float32)


def _without_delay(coded: np.ndarray, before: np.ndarray, rate: int) -> np.ndarray:
    """Cut off what the encoder put in front (AAC in MP4 as PyAV writes it: 43 ms)."""
    from scipy.signal import correlate

    size = min(8 * rate, len(before))
    lags = correlate(coded[: size + rate // 5], before[:size], mode="full")[size - 1 :]
    return coded[int(np.argmax(lags[: rate // 5])) :]


def _resampled(audio: np.ndarray, rate: int, new_rate: int) -> np.ndarray:
    from fractions import Fraction

    from scipy.signal import resample_poly

    ratio = Fraction(new_rate, rate)
    return resample_poly(audio, ratio.numerator, ratio.denominator).astype(np.float32)


# ---------------------------------------------------------------- company


def tap_feet(audio: np.ndarray, rate: int, truth: Tune, *, seed: int) -> np.ndarray:
    """Foot taps on the beats, as loud as a tenth to a quarter of the playing."""
    rng = np.random.default_rng([seed, 17])
    out = audio.copy()
    t = np.arange(int(0.12 * rate)) / rate
    beats = int(truth.bar_length / truth.beat)
    loud = float(np.abs(audio).max()) * float(rng.uniform(0.1, 0.25))
    for bar in truth.bars_heard:
        for beat in range(beats):
            when = bar.start_s + (bar.end_s - bar.start_s) * beat / beats + rng.normal(0, 0.012)
            pitch = float(rng.uniform(60, 110))
            tap = np.sin(2 * np.pi * pitch * t) * np.exp(-t / 0.025)
            tap[: int(0.01 * rate)] += rng.normal(0, 0.2, int(0.01 * rate))
            at = int(max(when, 0) * rate)
            room_left = max(min(len(tap), len(out) - at), 0)
            out[at : at + room_left] += tap[:room_left] * loud
    return out.astype(np.float32)


def talk_before(audio: np.ndarray, rate: int, *, seed: int) -> tuple[np.ndarray, float]:
    """Somebody says a few words first. Returns the audio and by how many seconds it moved.

    Needs espeak-ng (Debian); raises FileNotFoundError without it.
    """
    import soundfile

    if not shutil.which("espeak-ng"):
        raise FileNotFoundError("install espeak-ng to add spoken words")
    rng = np.random.default_rng([seed, 18])
    speed, height = str(rng.integers(130, 180)), str(rng.integers(20, 70))
    command = ["espeak-ng", "--stdout", "-s", speed, "-p", height, str(rng.choice(SAYINGS))]
    said = subprocess.run(command, check=True, capture_output=True).stdout
    voice, voice_rate = soundfile.read(io.BytesIO(said), dtype="float32")
    voice = _resampled(voice, voice_rate, rate)
    voice *= float(rng.uniform(0.3, 0.7)) * np.abs(audio).max() / max(np.abs(voice).max(), 1e-6)
    pause = np.zeros(int(rng.uniform(0.3, 1.2) * rate), np.float32)
    moved = np.concatenate([voice, pause, audio]).astype(np.float32)
    return moved, (len(voice) + len(pause)) / rate
