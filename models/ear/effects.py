"""What rooms, microphones and phones do to sound, on the GPU.

In     : samples (clips, SAMPLES), float32; which clips go through a phone, (clips, 1) bool.
Out    : the same shape. Every clip draws its own settings from the generator.
References: H. Kuttruff, "Room Acoustics", 2009 (decay of energy, from memory); ITU-T G.711
         (logarithmic quantisation, from memory).
"""

from __future__ import annotations

import numpy as np
import torch

from liltwright.hear.ears.network import HOP, SAMPLE_RATE
from liltwright.models.ear.curves import FRAMES, SAMPLES

NYQUIST = SAMPLE_RATE / 2


def upsample(curve: torch.Tensor) -> torch.Tensor:
    """Linear interpolation of curves (rows, points) that start at sample 0 to SAMPLES."""
    step = SAMPLES // curve.shape[-1]
    right = torch.cat([curve[:, 1:], curve[:, -1:]], dim=1)
    ramp = torch.arange(step, device=curve.device, dtype=curve.dtype) / step
    return (curve[..., None] + (right - curve)[..., None] * ramp).flatten(1)


def uniform(
    generator: torch.Generator, rows: int, low: float, high: float, device: torch.device
) -> torch.Tensor:
    """Even random values, shape (rows, 1)."""
    return low + (high - low) * torch.rand(rows, 1, generator=generator, device=device)


def chance(generator: torch.Generator, rows: int, p: float, device: torch.device) -> torch.Tensor:
    """True with probability p, shape (rows, 1)."""
    return torch.rand(rows, 1, generator=generator, device=device) < p


