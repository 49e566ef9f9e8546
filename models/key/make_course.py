"""Train the networks over the course of a tune; they are written to course.npz.

In: examples.py and composed.py (the training split). Out: course.npz, reference.npz.
Method: course_net.py on tunes as printed, in other modes, with gaps, away from home and spoiled, as
    make.py has them, drawn by their weights and the shares of the modes; and on tunes composed of
    their bars, half of them spoiled, some without a degree. Seeded, one thread. The reference keeps
    what PyTorch says of a few tunes, for the test of the numpy side.

    python -m liltwright.models.key.make_course [--nets 3]
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np
import torch

from liltwright.models.key.composed import composed, stock_of
from liltwright.models.key.course_net import CourseNet, Courses, Training, fitted, weights
from liltwright.models.key.examples import Example, gapped, printed, spoiled
from liltwright.models.key.make import SHARES, targets, training_examples
from liltwright.notate.key.course import MOST_BARS, PLACES, ROWS
from liltwright.notate.key.evidence import KeyEvidence
from liltwright.notate.key.rank import TRAINED

HERE = Path(__file__).parent
SEED = 29
DRAWN, COMPOSED = 24000, 8000
"""Tunes of either kind."""
SHOWN = 6  # tunes of the reference


def main() -> None:
    """Train and write."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--nets", type=int, default=3)
    args = parser.parse_args()
    data = courses(examples())
    print(f"{len(data.there)} tunes", flush=True)
    found = []
    for seed in range(args.nets):
        net = fitted(data, Training(), SEED + seed)
        found.append(weights(net))
        print(f"net {seed + 1} of {args.nets}", flush=True)
    stacked = {name: np.stack([one[name] for one in found]) for name in found[0]}
    np.savez_compressed(HERE / "course.npz", allow_pickle=False, **stacked)
    few = Courses(*(getattr(data, n)[:SHOWN] for n in ("sounds", "places", "there", "target")))
    np.savez_compressed(
        HERE / "reference.npz",
        allow_pickle=False,
        sounds=few.sounds,
        places=few.places,
        there=few.there,
        scores=_said(found[0], few),
    )


def examples() -> list[Example]:
    """What the nets learn from."""
    rng = np.random.default_rng(SEED)
    plain = [one for one in printed("train") if one.keys[0].mode in TRAINED]
    real = training_examples()
    target = targets(real)
    chance = np.array([one.weight for one in real])
    mode = target.argmax(axis=1) % len(TRAINED)
    chance *= (np.array([SHARES[name] for name in TRAINED]) / np.bincount(mode, chance))[mode]
    drawn = rng.choice(len(real), size=DRAWN, p=chance / chance.sum())
    made = composed(stock_of(plain), COMPOSED, rng)
    made += [new for one in made[::3] for new in gapped(one, rng)]
    made = [replace(one, tune=spoiled(one.tune, rng)) if at % 2 else one
            for at, one in enumerate(made)]  # fmt: skip
    found = [*(real[int(at)] for at in drawn), *made]
    return [one for one in found if any(any(part.bars) for part in one.tune.parts)]


def courses(tunes: list[Example]) -> Courses:
    """Arrays of the tunes."""
    n = len(tunes)
    sounds = np.zeros((n, MOST_BARS, ROWS, 12), np.float16)
    places = np.zeros((n, MOST_BARS, PLACES), np.float32)
    there = np.zeros((n, MOST_BARS), np.float32)
    for at, one in enumerate(tunes):
        course = KeyEvidence.of_parts(one.tune.parts, one.tune.bar_length).course
        bars = len(course.sounds)
        sounds[at, :bars], places[at, :bars], there[at, :bars] = course.sounds, course.places, 1
    return Courses(sounds, places, there, targets(tunes))


def _said(stored: dict[str, np.ndarray], data: Courses) -> np.ndarray:
    """What PyTorch makes of tunes with the weights as they are stored."""
    net = CourseNet(Training()).eval()
    names = {f"{n.split('.')[0]}_{n.split('.')[1][0]}": n for n in net.state_dict()}
    state = {
        full: torch.tensor(stored[short].T.copy() if short.endswith("w") else stored[short]).float()
        for short, full in names.items()
    }
    net.load_state_dict(state)
    with torch.no_grad():
        arrays = (torch.tensor(a).float() for a in (data.sounds, data.places, data.there))
        return np.asarray(net(*arrays).numpy())


if __name__ == "__main__":
    main()
