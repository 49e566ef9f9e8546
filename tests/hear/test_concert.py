"""Concert pitch of the recording and its drift."""

import numpy as np
import pytest

from liltwright.hear.clean.concert import concert_pitch
from tests.hear.signals import TUNE

TIMES = 0.25 * np.arange(4 * len(TUNE))
PITCHES = np.tile(TUNE, 4).astype(float)
EVEN = np.ones(len(PITCHES))


@pytest.mark.parametrize("cents", [-48, -40, -25, 0, 10, 33, 40, 48])
def test_a_constant_offset_is_found(cents):
    found = concert_pitch(TIMES, PITCHES + cents / 100, EVEN)
    np.testing.assert_allclose(found, cents, atol=2)


def test_players_errors_of_single_notes_do_not_matter():
    own = np.random.default_rng(0).normal(0, 0.12, len(PITCHES))
    found = concert_pitch(TIMES, PITCHES + 0.3 + own, EVEN)
    assert np.mean(found) == pytest.approx(30, abs=4)
    assert np.ptp(found) < 12


def test_a_sinking_singer_stays_in_the_key():
    """80 cents down in 48 s, more than half a semitone: every note keeps its name."""
    sinking = -0.8 * TIMES / TIMES[-1] + 0.35
    own = np.random.default_rng(1).normal(0, 0.08, len(PITCHES))
    found = concert_pitch(TIMES, PITCHES + sinking + own, EVEN)
    named = np.round(PITCHES + sinking + own - found / 100)
    assert np.mean(named - PITCHES == round(np.mean(named - PITCHES))) > 0.97
    assert np.std(named - PITCHES) < 0.2


def test_outliers_are_borne():
    wild = np.random.default_rng(2)
    pitches = PITCHES + 0.2
    pitches[wild.random(len(pitches)) < 0.15] += 0.5
    assert np.median(concert_pitch(TIMES, pitches, EVEN)) == pytest.approx(20, abs=4)


def test_no_notes():
    assert len(concert_pitch(np.zeros(0), np.zeros(0), np.zeros(0))) == 0
