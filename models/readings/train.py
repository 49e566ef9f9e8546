"""Fit trees.npz: `python -m liltwright.models.readings.train ROWS.npz`.

In: the rows that gather.py wrote. Out: boosted trees that give the odds that a reading is right
    from its looks alone; printed: how many metres they get right in tunes that were left out.
Method: histogram gradient boosting as in scikit-learn (Ke et al., "LightGBM", 2017), stored as
    plain arrays for pipeline/trees.py. Types are weighted by SHARES, tempi that hardly
    anybody plays at count FAR.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from sklearn.ensemble import HistGradientBoostingClassifier
from sklearn.model_selection import GroupKFold

from liltwright.notate.metre.places import places
from liltwright.trees import Trees, odds

FILE = Path(__file__).with_name("trees.npz")
SHARES = {
    "jig": 3.0, "reel": 3.0, "hornpipe": 2.0, "slip jig": 1.2, "hop jig": 0.3, "polka": 2.0,
    "march": 1.2, "waltz": 1.2, "mazurka": 0.3, "slide": 1.2, "strathspey": 1.0, "air": 1.0,
    "barn dance": 0.4,
}  # fmt: skip
"""How often a type is brought: a guess (common practice)."""
FASTEST, SLOWEST, FAR = 0.85, 1.65, 0.4
SETTINGS = {
    "max_iter": 150, "learning_rate": 0.06, "max_leaf_nodes": 16, "min_samples_leaf": 60,
    "l2_regularization": 5.0, "random_state": 0, "early_stopping": False,
}  # fmt: skip
FOLDS = 4


def main() -> None:
    """Judge by cross-validation, fit on all, write, compare with scikit-learn."""
    with np.load(sys.argv[1], allow_pickle=False) as kept:
        rows = {name: kept[name] for name in kept.files}
    weight = _weights(rows)
    _judge(rows, weight)
    whole = HistGradientBoostingClassifier(**SETTINGS)
    whole.fit(rows["looks"], rows["right"], sample_weight=weight)
    trees = as_trees(whole)
    np.savez_compressed(FILE, allow_pickle=False, **trees._asdict())
    far = np.abs(odds(trees, rows["looks"]) - whole.decision_function(rows["looks"])).max()
    print(f"{FILE.stat().st_size / 1e3:.0f} kB, largest difference from scikit-learn {far:.1e}")
    assert far < 1e-4


def _weights(rows: dict[str, np.ndarray]) -> np.ndarray:
    far = (rows["slow"] < FASTEST) | (rows["slow"] > SLOWEST)
    weight = np.where(far, FAR, 1.0)
    for number, name in enumerate(places().kinds):
        mine = rows["kind"] == number
        if mine.any():
            weight[mine] *= SHARES[name] / weight[mine].sum()
    return weight / weight.mean()


def _judge(rows: dict[str, np.ndarray], weight: np.ndarray) -> None:
    """Share of performances of tunes left out whose right metre has the best odds."""
    found = np.zeros(len(weight))
    folds = GroupKFold(FOLDS, shuffle=True, random_state=0)
    for mine, out in folds.split(rows["looks"], rows["right"], rows["page"]):
        one = HistGradientBoostingClassifier(**SETTINGS)
        one.fit(rows["looks"][mine], rows["right"][mine], sample_weight=weight[mine])
        found[out] = one.decision_function(rows["looks"][out])
    many = len(places().meters)
    best = found.reshape(-1, many).argmax(axis=1)
    right = rows["right"].reshape(-1, many)[np.arange(len(best)), best]
    kind, near = rows["kind"][::many], weight[::many]
    print(f"metre right {np.average(right, weights=near):.3f}")
    for number, name in enumerate(places().kinds):
        if (kind == number).any():
            share = np.average(right[kind == number], weights=near[kind == number])
            print(f"  {name:12s}{share:.3f}")


def as_trees(model: HistGradientBoostingClassifier) -> Trees:
    """The fitted trees as arrays."""
    nodes = [grown[0].nodes for grown in model._predictors]
    shape = (len(nodes), max(len(one) for one in nodes))
    kept: dict[str, np.ndarray] = {
        "feature": np.zeros(shape, np.int16), "threshold": np.zeros(shape),
        "left": np.full(shape, -1, np.int16), "right": np.full(shape, -1, np.int16),
        "unknown_left": np.zeros(shape, bool), "value": np.zeros(shape),
    }  # fmt: skip
    for row, one in enumerate(nodes):
        inner, size = ~one["is_leaf"].astype(bool), len(one)
        kept["feature"][row, :size] = np.where(inner, one["feature_idx"], 0)
        kept["threshold"][row, :size] = np.where(inner, one["num_threshold"], 0.0)
        kept["left"][row, :size] = np.where(inner, one["left"], -1)
        kept["right"][row, :size] = np.where(inner, one["right"], -1)
        kept["unknown_left"][row, :size] = one["missing_go_to_left"]
        kept["value"][row, :size] = one["value"]
    return Trees(**kept, base=np.ravel(model._baseline_prediction))


if __name__ == "__main__":
    main()
