"""Task: ask boosted trees.

In: Trees (arrays) and rows of numbers. Out: `odds(...)`: the log odds of every row.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np


class Trees(NamedTuple):
    """Arrays of shape (trees, nodes); node 0 is the root."""

    feature: np.ndarray
    threshold: np.ndarray
    left: np.ndarray
    """Next node where the feature is at most the threshold; -1 in a leaf."""
    right: np.ndarray
    unknown_left: np.ndarray
    """Whether NaN goes to the left."""
    value: np.ndarray
    base: np.ndarray
    """What the values of the leaves are added to, shape (1,)."""


def odds(trees: Trees, rows: np.ndarray) -> np.ndarray:
    """Log odds of rows of shape (n, features), shape (n,)."""
    each = np.arange(len(trees.feature))[None]
    at = np.zeros((len(rows), len(trees.feature)), int)
    while True:
        left = trees.left[each, at]
        if np.all(left < 0):
            break
        value = rows[np.arange(len(rows))[:, None], trees.feature[each, at]]
        goes_left = np.where(
            np.isnan(value), trees.unknown_left[each, at], value <= trees.threshold[each, at]
        )
        at = np.where(left < 0, at, np.where(goes_left, left, trees.right[each, at]))
    return trees.value[each, at].sum(axis=1) + trees.base[0]
