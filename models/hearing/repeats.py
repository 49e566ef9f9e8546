"""Fit repeats.json: does a pitch that goes on begin anew? On clips of synthesised singers.

Task   : clips of the family "singers" of models/ear -> logistic weights.
Method : our own network and the events hear every clip; each place at which a note might be
         repeated (hear.ears.repeats) is right when a true note begins within RIGHT_FRAMES of it,
         and left out when one begins not much farther away. Logistic regression as in make.py.
Run    : python -m liltwright.models.hearing.repeats, from the repository, then
         liltwright.models.register. Needs PyTorch to render the clips; on one core of a CPU about
         half a second a clip.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from liltwright.models.hearing.make import fit

FILE = Path(__file__).with_name("repeats.json")
SEED = 15
CLIPS, AT_ONCE = 320, 8
FAMILY, AMATEURS = "singers", 1.0
"""All of them sing at sight: the shipped network was not taught on such clips (models/ear/CARD.md),
so that its doubts about them are those it has about strangers."""
RIGHT_FRAMES, FAR_FRAMES = 5, 8
BEGINS = 0.5
"""Value of the onset label above which a frame can be the one at which a note begins."""


def main() -> None:
    """Fit and write the weights, print what was fitted on."""
    rows = list(clips())
    found = np.concatenate([one for one, _ in rows])
    right = np.concatenate([one for _, one in rows])
    weights = [round(float(value), 2) for value in fit(found, right)]
    FILE.write_text(json.dumps({"weights": weights}) + "\n", encoding="utf-8")
    print(f"{len(right)} places, {right.mean():.3f} right, weights {weights}")
    alone = fit(found[:, :2], right)
    for name, score in (("belief alone", found[:, :2] @ alone), ("all", found @ weights)):
        said = 1 / (1 + np.exp(-score))
        loss = -np.mean(np.log(np.where(right > 0, said, 1 - said)))
        wrong = np.mean((said > 0.5) != (right > 0))
        print(f"{name}: log loss {loss:.3f}, wrong {wrong:.3f}")


def clips() -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Features of the places of a batch of clips and which of them are right."""
    import torch

    from liltwright.models.ear import singers
    from liltwright.models.ear.render import collate, render
    from liltwright.models.ear.scenes import scene

    singers.AMATEURS = AMATEURS
    for step in range(CLIPS // AT_ONCE):
        rng = np.random.default_rng((SEED, step))
        scenes = [scene(rng, FAMILY) for _ in range(AT_ONCE)]
        generator = torch.Generator().manual_seed(SEED + step)
        with torch.no_grad():
            sounds = render(collate(scenes), generator).numpy()
        for clip, samples in zip(scenes, sounds, strict=True):
            yield judged(samples, clip.events[0])


def judged(samples: np.ndarray, onset_label: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Features of the places in a clip, and 1 for those at which a note begins."""
    from liltwright.hear.audio.events import find_events
    from liltwright.hear.ears import repeats
    from liltwright.hear.ears.network import SAMPLE_RATE, evidence

    beliefs = evidence(samples)
    places = repeats.repeat_peaks(beliefs)
    label = np.pad(onset_label, 1)
    top = (onset_label >= label[:-2]) & (onset_label > label[2:]) & (onset_label >= BEGINS)
    true = np.flatnonzero(top)
    away = np.abs(places[:, None] - true[None, :]).min(axis=1, initial=len(samples))
    clear = (away <= RIGHT_FRAMES) | (away > FAR_FRAMES)
    places, right = places[clear], (away[clear] <= RIGHT_FRAMES).astype(float)
    events = find_events(samples, SAMPLE_RATE)
    found = repeats.features(beliefs.onset[places], places, samples, events)
    return found, right


if __name__ == "__main__":
    main()
