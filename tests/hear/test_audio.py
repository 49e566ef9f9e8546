"""Any file that a phone or a browser makes is read; what cannot be used is said in a sentence."""

import subprocess
import wave

import av
import numpy as np
import pytest
import soundfile

from liltwright.errors import PipelineError
from liltwright.hear.audio.recording import (
    MAX_DURATION_S,
    SAMPLE_RATE,
    audio_from_samples,
    load_audio,
)
from tests.hear.signals import line, tone

SECONDS = 6.0


def stereo(rate, seconds=SECONDS):
    """440 Hz, the right channel quieter; float32, shape (n, 2)."""
    left = 0.4 * tone(69.0, seconds, harmonics=3, rate=rate)
    return np.stack([left, 0.7 * left], axis=1).astype("f4")


def main_frequency(audio):
    middle = audio.samples[SAMPLE_RATE : 4 * SAMPLE_RATE]
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(len(middle))))
    return np.argmax(spectrum) * SAMPLE_RATE / len(middle)


def write_with_av(path, samples, rate, codec):
    """Write stereo samples with one of FFmpeg's encoders."""
    layout = "stereo" if samples.shape[1] == 2 else "mono"
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=rate)
        stream.layout = layout
        fifo = av.AudioFifo()
        frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(samples.T), "fltp", layout)
        frame.sample_rate = rate
        fifo.write(frame)
        resampler = av.AudioResampler(
            format=stream.codec_context.format, layout=layout, rate=rate,
            frame_size=stream.codec_context.frame_size or 1024,
        )  # fmt: skip
        for part in [*resampler.resample(fifo.read()), *resampler.resample(None)]:
            container.mux(stream.encode(part))
        container.mux(stream.encode(None))


@pytest.mark.parametrize("rate", [8000, 16000, 22050, 44100, 48000, 96000])
def test_any_sample_rate_becomes_the_one_we_work_at(tmp_path, rate):
    soundfile.write(tmp_path / "a.wav", stereo(rate), rate)
    audio = load_audio(tmp_path / "a.wav")
    assert audio.sample_rate == SAMPLE_RATE
    assert audio.samples.dtype == np.float32
    assert audio.duration_s == pytest.approx(SECONDS, abs=0.01)
    assert main_frequency(audio) == pytest.approx(440, abs=0.5)


@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"])
def test_wav_of_any_depth(tmp_path, subtype):
    soundfile.write(tmp_path / "a.wav", stereo(44100), 44100, subtype=subtype)
    assert main_frequency(load_audio(tmp_path / "a.wav")) == pytest.approx(440, abs=0.5)


@pytest.mark.parametrize(
    ("suffix", "codec", "rate"),
    [
        ("flac", "flac", 44100), ("mp3", "libmp3lame", 44100), ("mp3", "libmp3lame", 22050),
        ("opus", "libopus", 48000), ("webm", "libopus", 48000),
        ("m4a", "aac", 44100), ("mp4", "aac", 48000), ("aac", "aac", 44100),
        ("aiff", "pcm_s16be", 44100), ("caf", "pcm_s16le", 48000),
    ],
)  # fmt: skip
def test_the_formats_of_phones_and_browsers(tmp_path, suffix, codec, rate):
    path = tmp_path / f"a.{suffix}"
    write_with_av(path, stereo(rate), rate, codec)
    audio = load_audio(path)
    assert main_frequency(audio) == pytest.approx(440, abs=0.7)
    assert audio.duration_s == pytest.approx(SECONDS, abs=0.15)
    assert audio.source.file == path.name


def test_ogg_vorbis(tmp_path):
    samples = stereo(44100)
    with soundfile.SoundFile(tmp_path / "a.ogg", "w", 44100, 2, subtype="VORBIS") as file:
        for at in range(0, len(samples), 4096):
            file.write(samples[at : at + 4096])
    assert main_frequency(load_audio(tmp_path / "a.ogg")) == pytest.approx(440, abs=0.5)


def test_content_counts_not_the_suffix(tmp_path):
    write_with_av(tmp_path / "real.m4a", stereo(44100), 44100, "aac")
    named_wrongly = (tmp_path / "real.m4a").rename(tmp_path / "voice.wav")
    assert main_frequency(load_audio(named_wrongly)) == pytest.approx(440, abs=0.7)


def test_channels_of_opposite_phase_do_not_cancel():
    left = stereo(SAMPLE_RATE)[:, 0]
    mixed = audio_from_samples(np.stack([left, -0.95 * left], axis=1), SAMPLE_RATE)
    assert np.abs(mixed.samples).max() > 0.9 * np.abs(left).max()


def test_a_dead_channel_adds_nothing():
    left = stereo(SAMPLE_RATE)[:, 0]
    hiss = 0.001 * np.random.default_rng(0).standard_normal(len(left)).astype("f4")
    mixed = audio_from_samples(np.stack([left, hiss], axis=1), SAMPLE_RATE)
    assert np.abs(mixed.samples - left).max() < 0.01 * np.abs(left).max()


