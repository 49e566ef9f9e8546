"""Audio files: read back by libsndfile and FFmpeg, same length, same sound, same bytes."""

import io

import av
import numpy as np
import pytest
import soundfile

from liltwright.write.sound.encode import encode_audio, resampled

RATE = 24_000
TONE = (0.4 * np.sin(2 * np.pi * 440 * np.arange(2 * RATE) / RATE)).astype(np.float32)


@pytest.mark.parametrize("kind", ["wav", "ogg", "mp3"])
def test_a_file_holds_the_sound_without_a_gap(kind):
    """soundfile and FFmpeg both read it; the tone keeps its length, level and phase."""
    data = encode_audio(TONE, RATE, kind)
    samples, rate = soundfile.read(io.BytesIO(data))
    assert len(samples) / rate == pytest.approx(2.0, abs=0.001)
    middle = samples[rate // 2 : rate]
    assert np.sqrt(np.mean(middle**2)) == pytest.approx(0.4 / np.sqrt(2), rel=0.03)
    assert np.corrcoef(middle, TONE[RATE // 2 : RATE])[0, 1] > 0.98
    with av.open(io.BytesIO(data)) as container:
        assert container.streams.audio[0].channels == 1


@pytest.mark.parametrize("kind", ["wav", "ogg", "mp3"])
def test_the_same_samples_give_the_same_bytes(kind):
    assert encode_audio(TONE, RATE, kind) == encode_audio(TONE.copy(), RATE, kind)


def test_two_channels_stay_apart():
    both = np.stack([TONE, np.zeros_like(TONE)], axis=1)
    for kind in ("wav", "ogg", "mp3"):
        samples, _ = soundfile.read(io.BytesIO(encode_audio(both, RATE, kind)))
        levels = np.sqrt(np.mean(samples**2, axis=0))
        assert levels[0] > 50 * levels[1]


def test_samples_beyond_full_scale_are_limited():
    samples, _ = soundfile.read(io.BytesIO(encode_audio(5.0 * TONE, RATE, "wav")))
    assert np.abs(samples).max() <= 1.0


def test_resampling_keeps_pitch_and_length():
    """The strongest bin of the spectrum stays at 440 Hz."""
    out = resampled(TONE, RATE, 44_100)
    assert len(out) / 44_100 == pytest.approx(2.0, abs=0.002)
    spectrum = np.abs(np.fft.rfft(out[:44_100]))
    assert int(np.argmax(spectrum)) == 440
