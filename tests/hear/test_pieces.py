"""Long recordings in overlapping pieces: every frame kept once."""

from itertools import pairwise

import numpy as np
import pytest

from liltwright.hear.audio.pieces import pieces


@pytest.mark.parametrize("duration_s", [1.0, 30.9, 31.0, 31.5, 59.0, 61.0, 118.3, 3600.0])
def test_pieces_cover_everything_once(duration_s):
    cut = pieces(duration_s, 30.0, 1.0, grid_s=0.016)
    assert cut[0].keep_from_s == 0.0
    assert cut[-1].keep_to_s == duration_s
    for one, following in pairwise(cut):
        assert one.keep_to_s == pytest.approx(following.keep_from_s)
        assert one.end_s > one.keep_to_s
        assert following.start_s < following.keep_from_s
    assert all(one.end_s - one.start_s <= 31.0 + 1e-6 for one in cut)


def test_pieces_start_on_the_grid():
    starts = np.array([one.start_s for one in pieces(200.0, 30.0, 1.0, grid_s=0.016)])
    np.testing.assert_allclose(starts / 0.016, np.round(starts / 0.016), atol=1e-6)
