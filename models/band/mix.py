"""Lead and accompaniment -> one sound on the GPU, through rooms, tapes and codecs.

In     : a batch of lead clips and one of accompaniments, the level between them.
Out    : samples (clips, SAMPLES), float32.
Method : both are rendered as in models.ear.render, brought to the wanted ratio of power (the lead
         measured where it sounds), and go through the same rooms and microphones; besides: wow of a
         tape or a turntable, crackle, a fade at one end.
"""

from __future__ import annotations

import numpy as np
import torch

from liltwright.hear.ears.network import HOP, SAMPLE_RATE
from liltwright.models.ear.curves import SAMPLES
from liltwright.models.ear.effects import (
    background,
    chance,
    clipping,
    codec,
    colouring,
    gain_control,
    room,
    suppression,
    uniform,
)  # fmt: skip
from liltwright.models.ear.render import Batch, coloured, sing

PHONE, WOW, CRACKLE, FADE = 0.12, 0.12, 0.1, 0.06
WOW_S = 0.004
"""Largest displacement in time."""


def sound(batch: Batch, g: torch.Generator) -> torch.Tensor:
    """Dry sound of one side of the mixture."""
    dry = sing(batch, g)
    if len(batch.audio_owner):
        dry.index_add_(0, batch.audio_owner, batch.audio)
    return dry + coloured(batch, g)


def mix(lead: Batch, backing: Batch, below_db: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """The whole chain; `below_db` has shape (clips,)."""
    device = lead.midi.device
    tune, rest = sound(lead, g), sound(backing, g)
    sounding = (lead.pitch >= 0).repeat_interleave(HOP, dim=1)
    count = sounding.sum(1, keepdim=True).clamp(min=1)
    loud = torch.sqrt((tune**2 * sounding).sum(1, keepdim=True) / count)
    active = rest.unflatten(1, (64, -1)).pow(2).mean(2)
    beside = torch.sqrt(active.mean(1, keepdim=True))
    ratio = 10 ** (-torch.nan_to_num(below_db, nan=0.0)[:, None] / 20)
    known = loud > 1e-4
    scale = torch.where(known, loud, torch.full_like(loud, 0.1))
    x = tune + rest * ratio * scale / beside.clamp(min=1e-4)
    phone = chance(g, len(x), PHONE, device)
    x = fade(wow(colouring(room(x, g), phone, g), g), g)
    x = background(x, scale * 0.6, g)
    x = crackle(x, scale, g)
    x = gain_control(suppression(x, phone, g), phone, g)
    x = codec(clipping(x, phone, g), phone, g)
    peak = x.abs().amax(1, keepdim=True).clamp(min=1e-6)
    return x / peak * 10 ** (-40 * torch.rand(len(x), 1, generator=g, device=device) ** 2 / 20)


def wow(x: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """Slow wavering of the speed, for one clip of eight."""
    rows, device = len(x), x.device
    t = torch.arange(SAMPLES, device=device)[None] / SAMPLE_RATE
    rate = torch.exp(uniform(g, rows, np.log(0.4), np.log(6.0), device))
    # pitch wavers by 2 pi rate size: at most 1 % (17 cents)
    size = uniform(g, rows, 0.1, 1, device) * torch.clamp(0.01 / (2 * np.pi * rate), max=WOW_S)
    hit = chance(g, rows, WOW, device)
    moved = t + hit * size * torch.sin(2 * np.pi * (rate * t + uniform(g, rows, 0, 1, device)))
    place = (moved * SAMPLE_RATE).clamp(0, SAMPLES - 2)
    low = place.long()
    part = place - low
    bent = x.gather(1, low) * (1 - part) + x.gather(1, low + 1) * part
    return torch.where(hit, bent, x)


def fade(x: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """The recording fades in or out across the clip."""
    rows, device = len(x), x.device
    ramp = torch.linspace(0, 1, SAMPLES, device=device)[None]
    ramp = torch.where(chance(g, rows, 0.5, device), ramp, 1 - ramp)
    gain = 10 ** (-uniform(g, rows, 6, 30, device) * ramp / 20)
    return torch.where(chance(g, rows, FADE, device), x * gain, x)


def crackle(x: torch.Tensor, loud: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """Clicks of a worn record."""
    rows, device = len(x), x.device
    often = torch.exp(uniform(g, rows, np.log(2e-5), np.log(1e-3), device))
    hits = torch.rand(rows, SAMPLES, generator=g, device=device) < often
    clicks = torch.randn(rows, SAMPLES, generator=g, device=device) * hits
    smooth = clicks + 0.6 * torch.roll(clicks, 1, 1) - 0.3 * torch.roll(clicks, 2, 1)
    size = loud * 10 ** (uniform(g, rows, -15, 8, device) / 20)
    return x + smooth * size * chance(g, rows, CRACKLE, device)
