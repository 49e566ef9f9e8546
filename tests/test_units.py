"""Frequencies and note numbers: ISO 16:1975 sets A4 = 440 Hz."""

from fractions import Fraction

import librosa
import numpy as np
import pytest

from liltwright.units import hz_to_midi, midi_to_hz, whole_notes_to_seconds


def test_a4_is_440_hz():
    assert midi_to_hz(69.0) == 440.0
    assert hz_to_midi(440.0) == 69.0


@pytest.mark.parametrize(
    ("midi", "hz"),
    [(60, 261.626), (21, 27.5), (108, 4186.009), (40, 82.407), (45, 110.0), (50, 146.832),
     (55, 195.998), (59, 246.942), (64, 329.628), (38, 73.416), (57, 220.0), (62, 293.665)],
)  # fmt: skip
def test_equal_temperament_from_a4(midi, hz):
    """Equal temperament of ISO 16's A4: piano range, standard tuning, DADGAD."""
    assert midi_to_hz(float(midi)) == pytest.approx(hz, abs=5e-4)


def test_arrays_agree_with_librosa():
    hz = np.geomspace(60.0, 4000.0, 500)
    np.testing.assert_allclose(hz_to_midi(hz), librosa.hz_to_midi(hz))
    np.testing.assert_allclose(midi_to_hz(hz_to_midi(hz)), hz)


def test_silence_has_no_pitch():
    assert np.isnan(hz_to_midi(np.array([0.0, -1.0]))).all()


def test_a_jig_bar_at_120_lasts_a_second():
    """Two dotted quarters at 120 a minute: arithmetic."""
    assert whole_notes_to_seconds(Fraction(3, 4), Fraction(3, 8), 120) == pytest.approx(1.0)
