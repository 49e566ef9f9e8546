"""Control curves -> sound, on the GPU: lanes, noises, rooms, microphones, codecs.

In     : Batch, the clips of one training step as arrays.
Out    : samples (clips, SAMPLES), float32.
Method : sums of harmonics with interpolated curves; coloured noise by shaping the spectrum of
         white noise; then rooms, microphones and phones (effects.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import torch

from liltwright.hear.ears.network import BINS_PER_SEMITONE, HOP, LOWEST_MIDI, N_PITCHES, SAMPLE_RATE
from liltwright.models.ear.curves import CONTROL_HOP, FORMANTS, FRAMES, HARMONICS, SAMPLES, Clip
from liltwright.models.ear.effects import (
    NYQUIST,
    background,
    chance,
    clipping,
    codec,
    colouring,
    gain_control,
    room,
    suppression,
    upsample,
)  # fmt: skip


@dataclass
class Batch:
    """Clips of one step. `owner` arrays say which clip a lane or noise belongs to."""

    lane_owner: torch.Tensor
    midi: torch.Tensor
    level: torch.Tensor
    slope: torch.Tensor
    base: torch.Tensor
    stiffness: torch.Tensor
    formants: torch.Tensor
    has_formants: torch.Tensor
    noise_owner: torch.Tensor
    noise_level: torch.Tensor
    noise_band: torch.Tensor
    pitch: torch.Tensor
    events: torch.Tensor
    audio_owner: torch.Tensor
    audio: torch.Tensor

    @property
    def size(self) -> int:
        """Number of clips."""
        return len(self.pitch)

    def to(self, device: torch.device) -> Batch:
        """The same batch on a device."""
        return Batch(**{k: v.to(device, non_blocking=True) for k, v in vars(self).items()})


def collate(clips: list[Clip]) -> Batch:
    """Join clips into one batch."""
    lanes = [(i, lane) for i, clip in enumerate(clips) for lane in clip.lanes]
    noises = [(i, noise) for i, clip in enumerate(clips) for noise in clip.noises]
    heard = [(i, clip.audio) for i, clip in enumerate(clips) if clip.audio is not None]

    def stack(rows: list[np.ndarray], *shape: int) -> torch.Tensor:
        array = np.stack(rows) if rows else np.zeros((0, *shape))
        return torch.from_numpy(np.ascontiguousarray(array, dtype=np.float32))

    none = np.full((FORMANTS, FRAMES), 500.0, np.float32)
    return Batch(
        torch.tensor([i for i, _ in lanes], dtype=torch.long),
        stack([x.midi for _, x in lanes], SAMPLES // CONTROL_HOP),
        stack([x.level for _, x in lanes], SAMPLES // CONTROL_HOP),
        stack([x.slope for _, x in lanes], FRAMES),
        stack([x.base for _, x in lanes], HARMONICS),
        torch.tensor([x.stiffness for _, x in lanes], dtype=torch.float32),
        stack([none if x.formants is None else x.formants for _, x in lanes], FORMANTS, FRAMES),
        torch.tensor([x.formants is not None for _, x in lanes], dtype=torch.float32),
        torch.tensor([i for i, _ in noises], dtype=torch.long),
        stack([x.level for _, x in noises], SAMPLES // CONTROL_HOP),
        stack([np.array((x.centre_hz, x.octaves)) for _, x in noises], 2),
        stack([c.pitch for c in clips], FRAMES),
        stack([c.events for c in clips], 3, FRAMES),
        torch.tensor([i for i, _ in heard], dtype=torch.long),
        stack([a for _, a in heard], SAMPLES),
    )


def harmonic_levels(batch: Batch, f0: torch.Tensor) -> torch.Tensor:
    """Amplitudes (lanes, HARMONICS, FRAMES) from slope, base and formants; f0 at frame rate."""
    number = torch.arange(1, HARMONICS + 1, device=f0.device, dtype=f0.dtype)[None, :, None]
    level = batch.base[..., None] * torch.exp(-batch.slope[:, None] * torch.log(number))
    frequency = number * f0[:, None]
    shape = torch.full_like(frequency, 0.03)
    for k in range(FORMANTS):
        centre = batch.formants[:, k, None]
        width = 50.0 + 0.06 * centre
        shape = shape + (1.0, 0.7, 0.4, 0.25)[k] / (1.0 + ((frequency - centre) / width) ** 2)
    has = batch.has_formants[:, None, None]
    level = level * (1.0 - has + has * shape)
    fade = torch.clamp((0.97 * NYQUIST - frequency) / (0.05 * NYQUIST), 0.0, 1.0)
    level = level * fade
    loudness = torch.sqrt((level**2).sum(1, keepdim=True).amax(2, keepdim=True)) + 1e-6
    return level / loudness


def sing(batch: Batch, generator: torch.Generator) -> torch.Tensor:
    """All lanes, summed per clip: (clips, SAMPLES)."""
    device = batch.midi.device
    f0 = 440.0 * torch.exp2((batch.midi - 69.0) / 12.0)
    levels = harmonic_levels(batch, f0[:, :: HOP // CONTROL_HOP])
    turns = torch.cumsum(upsample(f0).double() / SAMPLE_RATE, dim=1)
    start = torch.rand(len(f0), HARMONICS, generator=generator, device=device)
    loud = upsample(batch.level)
    total = torch.zeros_like(loud)
    lowest = f0.amin(dim=1)
    for h in range(1, HARMONICS + 1):
        rows = torch.nonzero((lowest * h < NYQUIST) & (batch.base[:, h - 1] > 0)).flatten()
        if not len(rows):
            continue
        stretch = h * torch.sqrt(1.0 + batch.stiffness[rows] * h * h)
        phase = turns[rows] * stretch[:, None].double() + start[rows, h - 1, None].double()
        wave = torch.sin((2 * torch.pi) * (phase - torch.floor(phase)).float())
        total.index_add_(0, rows, wave * upsample(levels[rows, h - 1]))
    result = torch.zeros(batch.size, SAMPLES, device=device)
    return result.index_add_(0, batch.lane_owner, total * loud)


def coloured(batch: Batch, generator: torch.Generator) -> torch.Tensor:
    """All noises, summed per clip. The band shapes the noise before the level does."""
    device = batch.midi.device
    result = torch.zeros(batch.size, SAMPLES, device=device)
    if not len(batch.noise_owner):
        return result
    white = torch.randn(len(batch.noise_owner), SAMPLES, generator=generator, device=device)
    centre, octaves = batch.noise_band[:, :1], batch.noise_band[:, 1:]
    hz = torch.fft.rfftfreq(SAMPLES, 1 / SAMPLE_RATE, device=device)[None].clamp(min=1.0)
    gain = torch.exp(-0.5 * (torch.log2(hz / centre) / octaves) ** 2)
    noise = torch.fft.irfft(torch.fft.rfft(white) * gain, n=SAMPLES)
    noise = noise / (noise.std(dim=1, keepdim=True) + 1e-9)
    return result.index_add_(0, batch.noise_owner, noise * upsample(batch.noise_level))


def render(batch: Batch, g: torch.Generator) -> torch.Tensor:
    """The whole chain: (clips, SAMPLES), peaks between about -50 and 0 dB of full scale."""
    device = batch.midi.device
    tune = sing(batch, g)
    if len(batch.audio_owner):
        tune.index_add_(0, batch.audio_owner, batch.audio)
    x = tune + coloured(batch, g)
    active = batch.pitch >= 0
    sounding = active.repeat_interleave(HOP, dim=1)
    power = (tune**2 * sounding).sum(1, keepdim=True) / sounding.sum(1, keepdim=True).clamp(min=1)
    loud = torch.sqrt(power)
    loud = torch.where(loud > 1e-4, loud, torch.full_like(loud, 0.1))
    phone = chance(g, len(x), 0.28, device)
    x = colouring(room(x, g), phone, g)
    x = gain_control(suppression(background(x, loud, g), phone, g), phone, g)
    x = codec(clipping(x, phone, g), phone, g)
    peak = x.abs().amax(1, keepdim=True).clamp(min=1e-6)
    db = -50 * torch.rand(len(x), 1, generator=g, device=device) ** 2
    return x / peak * 10 ** (db / 20)


def targets(batch: Batch) -> torch.Tensor:
    """Soft classes of pitch: (clips, FRAMES, N_PITCHES + 1), rows sum to 1."""
    place = (batch.pitch - LOWEST_MIDI) * BINS_PER_SEMITONE + 1
    classes = torch.arange(N_PITCHES, device=place.device)
    bell = torch.exp(-0.5 * ((classes - place[..., None]) / 0.6) ** 2)
    bell = bell / (bell.sum(2, keepdim=True) + 1e-9)
    voiced = (batch.pitch >= 0)[..., None]
    return torch.cat([bell * voiced, (~voiced).float()], dim=2)
