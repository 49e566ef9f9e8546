"""Task: ask networks that follow a tune bar by bar for its home.

In: the course of a tune. Out: log chances by tonic and trained mode.
Method: models/key/course.npz, plain numpy. Seen from one tonic every bar is a vector; two layers
    over the bars see their neighbours and the bars four away; attention picks the bars that tell,
    and a hidden layer scores the modes. The weights are the same for every tonic; several
    networks' chances are averaged.
References: attention pooling: Z. Lin et al., "A Structured Self-attentive Sentence
    Embedding", 2017.
"""

from __future__ import annotations

import numpy as np

from liltwright.notate.key.course import Course

SMALLEST = 1e-6  # probability, against logarithms of nothing
FAR = 4
"""Bars between one and its like in the other half of a strain."""

Net = dict[str, np.ndarray]


def course_scores(course: Course, model: Net) -> np.ndarray:
    """Log of the networks' mean chances, shape (12, 4).

    model: layers of all networks, stacked, as `LAYER_w` and `LAYER_b`.
    """
    sounds = np.stack([np.roll(course.sounds, -tonic, axis=2) for tonic in range(12)])
    bars = sounds.reshape(*sounds.shape[:2], -1)
    places = np.broadcast_to(course.places, (12, *course.places.shape))
    bars = np.concatenate([bars, places], axis=2).astype(np.float32)
    chances = [
        softmax(one_net(bars, {name: layers[at] for name, layers in model.items()}))
        for at in range(len(model["out_w"]))
    ]
    return np.log(np.mean(chances, axis=0) + SMALLEST)


def one_net(bars: np.ndarray, net: Net) -> np.ndarray:
    """Raw scores of one network, shape (12, 4); bars: shape (12, n_bars, numbers)."""

    def layer(name: str, x: np.ndarray) -> np.ndarray:
        return np.asarray(x @ net[f"{name}_w"] + net[f"{name}_b"])

    if not bars.shape[1]:
        return np.zeros((12, net["out_b"].size), np.float32)
    x = _positive(layer("seen", bars))
    x = x + _positive(layer("near", _with_neighbours(x, 1)))
    x = x + _positive(layer("far", _with_neighbours(x, FAR)))
    ask = layer("ask", x)
    ask = np.exp(ask - ask.max(axis=1, keepdims=True))
    ask /= ask.sum(axis=1, keepdims=True)
    found = np.einsum("nth,ntw->nhw", ask, x).reshape(12, -1)
    return layer("out", _positive(layer("mixed", found)))


def softmax(raw: np.ndarray) -> np.ndarray:
    """Over all tonics and modes."""
    chance = np.exp(raw - raw.max())
    return np.asarray(chance / chance.sum())


def _positive(x: np.ndarray) -> np.ndarray:
    return np.maximum(x, 0)


def _with_neighbours(x: np.ndarray, by: int) -> np.ndarray:
    """Beside every bar those `by` bars before and after it, zeros beyond the ends."""
    before, after = np.zeros_like(x), np.zeros_like(x)
    before[:, by:], after[:, :-by] = x[:, :-by], x[:, by:]
    return np.concatenate([before, x, after], axis=2)
