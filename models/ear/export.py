"""Weights -> models/ear/ear.onnx and the reference of the parity test.

    python -m liltwright.models.ear.export WEIGHTS.pt[:SHARE] ...

In     : files that models.ear.train wrote, of runs of which one began with the weights of the
         other; the mean of their weights is exported, by share.
Out    : ear.onnx, reference.npz (spectra of a short test sound and what PyTorch makes of them),
         both beside this file.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import torch

from liltwright.hear.ears.network import SAMPLE_RATE, spectra
from liltwright.models.ear.combs import comb
from liltwright.models.ear.net import Ear, Probabilities

HERE = Path(__file__).parent
REFERENCE_FRAMES = 96


def test_sound() -> np.ndarray:
    """Two seconds: three notes with harmonics and a little noise, from a fixed seed."""
    rng = np.random.default_rng(0)
    t = np.arange(2 * SAMPLE_RATE) / SAMPLE_RATE
    hz = np.select([t < 0.7, t < 1.3], [440.0, 587.33], 493.88)
    turns = np.cumsum(hz) / SAMPLE_RATE
    tone = sum(np.sin(2 * np.pi * k * turns) / k**1.5 for k in range(1, 8))
    tone = tone * np.minimum(1.0, np.abs(np.sin(np.pi * (t - 0.7) / 0.6)) * 8)
    return (0.2 * tone + 0.003 * rng.standard_normal(len(t))).astype(np.float32)


def mean_weights(files: list[str]) -> dict[str, torch.Tensor]:
    """The weights of FILE or FILE:SHARE files, averaged by share (1 when it is not given)."""
    total = 0.0
    mean: dict[str, torch.Tensor] = {}
    for name in files:
        path, _, given = name.partition(":")
        share = float(given or 1)
        total += share
        for key, value in torch.load(path, map_location="cpu").items():
            if value.dtype.is_floating_point:
                mean[key] = mean.get(key, value) + (value - mean.get(key, value)) * (share / total)
            else:
                mean[key] = value
    return mean


def export(
    files: list[str], onnx: Path = HERE / "ear.onnx", reference: Path = HERE / "reference.npz"
) -> None:
    """Write the network and its reference."""
    ear = Ear()
    ear.load_state_dict(mean_weights(files))
    network = Probabilities(ear).eval()
    frames = spectra(test_sound(), 20, 20 + REFERENCE_FRAMES)
    with torch.no_grad():
        pitch, events = network(torch.from_numpy(frames)[None])
    names = {"spectra": {2: "frames"}, "pitch": {1: "frames"}, "events": {1: "frames"}}
    torch.onnx.export(
        network, (torch.from_numpy(frames)[None],), str(onnx),
        input_names=["spectra"], output_names=["pitch", "events"], dynamic_axes=names,
        opset_version=17, dynamo=False,
    )  # fmt: skip
    comb(onnx)
    np.savez_compressed(reference, spectra=frames, pitch=pitch[0].numpy(), events=events[0].numpy())


if __name__ == "__main__":
    export(sys.argv[1:])
