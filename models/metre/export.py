"""Turn trained weights into metre-1.onnx and so on.

Run: `python -m liltwright.models.metre.export 1=ONE.pt 2=TWO.pt`; others stay as they are.

Weights are stored as 16-bit floats and computed with as 32-bit ones. The export is checked
against PyTorch on a made-up melody, and the outputs are kept in reference.npz for the tests.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import onnx
import torch
from onnx import TensorProto, helper, numpy_helper

from liltwright.models.metre.net import HEADS, Metre
from liltwright.notate.metre.features import describe

HERE = Path(__file__).parent
INPUTS = ("numbers", "before", "after", "chroma", "clock")
LARGE = 4096


def main() -> None:
    """Export, check, write."""
    seen = describe(*_melody())
    with np.load(HERE / "reference.npz", allow_pickle=False) as old:
        kept = {name: old[name] for name in old.files} | seen
    for number, weights in (one.split("=", 1) for one in sys.argv[1:]):
        path = HERE / f"metre-{number}.onnx"
        out = _export(weights, path, seen)
        _halved(path)
        _check(path, seen, out)
        kept |= {f"out {number} {name}": value for name, value in out.items()}
    np.savez_compressed(HERE / "reference.npz", allow_pickle=False, **kept)


def _export(weights: str, path: Path, seen: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Write the network; what PyTorch makes of the melody."""
    state = {name: value.float() for name, value in torch.load(weights).items()}
    width = state["last.weight"].shape[0]
    layers = 1 + max(int(name.split(".")[1]) for name in state if name.startswith("blocks"))
    for name, value in state.items():
        if value.numel() >= LARGE:
            state[name] = value.half().float()
    net = Metre(width, layers, width // 32, 0.0).eval()
    net.load_state_dict(state)
    batch = tuple(torch.from_numpy(seen[name])[None] for name in INPUTS)
    torch.onnx.export(
        net, batch, str(path), input_names=list(INPUTS), output_names=list(HEADS),
        dynamic_axes={name: {1: "notes"} for name in (*INPUTS, *HEADS)}, opset_version=17,
        dynamo=False,
    )  # fmt: skip
    with torch.no_grad():
        return {name: value[0].numpy() for name, value in zip(HEADS, net(*batch), strict=True)}


def _melody() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Forty-eight notes with a little swing."""
    rng = np.random.default_rng(5)
    onset = np.cumsum(rng.choice([0.16, 0.14, 0.31], 48) + rng.normal(0, 0.01, 48))
    midi = 67 + np.cumsum(rng.choice([-2, -1, 0, 1, 2, 3], 48)) % 14
    return onset, onset + 0.12, midi


def _halved(path: Path) -> None:
    """Store large weights as 16-bit floats, with a cast behind each."""
    model = onnx.load(str(path))
    graph = model.graph
    casts = []
    for at, weight in enumerate(list(graph.initializer)):
        array = numpy_helper.to_array(weight)
        if array.dtype == np.float32 and array.size >= LARGE:
            stored = numpy_helper.from_array(array.astype(np.float16), f"{weight.name}.half")
            graph.initializer.remove(weight)
            graph.initializer.append(stored)
            casts.append(
                helper.make_node("Cast", [stored.name], [weight.name], f"widen{at}",
                                 to=TensorProto.FLOAT)
            )  # fmt: skip
    nodes = [*casts, *graph.node]
    del graph.node[:]
    graph.node.extend(nodes)
    onnx.checker.check_model(model)
    onnx.save(model, str(path))


def _check(path: Path, seen: dict[str, np.ndarray], out: dict[str, np.ndarray]) -> None:
    import onnxruntime

    session = onnxruntime.InferenceSession(str(path), providers=["CPUExecutionProvider"])
    found = session.run(list(HEADS), {name: seen[name][None] for name in INPUTS})
    worst = max(float(np.abs(a[0] - b).max()) for a, b in zip(found, out.values(), strict=True))
    print(f"{path.name}: {path.stat().st_size / 1e6:.2f} MB, largest difference {worst:.2e}")
    assert worst < 1e-3


if __name__ == "__main__":
    main()
