"""ear.onnx -> weights to go on training from: python -m liltwright.models.ear.load OUT.pt

In     : models/ear/ear.onnx, in which the exporter has folded every normalisation into the
         convolution before it, and in which COMBS stand for the shifted copies.
Out    : a file for models.ear.train --start; the network in evaluation gives what the ONNX gives.
Method : the folded weights go back into the convolutions. Mean and variance of what each
         normalisation sees are measured on training clips; its factor and offset are then set so
         that it changes nothing in evaluation (exactly) and next to nothing in training.
References: S. Ioffe, C. Szegedy, "Batch Normalization", ICML 2015 (the normalisation undone).
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import torch

from liltwright.models.ear.combs import COMBS, PREFIX, joined
from liltwright.models.ear.net import Ear, Probabilities
from liltwright.models.ear.render import collate, render
from liltwright.models.ear.scenes import SHARES, scene
from liltwright.models.ear.train import Spectra

HERE = Path(__file__).parent
NORMS = {"along": "norm", "down": "out", "0": "1"}
"""Last part of a convolution's name -> that of its normalisation."""
HARMONIC = "harmonic.0"
"""The convolution that COMBS stand for."""
TOLERANCE = 1e-4
CLIPS_PER_FAMILY = 3


def load(path: Path = HERE / "ear.onnx", clips: torch.Tensor | None = None) -> Ear:
    """The network with the weights of an ONNX file, normalisations fitted to training clips.

    clips : spectra of those, (clips, 3, frames, N_BINS); None: some of every family of the ear
    """
    import onnx

    graph = onnx.load(str(path)).graph
    arrays = {one.name: onnx.numpy_helper.to_array(one).copy() for one in graph.initializer}
    ear = Ear().eval()
    modules = dict(ear.named_modules())
    norms = {}
    combs = [arrays[f"{PREFIX}{k}"] for k in range(len(COMBS))]
    arrays[f"{PREFIX}0"] = joined(combs)[:, :, None, None]
    for node in graph.node:
        if node.op_type != "Conv" or len(node.input) < 3:
            continue
        name = module_name(node.name)
        weight, offset = (torch.from_numpy(arrays[key]) for key in node.input[1:3])
        conv = modules[name]
        conv.weight.data.copy_(weight)
        if conv.bias is not None:
            conv.bias.data.copy_(offset)
            continue
        head, last = name.rsplit(".", 1)
        norms[modules[f"{head}.{NORMS[last]}"]] = offset
    _fit(ear, norms, _of_every_family() if clips is None else clips)
    return ear


def module_name(node: str) -> str:
    """/ear/first/first.0/Conv -> first.0; /ear/blocks.0/along/Conv -> blocks.0.along."""
    if node.startswith(f"/{PREFIX}"):
        return HARMONIC
    parts = node.split("/")[2:-1]
    if len(parts) > 1 and parts[-1].startswith(parts[-2] + "."):
        parts = parts[-1:]
    return ".".join(parts)


@torch.no_grad()
def _of_every_family() -> torch.Tensor:
    rng = np.random.default_rng(4321)
    clips = [scene(rng, family) for family in SHARES for _ in range(CLIPS_PER_FAMILY)]
    return Spectra()(render(collate(clips), torch.Generator().manual_seed(0)))


@torch.no_grad()
def _fit(ear: Ear, offsets: dict[torch.nn.Module, torch.Tensor], clips: torch.Tensor) -> None:
    """Make every normalisation add its folded offset and nothing else, in place."""
    seen: dict[torch.nn.Module, tuple[torch.Tensor, torch.Tensor]] = {}

    def measure(norm: torch.nn.Module, inputs: tuple[torch.Tensor, ...]) -> None:
        axes = [k for k in range(inputs[0].dim()) if k != 1]
        seen[norm] = (inputs[0].mean(axes), inputs[0].var(axes))

    for norm, offset in offsets.items():
        norm.running_mean.zero_()
        norm.running_var.fill_(1 - norm.eps)
        norm.weight.fill_(1.0)
        norm.bias.copy_(offset)
    hooks = [norm.register_forward_pre_hook(measure) for norm in offsets]
    ear(clips)
    for hook in hooks:
        hook.remove()
    for norm, offset in offsets.items():
        mean, variance = seen[norm]
        norm.running_mean.copy_(mean)
        norm.running_var.copy_(variance)
        norm.weight.copy_(torch.sqrt(variance + norm.eps))
        norm.bias.copy_(offset + mean)


@torch.no_grad()
def difference(ear: Ear, reference: Path = HERE / "reference.npz") -> float:
    """Largest difference from a reference.npz, in probability."""
    with np.load(reference) as stored:
        pitch, events = Probabilities(ear).eval()(torch.from_numpy(stored["spectra"])[None])
        return max(
            float(np.abs(pitch[0].numpy() - stored["pitch"]).max()),
            float(np.abs(events[0].numpy() - stored["events"]).max()),
        )


def write(ear: Ear, reference: Path, to: str) -> None:
    """Write the weights; refuse when they do not give the reference."""
    off = difference(ear, reference)
    if off > TOLERANCE:
        raise SystemExit(f"weights of {to} differ from {reference.name} by {off:.1e}")
    torch.save(ear.state_dict(), to)
    print(f"{to}: differs from {reference.name} by {off:.1e}")


if __name__ == "__main__":
    write(load(), HERE / "reference.npz", sys.argv[1])
