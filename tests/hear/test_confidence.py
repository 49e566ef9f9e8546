"""Confidence is a share: higher where the ear is surer and the sound is clearer."""

import numpy as np
import pytest

from liltwright.hear.clean.confidence import calibrated
from liltwright.hear.ears.raw import RawNote
from liltwright.models.hearing.make import fit


def confidence(belief, *, clarity=0.95, foreign=0.0, several=False, ear="own"):
    notes = [RawNote(0.0, 0.2, 60, belief)]
    measured = [np.array([one]) for one in (clarity, 5.0, foreign)]
    (found,) = calibrated(notes, *measured, ear=ear, several=several)
    return found


@pytest.mark.parametrize("ear", ["own", "basic-pitch"])
def test_between_0_and_1_and_rising_with_the_belief(ear):
    rising = [confidence(belief, ear=ear) for belief in (0.05, 0.3, 0.6, 0.9, 1.0)]
    assert rising == sorted(rising)
    assert all(0 < one < 1 for one in rising)


def test_lower_when_several_instruments_play():
    assert confidence(0.9, several=True) < 0.7 * confidence(0.9)


def test_the_fit_gives_shares_back():
    """Notes right with a known logistic probability: the fit finds its weights again."""
    rng = np.random.default_rng(0)
    features = np.stack([np.ones(20000), rng.normal(size=20000)], axis=1)
    probability = 1 / (1 + np.exp(-(features @ np.array([0.5, 1.5]))))
    right = (rng.random(20000) < probability).astype(float)
    np.testing.assert_allclose(fit(features, right), [0.5, 1.5], atol=0.07)
