"""The layer that sees the harmonics, as dilated convolutions: a fifth less time, half the memory.

In     : ONNX model of `net.Ear` in which the features of every semitone are copied, shifted by
         net.SHIFTS, joined and weighed; or the same with the convolutions of COMBS.
Out    : the model with COMBS in place of the copies; and back, the weights of the joined copies.
Method : weighing shifted copies is a convolution over semitones with few weights far apart. Sets of
         shifts at one distance make a convolution each that is dilated by this distance, with
         zeros where a shift is not wanted. The sum is the same up to rounding, without any copy.
References: F. Yu and V. Koltun, "Multi-Scale Context Aggregation by Dilated Convolutions", 2016.

    python -m liltwright.models.ear.combs MODEL.onnx          # in place
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np

from liltwright.hear.ears.network import BINS_PER_SEMITONE, N_PITCHES, SPECTRUM_SEMITONES

SHIFTS = (0, 12, 19, 24, 28, 31, 34, 36, -12, -19, -24)
"""Semitones from a pitch to its harmonics 2 to 8 and to the pitches it is a harmonic of."""
COMBS = ((-24, 12, 6), (-19, 50, 2), (-11, 15, 4), (0, 28, 2))
"""First shift, distance and number of the weights of each convolution; all SHIFTS are in one. None
begins above 0 nor ends below 20, so that none cuts into the semitones that it reads."""
SEMITONES = N_PITCHES // BINS_PER_SEMITONE
JOINED, SOURCE, PREFIX = "/ear/harmonic/harmonic.0/Conv", "/ear/second/second.2/Relu", "comb"
"""Nodes in the exporter's names: what weighs the joined copies, what is copied; our own names."""


def combed(weight: np.ndarray) -> list[np.ndarray]:
    """Weights of the joined copies (out, shifts * in) -> of each convolution (out, in, 1, taps)."""
    n_in = weight.shape[1] // len(SHIFTS)
    own = {s: weight[:, k * n_in : (k + 1) * n_in] for k, s in enumerate(SHIFTS)}
    result = []
    for first, distance, taps in COMBS:
        comb = np.zeros((len(weight), n_in, 1, taps), np.float32)
        for tap in range(taps):
            comb[:, :, 0, tap] = own.pop(first + distance * tap, 0.0)
        result.append(comb)
    return result


def joined(combs: list[np.ndarray]) -> np.ndarray:
    """What `combed` was made of; shape (out, shifts * in)."""
    own: dict[int, np.ndarray] = {}
    for (first, distance, taps), comb in zip(COMBS, combs, strict=True):
        for tap in range(taps):
            own.setdefault(first + distance * tap, comb[:, :, 0, tap])
    return np.concatenate([own[s] for s in SHIFTS], axis=1)


def comb(path: Path) -> None:
    """Put COMBS into a model file; one that has them stays as it is."""
    import onnx

    model = onnx.load(str(path))
    graph = model.graph
    nodes = {node.name: node for node in graph.node}
    if JOINED not in nodes:
        return
    old = nodes[JOINED]
    arrays = {one.name: onnx.numpy_helper.to_array(one) for one in graph.initializer}
    weights = combed(arrays[old.input[1]][:, :, 0, 0])
    new = _nodes(onnx.helper, nodes[SOURCE].output[0], old.input[2], old.output[0])
    at = list(graph.node).index(old)
    kept = _reaching([*graph.node[:at], *new, *graph.node[at + 1 :]], graph.output)
    used = {name for node in kept for name in node.input}
    stored = [one for one in graph.initializer if one.name in used]
    stored += [onnx.numpy_helper.from_array(w, f"{PREFIX}{k}") for k, w in enumerate(weights)]
    del graph.node[:], graph.initializer[:]
    graph.node.extend(kept)
    graph.initializer.extend(stored)
    onnx.checker.check_model(model)
    onnx.save(model, str(path))


def _nodes(helper: Any, source: str, offset: str, result: str) -> list[Any]:
    """The convolutions and their sums; the first adds the offset, the last sum is `result`."""
    nodes, total = [], ""
    for k, (first, distance, taps) in enumerate(COMBS):
        above = SEMITONES - SPECTRUM_SEMITONES + first + distance * (taps - 1)
        part, after = f"/{PREFIX}{k}", result if k == len(COMBS) - 1 else f"/{PREFIX}{k}/sum"
        nodes.append(helper.make_node(
            "Conv", [source, f"{PREFIX}{k}", *([] if k else [offset])], [part], name=part,
            kernel_shape=[1, taps], dilations=[1, distance], pads=[0, -first, 0, above],
            strides=[1, 1], group=1,
        ))  # fmt: skip
        if k:
            nodes.append(helper.make_node("Add", [part, total], [after], name=after))
        total = after if k else part
    return nodes


def _reaching(nodes: list[Any], outputs: Any) -> list[Any]:
    """The nodes that some output needs, in their order."""
    wanted = {one.name for one in outputs}
    kept = []
    for node in reversed(nodes):
        if wanted & set(node.output):
            kept.append(node)
            wanted |= set(node.input)
    return kept[::-1]


if __name__ == "__main__":
    comb(Path(sys.argv[1]))
