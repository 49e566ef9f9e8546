"""Task: a network over the course of a tune, the same for every tonic, and its training.

In: Courses, arrays of many tunes. Out: weights by name, as notate/key/nets.py reads them.
Method: seen from one tonic every bar is a vector; two layers over the bars see their neighbours
    and the bars four away; attention picks the bars that tell, one hidden layer gives four scores,
    one a mode. Softmax over 12 tonics x 4 modes; cross entropy with soft targets; Adam with
    decoupled decay, a warm-up and a cosine. Whole bars and single units are left out at random.
    Batches are of tunes of like length, so that little is padded. One thread, seeded.
References: attention pooling: Z. Lin et al., "A Structured Self-attentive Sentence Embedding",
    2017; I. Loshchilov & F. Hutter, "Decoupled Weight Decay Regularization", 2019; N. Srivastava
    et al., "Dropout", 2014.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn.functional import relu

from liltwright.notate.key.course import PLACES, ROWS
from liltwright.notate.key.nets import FAR

MODES = 4
WARM = 100  # steps until the full rate
CHUNK = 10  # batches that are sorted by length together
LARGEST_STEP = 1.0  # norm that gradients are clipped to


@dataclass(frozen=True, slots=True, kw_only=True)
class Training:
    """How a net is built and trained."""

    width: int = 48
    heads: int = 4
    hidden: int = 64
    epochs: int = 7
    batch: int = 128
    rate: float = 3e-3
    decay: float = 0.02
    unit_dropout: float = 0.3
    bar_dropout: float = 0.1


@dataclass(frozen=True, slots=True)
class Courses:
    """n tunes, padded to one number of bars."""

    sounds: np.ndarray
    """Shape (n, bars, ROWS, 12)."""
    places: np.ndarray
    """Shape (n, bars, PLACES)."""
    there: np.ndarray
    """1 where a bar is, 0 where the tune has ended, shape (n, bars)."""
    target: np.ndarray
    """Chances of the classes, shape (n, 48)."""


class CourseNet(nn.Module):
    """Scores of tunes by tonic and mode."""

    roll: Tensor

    def __init__(self, how: Training) -> None:
        super().__init__()
        self.how, width = how, how.width
        self.seen = nn.Linear(ROWS * 12 + PLACES, width)
        self.near = nn.Linear(3 * width, width)
        self.far = nn.Linear(3 * width, width)
        self.ask = nn.Linear(width, how.heads)
        self.mixed = nn.Linear(width * how.heads, how.hidden)
        self.out = nn.Linear(how.hidden, MODES)
        roll = (torch.arange(12)[None] + torch.arange(12)[:, None]) % 12
        self.register_buffer("roll", roll, persistent=False)

    def forward(self, sounds: Tensor, places: Tensor, there: Tensor) -> Tensor:
        """Raw scores, shape (n, 48); arrays as in Courses."""
        n, bars = there.shape
        if self.training:
            kept = there * (torch.rand_like(there) >= self.how.bar_dropout)
            there = torch.where(kept.sum(1, keepdim=True) > 0, kept, there)
        views = sounds[..., self.roll].permute(0, 3, 1, 2, 4).reshape(n, 12, bars, -1)
        where = places[:, None].expand(n, 12, bars, PLACES)
        x = torch.cat([views, where], -1).reshape(n * 12, bars, -1)
        mask = there.repeat_interleave(12, 0)[..., None]
        x = relu(self.seen(x)) * mask
        x = x + relu(self.near(_with_neighbours(x, 1))) * mask
        x = x + relu(self.far(_with_neighbours(x, FAR))) * mask
        ask = self.ask(x).masked_fill(mask == 0, -1e4).softmax(1)
        y = torch.einsum("nth,ntw->nhw", ask, x).reshape(n * 12, -1)
        y = relu(self.mixed(self._thinned(y, n, self.how.unit_dropout / 2)))
        raw: Tensor = self.out(self._thinned(y, n, self.how.unit_dropout))
        return raw.reshape(n, -1)

    def _thinned(self, y: Tensor, n: int, share: float) -> Tensor:
        """Some units left out, the same ones for every tonic of a tune."""
        if not self.training:
            return y
        mask = (torch.rand(n, 1, y.shape[-1]) >= share) / (1 - share)
        return y * mask.expand(n, 12, y.shape[-1]).reshape(y.shape)


def _with_neighbours(x: Tensor, by: int) -> Tensor:
    before, after = torch.zeros_like(x), torch.zeros_like(x)
    before[:, by:], after[:, :-by] = x[:, :-by], x[:, by:]
    return torch.cat([before, x, after], -1)


def fitted(data: Courses, how: Training, seed: int) -> CourseNet:
    """Train one net."""
    torch.set_num_threads(1)
    torch.manual_seed(seed)
    rng = np.random.default_rng(seed)
    net = CourseNet(how).train()
    bars = data.there.sum(axis=1).astype(int)
    arrays = [torch.tensor(a) for a in (data.sounds, data.places, data.there, data.target)]
    steps = how.epochs * (len(bars) // how.batch)
    adam = torch.optim.AdamW(net.parameters(), lr=how.rate, weight_decay=how.decay)
    step = 0
    for _ in range(how.epochs):
        for at in _batches(bars, how.batch, rng):
            share = 0.5 * (1 + math.cos(math.pi * step / steps)) * min(1.0, (step + 1) / WARM)
            step += 1
            for group in adam.param_groups:
                group["lr"] = how.rate * share
            sounds, places, there, target = (array[torch.tensor(at)] for array in arrays)
            most = int(bars[at].max())
            raw = net(sounds[:, :most].float(), places[:, :most], there[:, :most])
            loss = -(target * raw.log_softmax(-1)).sum(1).mean()
            adam.zero_grad()
            loss.backward()  # type: ignore[no-untyped-call]
            nn.utils.clip_grad_norm_(net.parameters(), LARGEST_STEP)
            adam.step()
    return net.eval()


def _batches(bars: np.ndarray, size: int, rng: np.random.Generator) -> list[np.ndarray]:
    """Rows of tunes of like length, in a random order."""
    order = rng.permutation(len(bars))
    found = []
    for start in range(0, len(order), CHUNK * size):
        chunk = order[start : start + CHUNK * size]
        chunk = chunk[np.argsort(bars[chunk], kind="stable")]
        found += [chunk[at : at + size] for at in range(0, len(chunk) - size + 1, size)]
    return [found[at] for at in rng.permutation(len(found))]


def weights(net: CourseNet) -> dict[str, np.ndarray]:
    """By name, 16-bit; matrices stand so that rows of numbers multiply them from the left."""
    found = {}
    for name, value in net.state_dict().items():
        layer, kind = name.split(".")
        array = value.numpy().astype(np.float16)
        found[f"{layer}_{kind[0]}"] = array.T.copy() if kind == "weight" else array
    return found
