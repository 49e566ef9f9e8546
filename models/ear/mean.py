"""The mean of weights, with its normalisations measured anew.

    python -m liltwright.models.ear.mean OUT.pt WEIGHTS.pt[:SHARE] ... [--library L --font F]

In     : files that models.ear.train wrote, of runs of which one began with the weights of the
         other; with a sound font (see train.py) a share of the clips is of it.
Out    : weights for models.ear.export.
Method : in a mean of weights the layers see other means and variances than those kept from
         either run, and doubt their onsets; so these are measured once more on training clips.
References: P. Izmailov et al., "Averaging Weights Leads to Wider Optima and Better Generalization",
         UAI 2018, section 3.2 (statistics of batch normalisation after averaging).
"""

from __future__ import annotations

import argparse

import torch

from liltwright.models.ear.export import mean_weights
from liltwright.models.ear.net import Ear
from liltwright.models.ear.render import Batch, render
from liltwright.models.ear.train import Spectra, Steps

SEED = 99
"""Clips that no training used."""
STEPS, CLIPS = 8, 24
SHARE = 0.25
"""Of the clips, played by the sound font."""


@torch.no_grad()
def measured(weights: dict[str, torch.Tensor], library: str, font: str) -> Ear:
    """The network with these weights and the statistics that its layers have on training clips."""
    ear = Ear()
    ear.load_state_dict(weights)
    for part in ear.modules():
        if isinstance(part, (torch.nn.BatchNorm1d, torch.nn.BatchNorm2d)):
            part.reset_running_stats()
            part.momentum = None  # a plain mean over the steps
    ear.train()
    clips, front = Steps(SEED, STEPS, CLIPS, (library, font, SHARE)), Spectra()
    generator = torch.Generator().manual_seed(SEED)
    for step in range(STEPS):
        ear(front(render(Batch(**clips[step]), generator)))
    return ear.eval()


def main() -> None:
    """Read the command line and write the weights."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out")
    parser.add_argument("weights", nargs="+")
    parser.add_argument("--library", default="", help="libfluidsynth, for clips from a sound font")
    parser.add_argument("--font", default="", help="TimGM6mb.sf2")
    given = parser.parse_args()
    ear = measured(mean_weights(given.weights), given.library, given.font)
    torch.save(ear.state_dict(), given.out)


if __name__ == "__main__":
    main()
