"""Types are told from what was played: too little says nothing, far values decide no more alone."""

from __future__ import annotations

import numpy as np

from liltwright import models
from liltwright.notate.metre.type_features import MANNER, manner
from liltwright.notate.metre.types import FARTHEST, PULSES, SWINGS, _values

JIG = models.read_json("readings/types.json")["types"]["6/8"]
TICKS = np.arange(0, 36 * 48, 12)
MIDI = 62 + (np.arange(len(TICKS)) * 5) % 11


def row_of(beats: int) -> np.ndarray:
    """Even quavers for so many beats at 120."""
    ticks = TICKS[: 3 * beats]
    return manner(ticks, ticks / 36 * 0.5, MIDI[: len(ticks)], "6/8")


def test_what_had_no_time_to_come_back_is_not_known():
    short, long = row_of(20), row_of(42)
    at = MANNER.index("after 32")
    assert np.isnan(short[at])
    assert long[at] == 0.0
    assert np.isfinite(_values(JIG, short)).all()


def test_what_is_not_known_counts_as_usual():
    row = row_of(42)
    at = MANNER.index("after 32")
    unknown, usual = row.copy(), row.copy()
    unknown[at], usual[at] = np.nan, JIG["mean"][at]
    np.testing.assert_allclose(_values(JIG, unknown), _values(JIG, usual))


def test_a_swing_that_nobody_plays_says_no_more_than_the_farthest_one_learned():
    row = row_of(42)
    at = MANNER.index("swing")
    far, farther = row.copy(), row.copy()
    far[at], farther[at] = 3.0, 30.0
    np.testing.assert_allclose(_values(JIG, far), _values(JIG, farther))
    most = np.abs(np.array(JIG["weights"])).sum(axis=1) * FARTHEST + np.abs(JIG["bias"])
    assert (np.abs(_values(JIG, farther)) <= most).all()
    assert len(JIG["mean"]) == len(MANNER) + 3 + len(PULSES) + len(SWINGS)
