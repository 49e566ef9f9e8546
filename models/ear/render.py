"""Control curves -> sound, on the GPU: lanes, noises, rooms, microphones, codecs.

In     : Batch, the clips of one training step as arrays.
Out    : samples (clips, SAMPLES), float32.
Method : sums of harmonics with interpolated curves; coloured noise by shaping the spectrum of
         white noise; convolution with random decaying responses; then what phones do to sound.
References: H. Kuttruff, "Room Acoustics", 2009 (decay of energy, from memory); ITU-T G.711
         (logarithmic quantisation, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import torch

from models.ear.curves import CONTROL_HOP, FORMANTS, FRAMES, HARMONICS, SAMPLES, Clip
from pipeline.hear.network import BINS_PER_SEMITONE, HOP, LOWEST_MIDI, N_PITCHES, SAMPLE_RATE

NYQUIST = SAMPLE_RATE / 2


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


def upsample(curve: torch.Tensor) -> torch.Tensor:
    """Linear interpolation of curves (rows, points) that start at sample 0 to SAMPLES."""
    step = SAMPLES // curve.shape[-1]
    right = torch.cat([curve[:, 1:], curve[:, -1:]], dim=1)
    ramp = torch.arange(step, device=curve.device, dtype=curve.dtype) / step
    return (curve[..., None] + (right - curve)[..., None] * ramp).flatten(1)


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


# ---------------------------------------------------------------- room, microphone, phone


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
