"""Task: ask the metre networks about every note.

In: PlainNotes. Out: Emissions: log probabilities by note of its place (metre and position in the
    bar), of the step to the next note, and of what else the network tells.
Method: models/metre, run by onnxruntime on windows of WINDOW notes that overlap by half; where
    windows overlap their log probabilities are averaged, weighted towards the middle. Two
    networks that were trained apart are asked and their log probabilities averaged: where one
    knows its training tunes by heart, the other does not err alike.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache
from typing import Any

import numpy as np

from liltwright import models
from liltwright.notate.metre.features import describe
from liltwright.notate.plain import PlainNotes
from liltwright.threads import threads

WINDOW = 512  # notes, as the networks were trained
NETWORKS = ("metre/metre-1.onnx", "metre/metre-2.onnx")
INPUTS = ("numbers", "before", "after", "chroma", "clock")


@dataclass(frozen=True, slots=True)
class Emissions:
    """Log probabilities, one row per note; classes as in models/metre."""

    place: np.ndarray
    step: np.ndarray
    since: np.ndarray
    kind: np.ndarray
    meter: np.ndarray
    real: np.ndarray
    """Log probability that the note is on the page, and that it is not, shape (n_notes, 2)."""
    jump: np.ndarray
    """Log probability that the page jumps before the note, and that it does not."""

    def of(self, some: np.ndarray) -> Emissions:
        """Those of some notes alone, as a mask or by index."""
        return Emissions(*(getattr(self, one.name)[some] for one in fields(self)))


def listen_for_metre(notes: PlainNotes) -> Emissions:
    """What the networks say of the notes."""
    seen = describe(notes.onset_s, notes.offset_s, notes.midi)
    n = len(notes)
    starts = list(range(0, max(n - WINDOW, 0) + WINDOW // 2, WINDOW // 2))
    starts = [min(start, max(n - WINDOW, 0)) for start in starts]
    total: dict[str, np.ndarray] = {}
    weight = np.zeros((n, 1))
    for start in dict.fromkeys(starts):
        part = slice(start, start + WINDOW)
        window = {name: seen[name][part][None] for name in INPUTS}
        window["clock"] = window["clock"] - window["clock"][:, :1]
        size = window["clock"].shape[1]
        rise = np.minimum(np.arange(1, size + 1), np.arange(size, 0, -1))[:, None].astype(float)
        weight[part] += rise
        for network in NETWORKS:
            for name, logits in _run(network, window).items():
                logs = _log_sigmoids(logits) if name == "flags" else _log_softmax(logits)
                logs = rise * logs / len(NETWORKS)
                total.setdefault(name, np.zeros((n, logs.shape[1])))[part] += logs
    mean = {name: value / weight for name, value in total.items()}
    return Emissions(
        mean["place"], mean["step"], mean["since"], mean["kind"], mean["meter"],
        mean["flags"][:, :2], mean["flags"][:, 2:],
    )  # fmt: skip


def _run(network: str, window: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    session = _session(network)
    names = [output.name for output in session.get_outputs()]
    return {name: out[0] for name, out in zip(names, session.run(names, window), strict=True)}


def _log_softmax(logits: np.ndarray) -> np.ndarray:
    top = logits - logits.max(axis=1, keepdims=True)
    return (top - np.log(np.exp(top).sum(axis=1, keepdims=True))).astype(float)


def _log_sigmoids(logits: np.ndarray) -> np.ndarray:
    """Yes and no of each flag: columns real, not real, jump, no jump."""
    yes, no = -np.logaddexp(0, -logits), -np.logaddexp(0, logits)
    return np.stack([yes[:, 0], no[:, 0], yes[:, 1], no[:, 1]], axis=1)


@cache
def _session(network: str) -> Any:
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = threads(0)
    options.add_session_config_entry("session.intra_op.allow_spinning", "0")
    return onnxruntime.InferenceSession(
        models.read_bytes(network), options, providers=["CPUExecutionProvider"]
    )
