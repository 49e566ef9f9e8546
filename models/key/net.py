"""Task: a small network from the tables of a tune to scores by tonic and mode, and its training.

In: tables rolled to each tonic, shape (n, 12, features); chances of the classes, shape (n, 48).
Out: Net, its weights as float32 arrays.
Method: one hidden layer of rectified units and a straight way past it, with weights shared by all
    tonics; softmax over 12 tonics x 4 modes; cross entropy with soft targets. Adam with decay;
    whole tables and single hidden units are left out at random, so that no single place (the last
    note, say) may decide alone. Pure numpy, seeded.
References: D. Kingma & J. Ba, "Adam", 2015; I. Loshchilov & F. Hutter, "Decoupled Weight Decay
    Regularization", 2019; N. Srivastava et al., "Dropout", 2014.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MODES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Training:
    """How a net is trained."""

    hidden: int = 64
    epochs: int = 30
    batch: int = 128
    rate: float = 2e-3
    decay: float = 0.02
    unit_dropout: float = 0.3
    table_dropout: float = 0.15


Net = dict[str, np.ndarray]


def rolled(tables: np.ndarray) -> np.ndarray:
    """Tables of n tunes, shape (n, tables, 12), seen from each tonic: (n, 12, tables * 12)."""
    views = [np.roll(tables, -tonic, axis=2).reshape(len(tables), -1) for tonic in range(12)]
    return np.stack(views, axis=1)


def scores(net: Net, tables: np.ndarray) -> np.ndarray:
    """Scores of n tunes, shape (n, 48)."""
    seen = rolled(tables)
    hidden = np.maximum(seen @ net["w1"] + net["b1"], 0)
    return (hidden @ net["w2"] + seen @ net["past"] + net["b2"]).reshape(len(tables), -1)


def softmax(raw: np.ndarray) -> np.ndarray:
    """Chances along the last axis."""
    chance = np.exp(raw - raw.max(axis=-1, keepdims=True))
    return np.asarray(chance / chance.sum(axis=-1, keepdims=True))


def fitted(
    tables: np.ndarray, target: np.ndarray, weight: np.ndarray, how: Training, seed: int
) -> Net:
    """Train one net on tables (n, tables, 12), targets (n, 48) and weights (n,)."""
    rng = np.random.default_rng(seed)
    net = _fresh(tables.shape[1] * 12, how.hidden, rng)
    moments = {name: (np.zeros_like(w), np.zeros_like(w)) for name, w in net.items()}
    steps = how.epochs * (len(tables) // how.batch)
    step = 0
    for _ in range(how.epochs):
        order = rng.permutation(len(tables))
        for start in range(0, len(tables) - how.batch + 1, how.batch):
            at = order[start : start + how.batch]
            slope = _slope(net, tables[at], target[at], weight[at], how, rng)
            rate = how.rate * 0.5 * (1 + np.cos(np.pi * step / steps))
            step += 1
            _adam(net, slope, moments, step, rate, how.decay)
    return net


def _fresh(features: int, hidden: int, rng: np.random.Generator) -> Net:
    return {
        "w1": rng.normal(0, np.sqrt(2 / features), (features, hidden)).astype(np.float32),
        "b1": np.zeros(hidden, np.float32),
        "w2": rng.normal(0, 0.1, (hidden, MODES)).astype(np.float32),
        "b2": np.zeros(MODES, np.float32),
        "past": np.zeros((features, MODES), np.float32),
    }


def _slope(
    net: Net,
    tables: np.ndarray,
    target: np.ndarray,
    weight: np.ndarray,
    how: Training,
    rng: np.random.Generator,
) -> Net:
    """Gradient of the weighted mean cross entropy."""
    n, rows, _ = tables.shape
    kept = (rng.random((n, rows, 1)) >= how.table_dropout) / (1 - how.table_dropout)
    seen = rolled((tables * kept).astype(np.float32)).reshape(n * 12, -1)
    before = seen @ net["w1"] + net["b1"]
    unit = (rng.random((n, 1, how.hidden)) >= how.unit_dropout) / (1 - how.unit_dropout)
    unit = np.repeat(unit, 12, axis=1).reshape(n * 12, -1).astype(np.float32)
    hidden = np.maximum(before, 0) * unit
    raw = (hidden @ net["w2"] + seen @ net["past"] + net["b2"]).reshape(n, -1)
    back = (softmax(raw) - target) * (weight / weight.sum())[:, None]
    back = back.reshape(n * 12, MODES).astype(np.float32)
    down = (back @ net["w2"].T) * unit * (before > 0)
    return {
        "w1": seen.T @ down,
        "b1": down.sum(0),
        "w2": hidden.T @ back,
        "b2": back.sum(0),
        "past": seen.T @ back,
    }


def _adam(
    net: Net,
    slope: Net,
    moments: dict[str, tuple[np.ndarray, np.ndarray]],
    step: int,
    rate: float,
    decay: float,
) -> None:
    for name, w in net.items():
        first, second = moments[name]
        first += 0.1 * (slope[name] - first)
        second += 0.001 * (slope[name] ** 2 - second)
        up = (first / (1 - 0.9**step)) / (np.sqrt(second / (1 - 0.999**step)) + 1e-8)
        w -= rate * (up + decay * w * (w.ndim > 1))
