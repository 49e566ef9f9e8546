"""The plucked string, measured by estimators that nobody here wrote."""

import librosa
import numpy as np
import pytest

from liltwright.units import midi_to_hz
from liltwright.write.sound.pluck import SAMPLE_RATE, TONE_S, string_tone

STANDARD = (40, 45, 50, 55, 59, 64)
LOWEST = (36, 43, 48, 55, 57, 62)
"""C G C G A D, about as low as players tune (common practice)."""
FRETS = range(20)


def cents_off(tone: np.ndarray, midi: int) -> float:
    """Cents above equal temperament (ISO 16) by librosa's YIN, median over 1.5 s."""
    hz = float(midi_to_hz(float(midi)))
    heard = librosa.yin(
        tone[: int(1.5 * SAMPLE_RATE)].astype(float),
        fmin=hz * 0.7, fmax=hz * 1.5, sr=SAMPLE_RATE, frame_length=4096,
    )  # fmt: skip
    return float(1200.0 * np.log2(np.median(heard) / hz))


@pytest.mark.parametrize("tuning", [STANDARD, LOWEST], ids=["standard", "CGCGAD"])
@pytest.mark.parametrize("string", range(1, 7))
def test_every_fret_is_in_tune_within_two_cents(tuning, string):
    open_midi = tuning[6 - string]
    pluck = "p" if string >= 4 else "i"
    off = {
        fret: cents_off(string_tone(string, open_midi, open_midi + fret, pluck), open_midi + fret)
        for fret in FRETS
    }
    assert max(map(abs, off.values())) <= 2.0, off


def test_partials_lie_where_a_stiff_string_has_them():
    """Each partial's peak in the spectrum against n f0 sqrt(1 + B n^2), Fletcher & Rossing."""
    from liltwright import models
    from liltwright.write.sound.pluck import _inharmonicity

    tone = string_tone(6, 40, 40, "p").astype(float)
    hz = float(midi_to_hz(40.0))
    stiffness = _inharmonicity(models.read_json("instrument/strings.json"), 6, 40, hz)
    base = hz / np.sqrt(1 + 16 * stiffness)
    window = np.hanning(2 * SAMPLE_RATE)
    spectrum = np.abs(np.fft.rfft(tone[2400 : 2400 + len(window)] * window, 1 << 18))
    step = SAMPLE_RATE / (1 << 18)
    for partial in (1, 2, 3, 5, 8, 10):
        expected = partial * base * np.sqrt(1 + stiffness * partial**2)
        near = slice(int((expected - hz / 3) / step), int((expected + hz / 3) / step))
        found = (near.start + np.argmax(spectrum[near])) * step
        assert abs(1200 * np.log2(found / expected)) < 1.5, partial


def test_a_fractional_pitch_follows_a_recording_off_concert_pitch():
    sharp = cents_off(string_tone(3, 55, 57.4, "i"), 57)
    assert sharp == pytest.approx(40.0, abs=2.0)


def test_a_tone_begins_at_once_and_dies_away_without_a_click():
    for string in range(1, 7):
        tone = np.abs(string_tone(string, STANDARD[6 - string], STANDARD[6 - string], "i"))
        first_loud = np.argmax(tone > 0.2 * tone.max())
        assert first_loud / SAMPLE_RATE < 0.002
        assert tone[0] < 0.02 * tone.max()
        assert tone[-10:].max() < 1e-3 * tone.max()
        assert len(tone) == TONE_S * SAMPLE_RATE


def test_treble_dies_away_faster_than_bass():
    """T60 of a low and a high partial, from levels in two windows half a second apart."""
    tone = string_tone(6, 40, 40, "p").astype(float)
    windows = [
        np.abs(np.fft.rfft(tone[at : at + 12_000] * np.hanning(12_000))) for at in (2400, 14_400)
    ]
    step = SAMPLE_RATE / 12_000

    def fall_db(low_hz: float, high_hz: float) -> float:
        band = slice(int(low_hz / step), int(high_hz / step))
        before, after = (np.sum(window[band] ** 2) for window in windows)
        return float(10 * np.log10(before / after))

    assert fall_db(2000, 4000) > 2 * fall_db(70, 300) > 0


def test_thumb_is_softer_in_the_treble_than_a_finger_and_equally_loud():
    def treble_share(pluck: str) -> float:
        spectrum = np.abs(np.fft.rfft(string_tone(4, 50, 50, pluck)[:8000])) ** 2
        return float(spectrum[len(spectrum) // 6 :].sum() / spectrum.sum())

    assert treble_share("p") < treble_share("i")
    assert treble_share("left") < treble_share("p")