def room(x: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """Convolve with a direct sound plus a decaying tail, for seven clips of ten."""
    rows, device = len(x), x.device
    length = 20000
    t = torch.arange(length, device=device)[None] / SAMPLE_RATE
    rt60 = torch.exp(uniform(g, rows, np.log(0.12), np.log(1.6), device))
    tail = torch.randn(rows, length, generator=g, device=device) * torch.exp(-6.9 * t / rt60)
    gap = uniform(g, rows, 0.001, 0.02, device)
    tail = tail * (t > gap)
    lines = torch.fft.rfft(tail)
    hz = torch.linspace(0, NYQUIST, lines.shape[1], device=device)[None]
    cut = torch.exp(uniform(g, rows, np.log(1500.0), np.log(9000.0), device))
    tail = torch.fft.irfft(lines / (1 + (hz / cut) ** 2), n=length)
    sparse = torch.rand(rows, length, generator=g, device=device) < 0.0008
    early = torch.randn(rows, length, generator=g, device=device) * sparse * torch.exp(-t / 0.02)
    tail = tail / (tail.norm(dim=1, keepdim=True) + 1e-9)
    early = early / (early.norm(dim=1, keepdim=True) + 1e-3)
    wet = 10 ** (uniform(g, rows, -22, 1, device) / 20) * chance(g, rows, 0.7, device)
    n = SAMPLES + length
    response = torch.fft.rfft(wet * (tail + 0.7 * early), n=n)
    return x + torch.fft.irfft(torch.fft.rfft(x, n=n) * response, n=n)[:, :SAMPLES]


def colouring(x: torch.Tensor, phone: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """Random smooth frequency response and, for some clips, narrow band limits."""
    rows, device = len(x), x.device
    lines = torch.fft.rfft(x)
    hz = torch.linspace(0, NYQUIST, lines.shape[1], device=device)[None].clamp(min=20.0)
    octave = torch.log2(hz / 20.0)
    db = torch.zeros_like(hz).repeat(rows, 1)
    for cycles in (0.12, 0.3, 0.7, 1.5):
        phase = uniform(g, rows, 0, 1, device)
        db = db + uniform(g, rows, 0, 5, device) * torch.sin(
            2 * torch.pi * (cycles * octave + phase)
        )
    high = torch.exp(uniform(g, rows, np.log(25.0), np.log(450.0), device))
    low = torch.exp(uniform(g, rows, np.log(3200.0), np.log(11000.0), device))
    narrow_low = chance(g, rows, 0.35, device) | phone
    narrow_high = chance(g, rows, 0.3, device) | phone
    high = torch.where(phone, uniform(g, rows, 150, 380, device), high)
    low = torch.where(phone, uniform(g, rows, 3200, 7000, device), low)
    order = uniform(g, rows, 2, 10, device)
    gain = 10 ** (db / 20)
    gain = gain * torch.where(narrow_low, 1 / torch.sqrt(1 + (high / hz) ** order), 1.0)
    gain = gain * torch.where(narrow_high, 1 / torch.sqrt(1 + (hz / low) ** (2 * order)), 1.0)
    return torch.fft.irfft(lines * gain, n=SAMPLES)


def background(x: torch.Tensor, loud: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """Coloured steady noise, for some clips with hum of the mains, down to 4 dB under the tune."""
    rows, device = len(x), x.device
    white = torch.randn(rows, SAMPLES, generator=g, device=device)
    hz = torch.fft.rfftfreq(SAMPLES, 1 / SAMPLE_RATE, device=device)[None].clamp(min=20.0)
    tilt = uniform(g, rows, -0.2, 1.2, device)
    centre = torch.exp(uniform(g, rows, np.log(100.0), np.log(6000.0), device))
    bump = 3 * chance(g, rows, 0.3, device) * torch.exp(-0.5 * (torch.log2(hz / centre) / 0.7) ** 2)
    noise = torch.fft.irfft(torch.fft.rfft(white) * (hz ** (-tilt) * (1 + bump)), n=SAMPLES)
    noise = noise / (noise.std(dim=1, keepdim=True) + 1e-9)
    gusts = upsample(torch.randn(rows, SAMPLES // 8192, generator=g, device=device))
    noise = noise * torch.exp(
        gusts * uniform(g, rows, 0, 0.8, device) * chance(g, rows, 0.4, device)
    )
    quiet = uniform(g, rows, 30, 75, device)
    noisy = uniform(g, rows, 4, 30, device)
    snr = torch.where(chance(g, rows, 0.5, device), noisy, quiet)
    mains = torch.where(chance(g, rows, 0.5, device), 50.0, 60.0)
    t = torch.arange(SAMPLES, device=device)[None] / SAMPLE_RATE
    buzz = sum(torch.sin(2 * torch.pi * mains * k * t) / k for k in (1, 2, 3, 5))
    noise = noise + buzz * chance(g, rows, 0.08, device) * uniform(g, rows, 0.2, 2, device)
    return x + noise * loud * 10 ** (-snr / 20)


def gain_control(x: torch.Tensor, phone: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """Automatic gain, quick or slow, of phones and for one other clip of ten."""
    rows, device = len(x), x.device
    blocks = x.abs().unflatten(1, (FRAMES, HOP)).amax(2)
    quick, slow = (_envelope(blocks, before, after) for before, after in ((12, 3), (50, 1)))
    envelope = torch.where(chance(g, rows, 0.5, device), quick, slow)
    strength = uniform(g, rows, 0.2, 0.9, device) * (chance(g, rows, 0.1, device) | phone)
    floor = 0.03 * envelope.amax(1, keepdim=True) + 1e-6
    gain = ((envelope + floor) / envelope.amax(1, keepdim=True).clamp(min=1e-6)) ** (-strength)
    return x * upsample(gain)


def _envelope(blocks: torch.Tensor, before: int, after: int) -> torch.Tensor:
    """Mean over this many blocks before and after each."""
    padded = torch.nn.functional.pad(blocks[:, None], (before, after), mode="replicate")
    return torch.nn.functional.avg_pool1d(padded, before + after + 1, 1)[:, 0]


def clipping(x: torch.Tensor, phone: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """Hard or soft clipping, for one clip of ten; soft for half of the phones."""
    rows, device = len(x), x.device
    peak = x.abs().amax(1, keepdim=True).clamp(min=1e-6)
    at = peak * uniform(g, rows, 0.15, 0.8, device)
    hard = torch.clamp(x / at, -1, 1) * at
    soft = torch.tanh(x / at) * at
    mild = phone & chance(g, rows, 0.5, device)
    hit = chance(g, rows, 0.1, device) | mild
    return torch.where(hit, torch.where(mild | chance(g, rows, 0.5, device), soft, hard), x)


def suppression(x: torch.Tensor, phone: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """What takes noise out of calls also takes what stays the same; one phone of six."""
    rows, device = len(x), x.device
    window = torch.hann_window(512, device=device)
    lines = torch.stft(x, 512, 128, window=window, return_complex=True, center=True)
    level = lines.abs()
    steady = (
        level.median(dim=2, keepdim=True).values * uniform(g, rows, 0.3, 1.0, device)[..., None]
    )
    gain = (1 - steady / (level + 1e-9)).clamp(min=0.1)
    cleaned = torch.istft(lines * gain, 512, 128, window=window, length=SAMPLES, center=True)
    return torch.where(phone & chance(g, rows, 0.17, device), cleaned, x)


def codec(x: torch.Tensor, phone: torch.Tensor, g: torch.Generator) -> torch.Tensor:
    """Loss of a codec: weak bands vanish, the rest is rounded in level; or 8-bit logarithmic."""
    rows, device = len(x), x.device
    window = torch.hann_window(512, device=device)
    lines = torch.stft(x, 512, 128, window=window, return_complex=True, center=True)
    level = lines.abs() + 1e-9
    smoothed = (
        torch.nn.functional.avg_pool1d(
            level.transpose(1, 2).flatten(0, 1)[:, None], 9, 1, 4, count_include_pad=False
        )[:, 0]
        .unflatten(0, (rows, -1))
        .transpose(1, 2)
    )
    threshold = smoothed * uniform(g, rows, 0.3, 1.3, device)[..., None]
    step = uniform(g, rows, 0.3, 1.2, device)[..., None]
    rounded = torch.exp(torch.round(torch.log(level) / step) * step)
    kept = lines / level * rounded * (level > threshold)
    coded = torch.istft(kept, 512, 128, window=window, length=SAMPLES, center=True)
    peak = x.abs().amax(1, keepdim=True).clamp(min=1e-6)
    y = x / peak
    log = torch.sign(y) * torch.log1p(255 * y.abs()) / np.log(256.0)
    log = torch.round(log * 127) / 127
    eight = torch.sign(log) * (torch.exp(log.abs() * np.log(256.0)) - 1) / 255 * peak
    kind = torch.rand(rows, 1, generator=g, device=device)
    return torch.where(
        (kind < 0.12) | phone & (kind < 0.85), coded, torch.where(kind > 0.95, eight, x)
    )
