"""band.onnx -> weights to go on training from.

    python -m liltwright.models.band.load OUT.pt --library libfluidsynth.so.3 --font TimGM6mb.sf2

In     : models/band/band.onnx; FluidSynth and the sound font for some clips.
Out    : a file for models.band.train --start; the network in evaluation gives what the ONNX gives.
Method : models.ear.load, with normalisations fitted to mixtures.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import torch

from liltwright.models.band.mix import mix
from liltwright.models.band.train import Steps, batch_of
from liltwright.models.ear.load import load, write
from liltwright.models.ear.train import Spectra

HERE = Path(__file__).parent
SEED, CLIPS = 4321, 48


@torch.no_grad()
def mixtures(library: str, font: str) -> torch.Tensor:
    """Spectra of a few clips that training never uses."""
    device = torch.device("cpu")
    lead, backing, below = Steps(SEED, 1, CLIPS, library, font)[0]
    generator = torch.Generator().manual_seed(0)
    return Spectra()(mix(batch_of(lead, device), batch_of(backing, device), below, generator))


def main() -> None:
    """Write the weights."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out")
    parser.add_argument("--library", required=True, help="libfluidsynth")
    parser.add_argument("--font", required=True, help="TimGM6mb.sf2")
    given = parser.parse_args()
    clips = mixtures(given.library, given.font)
    write(load(HERE / "band.onnx", clips), HERE / "reference.npz", given.out)


if __name__ == "__main__":
    main()
