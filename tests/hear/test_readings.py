"""Shares of readings against the sum over every path, written out."""

from itertools import pairwise, product

import numpy as np
import pytest

from liltwright.hear.ears.readings import TEMPER, Prices, shares

CLASSES, STRETCHES = 3, 4
SILENCE = CLASSES


@pytest.fixture
def prices():
    rng = np.random.default_rng(1)
    step = np.abs(np.subtract.outer(np.arange(CLASSES), np.arange(CLASSES))).astype("f4")
    return Prices(
        gains=rng.normal(0, 4, (STRETCHES, CLASSES + 1)),
        stay=-rng.random(STRETCHES) * 4,
        near=-rng.random(STRETCHES) * 4,
        far=-rng.random(STRETCHES) * 2,
        heard=np.array([True, False, True, True]),
        step=step,
        slurred_step=step * 2,
        is_near=(step < 1).astype("f4"),
        rest=-0.7,
        entry=-0.2,
    )


def change(prices, k, before, after):
    """Logarithm of a change of state at stretch k. `after` is (state, begins afresh)."""
    state, fresh = after
    if fresh and before == SILENCE:
        return prices.far[k] + prices.entry
    if fresh:
        step = prices.step if prices.heard[k] else prices.slurred_step
        side = prices.near if prices.is_near[before, state] else prices.far
        return side[k] - step[before, state]
    if state == SILENCE:
        return 0.5 * prices.stay[k] if before == SILENCE else prices.rest
    return prices.stay[k] if before == state else -np.inf


def every_path(prices):
    """(weight, path); a path is a (state, begins afresh) per stretch."""
    steps = [(state, fresh) for state in range(CLASSES) for fresh in (True, False)]
    for path in product([*steps, (SILENCE, False)], repeat=STRETCHES):
        if path[0] != (SILENCE, False) and not path[0][1]:
            continue
        log = sum(prices.gains[k, state] for k, (state, _) in enumerate(path))
        log += sum(
            change(prices, k, before[0], after)
            for k, (before, after) in enumerate(pairwise(path), start=1)
        )
        yield np.exp(log / TEMPER), path


def test_shares_are_those_of_all_paths(prices):
    places = np.array([0, 20, 40, 60, 80])  # too far apart to be within 50 ms of one another
    notes = [(0, 20, 0), (20, 40, 1), (40, 80, 2)]
    total, begun = 0.0, np.zeros(3)
    for weight, path in every_path(prices):
        total += weight
        for i, (k, state) in enumerate([(0, 0), (1, 1), (2, 2)]):
            near = path[k][1] and abs(path[k][0] - state) <= 1
            begun[i] += weight * near
    np.testing.assert_allclose(shares(prices, places, notes), begun / total, rtol=1e-4)
