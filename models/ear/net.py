"""The network of the ear in PyTorch. Used for training and export only.

In     : spectra as hear.ears.network.spectra gives them, shape (batch, 3, frames, N_BINS).
Out    : logits: pitch (batch, frames, N_PITCHES + 1), events (batch, frames, 3).
Method : features per semitone by small convolutions, shifted copies of them joined so that every
         pitch sees its own harmonics and sub-harmonics, a stack of dilated convolutions in time
         over all pitches together, and last a convolution per pitch that knows both.
"""

from __future__ import annotations

import torch
from torch import nn

from liltwright.hear.ears.network import BINS_PER_SEMITONE, SPECTRUM_SEMITONES, WINDOWS
from liltwright.models.ear.combs import SEMITONES, SHIFTS

DILATIONS = (1, 2, 4, 8, 16, 1, 2, 4)


def conv2d(n_in: int, n_out: int, size: tuple[int, int], **options: int) -> nn.Sequential:
    """Convolution with normalisation and rectifier; frames are kept, frequency is padded."""
    pad = (size[0] // 2, size[1] // 2)
    return nn.Sequential(
        nn.Conv2d(n_in, n_out, size, padding=pad, bias=False, **options),
        nn.BatchNorm2d(n_out),
        nn.ReLU(),
    )


class TimeBlock(nn.Module):
    """Residual block over time: a dilated convolution per channel, then two mixing layers."""

    def __init__(self, width: int, size: int, dilation: int, expand: int) -> None:
        """Make a block of `width` channels."""
        super().__init__()
        self.along = nn.Conv1d(
            width, width, size, padding=size // 2 * dilation, dilation=dilation,
            groups=width, bias=False,
        )  # fmt: skip
        self.norm = nn.BatchNorm1d(width)
        self.up = nn.Conv1d(width, expand * width, 1)
        self.down = nn.Conv1d(expand * width, width, 1, bias=False)
        self.out = nn.BatchNorm1d(width)
        nn.init.zeros_(self.out.weight)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        """Same shape out as in: (batch, width, frames)."""
        return x + self.out(self.down(torch.relu(self.up(self.norm(self.along(x))))))


class Ear(nn.Module):
    """The whole network; see the module's docstring."""

    def __init__(self, local: int = 16, pitch: int = 32, width: int = 208, expand: int = 2) -> None:
        """Make a network with `local` features per semitone, `pitch` per pitch."""
        super().__init__()
        self.first = nn.Sequential(
            nn.Conv2d(len(WINDOWS), local, (3, 9), stride=(1, 3), padding=(1, 3), bias=False),
            nn.BatchNorm2d(local),
            nn.ReLU(),
        )
        self.second = conv2d(local, local, (3, 3))
        self.harmonic = conv2d(local * len(SHIFTS), pitch, (1, 1))
        self.third = conv2d(pitch, pitch, (5, 3))
        self.gather = nn.Conv1d(SEMITONES * 10 + SPECTRUM_SEMITONES * 4, width, 1)
        self.squeeze_pitch = conv2d(pitch, 10, (1, 1))
        self.squeeze_local = conv2d(local, 4, (1, 1))
        self.blocks = nn.ModuleList(TimeBlock(width, 9, d, expand) for d in DILATIONS)
        self.spread = nn.Conv1d(width, SEMITONES * 8, 1)
        self.common = nn.Conv1d(width, pitch, 1)
        self.fourth = conv2d(pitch + 8, pitch, (3, 3))
        self.fine = nn.Conv2d(pitch, BINS_PER_SEMITONE, 1)
        self.silence = nn.Conv1d(width, 1, 1)
        self.events = nn.Conv1d(width, 3, 1)

    def shifted(self, x: torch.Tensor) -> torch.Tensor:
        """(batch, c, frames, SPECTRUM_SEMITONES) -> (batch, c * shifts, frames, SEMITONES)."""
        low, high = max(-min(SHIFTS), 0), max(SHIFTS) + SEMITONES - SPECTRUM_SEMITONES
        x = nn.functional.pad(x, (low, max(high, 0)))
        return torch.cat([x[..., low + s : low + s + SEMITONES] for s in SHIFTS], dim=1)

    def forward(self, spectra: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Logits of pitch and of the three events."""
        local = self.second(self.first(spectra))
        pitch = self.third(self.harmonic(self.shifted(local)))
        flat = torch.cat(
            [
                self.squeeze_pitch(pitch).transpose(2, 3).flatten(1, 2),
                self.squeeze_local(local).transpose(2, 3).flatten(1, 2),
            ],
            dim=1,
        )
        x = torch.relu(self.gather(flat))
        for block in self.blocks:
            x = block(x)
        wide = self.spread(x).unflatten(1, (8, SEMITONES)).transpose(2, 3)
        pitch = pitch + self.common(x).unsqueeze(-1)
        pitch = self.fourth(torch.cat([pitch, wide], dim=1))
        fine = self.fine(pitch).permute(0, 2, 3, 1).flatten(2)
        silence = self.silence(x).transpose(1, 2)
        return torch.cat([fine, silence], dim=2), self.events(x).transpose(1, 2)


class Probabilities(nn.Module):
    """The network with probabilities instead of logits, as it is exported."""

    def __init__(self, ear: Ear) -> None:
        """Wrap a trained network."""
        super().__init__()
        self.ear = ear

    def forward(self, spectra: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Probabilities of pitch (sum 1 per frame) and of the three events (each 0 to 1)."""
        pitch, events = self.ear(spectra)
        return torch.softmax(pitch, dim=2), torch.sigmoid(events)
