"""The network: for every heard note its place in the bar, the step to the next, and more.

In: tensors of notate.metre.features.describe with a batch dimension. Out: logits, each of
    shape (batch, n_notes, classes): place, step, since (bars since the pass began), kind (tune
    type), meter, and flags (is on the page, page jumps before it).
Method: two small convolutions over the notes, then self-attention over all notes of the window.
    Queries and keys are rotated by the note's number and by its time in units of the usual gap,
    so that heads can look a bar, a phrase or a part away.
References: A. Vaswani et al., "Attention is all you need", 2017. J. Su et al., "RoFormer:
    enhanced transformer with rotary position embedding", arXiv 2104.09864.
"""

from __future__ import annotations

import math

import torch
from torch import Tensor, nn

from liltwright.notate.metre.features import FARTHEST, NUMBERS
from liltwright.notate.metre.places import places

HEADS = {
    "place": len(places().ticks), "step": len(places().steps), "since": places().bars_in_pass,
    "kind": len(places().kinds), "meter": len(places().meters), "flags": 2,
}  # fmt: skip


class Block(nn.Module):
    """Attention and a gated feed-forward layer, each added to what came in."""

    def __init__(self, width: int, heads: int, dropout: float) -> None:
        super().__init__()
        self.heads, self.dropout = heads, dropout
        self.first, self.second = nn.LayerNorm(width), nn.LayerNorm(width)
        self.qkv = nn.Linear(width, 3 * width, bias=False)
        self.out = nn.Linear(width, width, bias=False)
        self.up = nn.Linear(width, 4 * width)
        self.down = nn.Linear(2 * width, width)
        self.drop = nn.Dropout(dropout)

    def forward(self, x: Tensor, cos: Tensor, sin: Tensor, mask: Tensor | None) -> Tensor:
        batch, n, width = x.shape
        qkv = self.qkv(self.first(x)).view(batch, n, 3, self.heads, width // self.heads)
        q, k, v = (qkv[:, :, at].transpose(1, 2) for at in range(3))
        q, k = rotated(q, cos, sin), rotated(k, cos, sin)
        y = nn.functional.scaled_dot_product_attention(
            q, k, v, attn_mask=mask, dropout_p=self.dropout if self.training else 0.0
        )
        x = x + self.drop(self.out(y.transpose(1, 2).reshape(batch, n, width)))
        value, gate = self.up(self.second(x)).chunk(2, dim=-1)
        return x + self.drop(self.down(value * nn.functional.silu(gate)))


def rotated(x: Tensor, cos: Tensor, sin: Tensor) -> Tensor:
    """Rotate pairs of channels; cos and sin of shape (batch, 1, n_notes, channels / 2)."""
    one, other = x.chunk(2, dim=-1)
    return torch.cat([one * cos - other * sin, other * cos + one * sin], dim=-1)


class Metre(nn.Module):
    """The whole network; see the head of the module."""

    def __init__(
        self,
        width: int = 160,
        layers: int = 6,
        heads: int = 5,
        dropout: float = 0.1,
        deaf: float = 0.0,
    ) -> None:
        """deaf : share of training melodies whose pitches are hidden."""
        super().__init__()
        self.deaf = deaf
        self.numbers = nn.Linear(NUMBERS, width)
        self.before = nn.Embedding(2 * FARTHEST + 1, width)
        self.after = nn.Embedding(2 * FARTHEST + 1, width)
        self.chroma = nn.Embedding(12, width)
        self.near = nn.ModuleList(nn.Conv1d(width, width, 5, padding=2) for _ in range(2))
        self.blocks = nn.ModuleList(Block(width, heads, dropout) for _ in range(layers))
        self.last = nn.LayerNorm(width)
        self.head = nn.Linear(width, sum(HEADS.values()))
        pairs = width // heads // 2
        by_number = pairs // 3
        number = 2 * math.pi / torch.logspace(math.log10(2.5), math.log10(600), by_number)
        clock = 2 * math.pi / torch.logspace(math.log10(2.5), math.log10(900), pairs - by_number)
        self.register_buffer("by_number", number)
        self.register_buffer("by_clock", clock)

    def forward(
        self,
        numbers: Tensor,
        before: Tensor,
        after: Tensor,
        chroma: Tensor,
        clock: Tensor,
        mask: Tensor | None = None,
    ) -> tuple[Tensor, ...]:
        pitch = self.before(before) + self.after(after) + self.chroma(chroma)
        if self.training:
            pitch = pitch * self._heard(numbers)
        x = self.numbers(numbers) + pitch
        for layer in self.near:
            y = x if mask is None else x * mask[:, :, None]
            y = layer(y.transpose(1, 2)).transpose(1, 2)
            x = x + nn.functional.gelu(y)
        count = torch.arange(x.shape[1], device=x.device, dtype=clock.dtype)
        angle = torch.cat(
            [
                (count[None, :, None] * self.by_number).expand(x.shape[0], -1, -1),
                clock[:, :, None] * self.by_clock,
            ],
            dim=-1,
        )
        cos, sin = angle.cos()[:, None].to(x.dtype), angle.sin()[:, None].to(x.dtype)
        seen = None if mask is None else mask.bool()[:, None, None, :]
        for block in self.blocks:
            x = block(x, cos, sin, seen)
        return self.head(self.last(x)).split(list(HEADS.values()), dim=-1)

    def _heard(self, numbers: Tensor) -> Tensor:
        """0 where pitches are hidden: whole melodies, and single notes."""
        melodies = torch.rand(len(numbers), 1, 1, device=numbers.device) >= self.deaf
        notes = torch.rand(*numbers.shape[:2], 1, device=numbers.device) >= self.deaf / 2
        return (melodies & notes).to(numbers.dtype)
