"""Train the ranker of tonic and mode: `python -m liltwright.models.key.make` writes nets.npz.

In: examples.py and linear.py (the training split). Out: nets.npz: nets over the tables of a tune
    and the linear expert; make_course.py trains what follows a tune bar by bar.
Method: net.py on the tunes as printed, in other modes, with gaps, and spoiled as an ear would
    spoil them. The modes are weighed to the shares in SHARES, because the books are nine tenths
    major. Seeded.

    python -m liltwright.models.key.make [--nets 4]
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np

from liltwright.models.key.examples import (
    FIRST_KEY,
    Example,
    as_class,
    away,
    double_tonic,
    gapped,
    printed,
    rewritten,
    spoiled,
)
from liltwright.models.key.linear import fitted_linear
from liltwright.models.key.net import Training, fitted
from liltwright.notate.key.evidence import KeyEvidence
from liltwright.notate.key.rank import TRAINED

HERE = Path(__file__).parent
SEED = 17
SPOILED_COPIES = 2
SHARES = {"major": 0.5, "mixolydian": 0.18, "dorian": 0.16, "minor": 0.16}
LINEAR_TEMPERATURE = 1.3
HOW = Training(hidden=64, epochs=12, unit_dropout=0.3, table_dropout=0.25)

Packed = tuple[np.ndarray, np.ndarray, np.ndarray]


def main() -> None:
    """Train and write."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--nets", type=int, default=4)
    args = parser.parse_args()
    tables, target, weight = packed(training_examples())
    print(f"{len(tables)} training examples", flush=True)
    weight = evened(target, weight)
    nets = []
    for seed in range(args.nets):
        nets.append(fitted(tables, target, weight, HOW, SEED + seed))
        print(f"net {seed + 1} of {args.nets}", flush=True)
    linear, bias = fitted_linear()
    print("linear expert", flush=True)
    model: dict[str, np.ndarray] = {
        name: np.stack([net[name] for net in nets]).astype(np.float16) for name in nets[0]
    }
    model |= {"linear": linear, "linear_bias": bias}
    model |= {"linear_temperature": np.array(LINEAR_TEMPERATURE)}
    small = {n: w if w.dtype == np.float16 else w.astype(np.float32) for n, w in model.items()}
    np.savez_compressed(HERE / "nets.npz", **small)  # type: ignore[arg-type]


def training_examples() -> list[Example]:
    """Everything of the training split that the nets learn from."""
    rng = np.random.default_rng(SEED)
    plain = [one for one in printed("train") if one.keys[0].mode in TRAINED]
    found = [*plain, *_varied(plain, rng)]
    for _ in range(SPOILED_COPIES):
        fresh = [*plain, *_varied(plain, rng)]
        found += [replace(one, tune=spoiled(one.tune, rng)) for one in fresh]
    return [one for one in found if any(any(part.bars) for part in one.tune.parts)]


def _varied(plain: list[Example], rng: np.random.Generator) -> list[Example]:
    other = [new for one in plain for new in rewritten(one, rng)]
    modal = [*plain, *other]
    gaps = [new for one in modal for new in gapped(one, rng)]
    swung = [new for one in modal for new in double_tonic(one, rng)]
    return other + gaps + swung + [new for one in modal for new in away(one, rng)]


def packed(examples: list[Example]) -> Packed:
    """Tables (n, tables, 12), targets (n, 48) and weights (n,)."""
    tables = np.array(
        [KeyEvidence.of_parts(one.tune.parts, one.tune.bar_length).tables for one in examples],
        dtype=np.float32,
    )
    return tables, targets(examples), np.array([one.weight for one in examples], np.float32)


def targets(examples: list[Example]) -> np.ndarray:
    """Chances of the classes, shape (n, 48)."""
    target = np.zeros((len(examples), 12 * len(TRAINED)), dtype=np.float32)
    for row, one in zip(target, examples, strict=True):
        shares = (1.0,) if len(one.keys) == 1 else (FIRST_KEY, 1 - FIRST_KEY)
        for share, key in zip(shares, one.keys, strict=True):
            row[as_class(key)] += share
    return target


def evened(target: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Weights scaled so that each mode has its share in all."""
    mode = target.argmax(axis=1) % len(TRAINED)
    total = np.bincount(mode, weight, len(TRAINED))
    factor = np.array([SHARES[name] for name in TRAINED]) / np.maximum(total, 1e-9)
    return np.asarray(weight * factor[mode] * weight.sum(), dtype=np.float32)


if __name__ == "__main__":
    main()