def test_six_channels_become_one(tmp_path):
    six = np.repeat(stereo(44100)[:, :1], 6, axis=1)
    soundfile.write(tmp_path / "a.wav", six, 44100)
    assert main_frequency(load_audio(tmp_path / "a.wav")) == pytest.approx(440, abs=0.5)


def test_source_names_the_file_by_its_checksum(tmp_path):
    path = tmp_path / "tune.wav"
    soundfile.write(path, line(), SAMPLE_RATE)
    found = load_audio(path).source
    expected = subprocess.run(["sha256sum", path], capture_output=True, text=True, check=True)
    assert found.sha256 == expected.stdout.split()[0]
    assert found.duration_s == pytest.approx(len(line()) / SAMPLE_RATE, abs=0.001)


# ------------------------------------------------------------------ what cannot be used


def refused(path):
    """The one sentence of the error."""
    with pytest.raises(PipelineError) as fault:
        load_audio(path)
    assert "\n" not in str(fault.value)
    return str(fault.value)


def test_missing(tmp_path):
    assert "does not exist" in refused(tmp_path / "nothing.wav")


def test_a_folder(tmp_path):
    assert "is a folder" in refused(tmp_path)


def test_empty(tmp_path):
    (tmp_path / "a.wav").touch()
    assert "a.wav is empty (0 bytes)" in refused(tmp_path / "a.wav")


@pytest.mark.parametrize("content", [b"dear diary " * 999, bytes(range(256)) * 40, b"RIFF"])
def test_not_audio(tmp_path, content):
    (tmp_path / "a.wav").write_bytes(content)
    assert "cannot be read as a recording" in refused(tmp_path / "a.wav")


def test_header_without_sound(tmp_path):
    with wave.open(str(tmp_path / "a.wav"), "wb") as file:
        file.setparams((1, 2, 44100, 0, "NONE", ""))
    refused(tmp_path / "a.wav")


@pytest.mark.parametrize(
    ("suffix", "codec"),
    [("wav", "pcm_s16le"), ("flac", "flac"), ("m4a", "aac"), ("mp3", "libmp3lame")],
)
def test_truncated(tmp_path, suffix, codec):
    path = tmp_path / f"a.{suffix}"
    write_with_av(path, stereo(44100, 12.0), 44100, codec)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    said = refused(path)
    assert "is cut short" in said or "cannot be read" in said


def test_a_streamed_wav_without_a_length_is_not_truncated(tmp_path):
    path = tmp_path / "a.wav"
    soundfile.write(path, stereo(44100), 44100, subtype="PCM_16")
    data = bytearray(path.read_bytes())
    at = data.index(b"data")
    data[at + 4 : at + 8] = b"\xff\xff\xff\xff"
    path.write_bytes(data)
    assert load_audio(path).duration_s == pytest.approx(SECONDS, abs=0.01)


def test_silent(tmp_path):
    soundfile.write(tmp_path / "a.wav", np.zeros(10 * 44100), 44100)
    assert "a.wav is silent" in refused(tmp_path / "a.wav")


def test_too_short(tmp_path):
    soundfile.write(tmp_path / "a.wav", stereo(44100, 1.0), 44100)
    assert "lasts 1.0 s, a tune needs at least 4 s" in refused(tmp_path / "a.wav")


def test_too_long(tmp_path):
    rate = 8000
    with soundfile.SoundFile(tmp_path / "a.flac", "w", rate, 1) as file:
        minute = 0.1 * tone(69.0, 60, harmonics=1, rate=rate)
        for _ in range(int(MAX_DURATION_S // 60) + 1):
            file.write(minute)
    assert "is longer than 60 minutes" in refused(tmp_path / "a.flac")


def test_clipping_is_said_and_borne(tmp_path):
    loud = np.clip(4 * stereo(44100), -1, 1)
    soundfile.write(tmp_path / "a.wav", loud, 44100, subtype="PCM_16")
    (warning,) = load_audio(tmp_path / "a.wav").warnings
    assert "clipped" in warning


def test_a_loud_clean_sine_is_not_clipped(tmp_path):
    pure = 0.99 * tone(57.0, SECONDS, harmonics=1, rate=44100)
    soundfile.write(tmp_path / "a.wav", pure, 44100, subtype="PCM_16")
    assert load_audio(tmp_path / "a.wav").warnings == ()


def test_what_two_channels_do_not_share_is_kept_beside_the_mono_mix():
    one, other = (0.4 * tone(midi, SECONDS, rate=SAMPLE_RATE) for midi in (69.0, 60.0))
    apart = audio_from_samples(np.stack([one, 0.5 * other], axis=1), SAMPLE_RATE)
    assert apart.beside is not None
    assert len(apart.beside) == len(apart.samples)
    assert abs(np.corrcoef(apart.samples, one)[0, 1]) > 0.99
    assert abs(np.corrcoef(apart.beside.astype(float), other)[0, 1]) > 0.99
    same = audio_from_samples(stereo(SAMPLE_RATE), SAMPLE_RATE)
    assert same.beside is None
    assert audio_from_samples(one, SAMPLE_RATE).beside is None
