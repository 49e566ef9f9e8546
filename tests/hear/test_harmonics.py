"""The level of a pitch, and what else sounds with it, for tones in closed form."""

import numpy as np
import pytest

from liltwright.hear.audio.harmonics import HOP, TRANSFORM, WINDOW, frame_spectra, level_db
from liltwright.hear.clean.several import foreign_shares, is_several
from liltwright.hear.ears.raw import RawNote
from liltwright.units import hz_to_midi
from tests.hear.signals import RATE, STEP_S, TUNE, line, onsets, tone

NOTES = [
    RawNote(at, at + STEP_S, float(midi)) for at, midi in zip(onsets(), TUNE, strict=True)
]  # fmt: skip


@pytest.mark.parametrize("amplitude", [0.5, 0.05])
def test_a_sine_on_a_line_of_the_spectrum_has_the_level_of_its_window(amplitude):
    """Its line has half the amplitude times the sum of the window (a Fourier transform)."""
    hz = 60 * RATE / TRANSFORM
    samples = amplitude * np.sin(2 * np.pi * hz * np.arange(RATE) / RATE).astype("f4")
    power = frame_spectra(samples, 20, 60)
    assert power.shape == (40, TRANSFORM // 2 + 1)
    found = level_db(power, float(hz_to_midi(hz)), RATE)
    expected = 20 * np.log10(amplitude * np.hanning(WINDOW).sum() / 2)
    np.testing.assert_allclose(found, expected, atol=0.05)


def test_a_frame_is_centred_on_its_sample():
    samples = np.zeros(RATE, np.float32)
    samples[50 * HOP] = 1.0
    power = frame_spectra(samples, 0, 100).sum(axis=1)
    assert power.argmax() == 50
    assert power[: 50 - WINDOW // 2 // HOP - 1].max() == 0.0


def test_another_pitch_is_far_below_the_one_that_sounds():
    power = frame_spectra((0.3 * tone(69.0, 1.0)).astype("f4"), 20, 100)
    own, other = level_db(power, 69.0, RATE), level_db(power, 66.0, RATE)
    assert (own - other).min() > 10.0


def test_one_player_explains_all_that_sounds():
    shares = foreign_shares(line(), RATE, NOTES)
    assert shares.shape == (len(TUNE),)
    assert np.median(shares) < 0.05
    assert not is_several(shares)


def test_chords_under_the_tune_are_foreign():
    """Two other voices that change with every note, as an accompaniment does."""
    low = [at - 20 + (3 * i) % 7 for i, at in enumerate(TUNE)]
    high = [at - 13 + (5 * i) % 6 for i, at in enumerate(TUNE)]
    shares = foreign_shares(line() + line(low) + line(high), RATE, NOTES)
    assert is_several(shares)


def test_of_few_notes_nothing_is_said():
    assert not is_several(np.ones(7))
    assert len(foreign_shares(np.zeros(10, np.float32), RATE, [])) == 0
