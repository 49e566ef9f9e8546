"""Train what tells types and metres apart: `python -m models.rhythm.train` writes kinds.npz.

In: tunes of the training split, performed by the benchmark's performer (families of instruments
    in turn), read as they truly are. Out: weights by group of metres.
Method: multinomial logistic regression on pipeline.notate.kind.describe, L2 penalty, L-BFGS. Types
    count by the square root of their number. A type without tunes borrows the weights of the
    type it is counted from, with a lower bias (hop jig, mazurka), as in make.py.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from pathlib import Path
from typing import Literal

import numpy as np

from pipeline.notate.kind import GROUPS, describe, group_of
from tests.benchmark.collections import tunes
from tests.benchmark.manners import Family
from tests.benchmark.performer import perform

HERE = Path(__file__).parent
FAMILIES: tuple[Family, ...] = (
    "hum", "whistle", "fiddle", "plucked", "lilt", "flute", "accordion", "pipes",
)  # fmt: skip
PENALTY = 0.01
BORROWED_FROM = {
    ("hop jig", "9/8"): ("slip jig", "9/8"),
    ("mazurka", "3/4"): ("waltz", "3/4"),
    ("slide", "12/8"): ("slide", "6/8"),
}
Kind = tuple[str, str]
BORROWED_BIAS = -2.5

Examples = dict[str, list[tuple[np.ndarray, Kind]]]


def main() -> None:
    """Train on train, report on dev, write."""
    data = examples("train", seeds=(1, 2))
    dev = examples("dev", seeds=(3,))
    arrays: dict[str, np.ndarray] = {}
    for meter in [group[0] for group in GROUPS]:
        kinds: list[Kind] = [(row.tune_type, row.meter) for row in group_of(meter)]
        mean, spread, weights = _train(data[meter], kinds)
        arrays |= {
            f"{meter}|mean": mean,
            f"{meter}|spread": spread,
            f"{meter}|weights": weights.astype(np.float32),
        }
        right: Counter[bool] = Counter()
        for seen, kind in dev.get(meter, []):
            scaled = np.append(np.clip((seen - mean) / spread, -4, 4), 1.0)
            right[kinds[int((weights @ scaled).argmax())] == kind] += 1
        print(meter, dict(Counter(k for _, k in data[meter])), "dev right", dict(right))
    np.savez_compressed(HERE / "kinds.npz", allow_pickle=False, **arrays)


def examples(split: Literal["train", "dev"], *, seeds: tuple[int, ...]) -> Examples:
    """Descriptions and types by metre."""
    found: Examples = defaultdict(list)
    for seed in seeds:
        for number, item in enumerate(tunes(split)):
            family = FAMILIES[(number + seed) % len(FAMILIES)]
            truth = perform(item.tune, family, seed=number * 7 + seed).truth
            kind = (truth.tune_type, truth.meter)
            group = next((group for group in GROUPS if truth.meter in group), None)
            if group is None or kind not in [(r.tune_type, r.meter) for r in group_of(group[0])]:
                continue
            bars = truth.bars_heard
            at = [b * truth.bar_length + n.start for b, bar in enumerate(bars) for n in bar.notes]
            ticks = np.array([round(float(position) * 96) for position in at])
            onsets = np.array([note.onset_s for note in truth.heard if note.role == "note"])
            if len(onsets) != len(ticks) or len(ticks) < 30 or np.any(np.diff(ticks) <= 0):
                continue
            tick_s = _local_tempo(ticks, onsets)
            swing = _blurred(truth.swing, number)
            found[group[0]].append((describe(ticks, tick_s, swing, truth.meter), kind))
    return found


def _blurred(swing: float, number: int) -> float:
    """The swing as a reading would find it: a few per cent off."""
    return max(swing * float(np.exp(0.06 * np.random.default_rng(number).normal())), 1.0)


def _local_tempo(ticks: np.ndarray, onsets: np.ndarray) -> np.ndarray:
    """Seconds per tick over about four bars round every note."""
    wide = 16
    low = np.maximum(np.arange(len(ticks)) - wide, 0)
    high = np.minimum(np.arange(len(ticks)) + wide, len(ticks) - 1)
    return (onsets[high] - onsets[low]) / (ticks[high] - ticks[low])


def _train(
    data: list[tuple[np.ndarray, Kind]], kinds: list[Kind]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    from scipy.optimize import minimize

    seen = np.stack([x for x, _ in data])
    mean, spread = seen.mean(axis=0), seen.std(axis=0) + 1e-3
    scaled = np.clip((seen - mean) / spread, -4, 4)
    scaled = np.hstack([scaled, np.ones((len(scaled), 1))])
    counts = Counter(kind for _, kind in data)
    present = [kind for kind in kinds if counts[kind]]
    target = np.array([present.index(kind) for _, kind in data])
    weight = np.array([counts[kind] ** -0.5 for _, kind in data])
    weight *= len(weight) / weight.sum()

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        matrix = flat.reshape(len(present), -1)
        raw = scaled @ matrix.T
        raw -= raw.max(axis=1, keepdims=True)
        chance = np.exp(raw)
        chance /= chance.sum(axis=1, keepdims=True)
        rows = np.arange(len(target))
        value = -(weight * np.log(chance[rows, target] + 1e-12)).mean()
        chance[rows, target] -= 1
        slope = (chance * weight[:, None]).T @ scaled / len(target)
        return value + PENALTY * (matrix**2).sum(), (slope + 2 * PENALTY * matrix).ravel()

    size = len(present) * scaled.shape[1]
    found = minimize(loss, np.zeros(size), jac=True, method="L-BFGS-B", options={"maxiter": 500})
    matrix = found.x.reshape(len(present), -1)
    weights = np.zeros((len(kinds), scaled.shape[1]))
    for at, kind in enumerate(kinds):
        source = BORROWED_FROM.get(kind, kind)
        if source in present:
            weights[at] = matrix[present.index(source)]
        weights[at, -1] += BORROWED_BIAS if kind not in present else 0.0
    return mean, spread, weights


if __name__ == "__main__":
    main()
