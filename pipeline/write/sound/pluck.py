"""One plucked string: the tone of a note on a given string, plucked by thumb or finger.

Task: a steel-string guitar tone in tune to within 2 cents, without samples.
In:   string, open pitch, sounding pitch, how it is plucked.
Out:  samples, mono float32 at SAMPLE_RATE, begun by the pluck, ringing out by itself.
Method: a digital waveguide string (delay loop with losses and stiffness) written as its transfer
    function and evaluated in the frequency domain, X(f) / (1 - G(f) exp(-2 pi i n(f))), so that
    the loop's phase n(f) is exact for every partial and needs no tuning filter. The tone is one
    inverse FFT. Two polarisations of the string with different losses give the two-stage decay.
References: Jaffe & Smith 1983, Computer Music Journal 7(2) (loop, pick position, damping);
    Valimaki, Huopaniemi, Karjalainen & Janosy 1996, JAES 44(5) (loop filter, body, plucking point);
    Fletcher & Rossing, The Physics of Musical Instruments (stiffness: f_n = n f0 sqrt(1 + B n^2)).
    All from memory; what they promise is measured in tests/write/test_pluck.py.
"""

from __future__ import annotations

from functools import cache
from typing import Any, Literal

import numpy as np

from liltwright import models
from liltwright.units import midi_to_hz

SAMPLE_RATE = 24_000  # Hz; a plucked string has little above half of it
TONE_S = 4.0
"""Length of a tone in seconds; it has died away by then or is faded."""
Pluck = Literal["p", "i", "left"]
"""Thumb, finger, or the fretting hand (hammer-on, pull-off, slide)."""

POLARISATIONS = ((0.7, 1.5), (0.3, 0.7))
"""Share of the pluck that goes into each polarisation, and how much faster it dies away."""

_EXTRA_LOSS_PER_S = 1.5
"""Taken into the loop and given back to the samples, so that no tail wraps round the FFT."""
_FFT_SIZE = 1 << 17  # samples, longer than any tone
_HIGHEST_HZ = 11_000.0  # partials above are left out
_DELAY_S = 0.0006
"""Room for the smooth onset of the pluck, which is centred on its own time."""
_LOUDNESS_S = 0.35  # seconds by which loudness is judged


@cache
def string_tone(string: int, open_midi: int, midi: float, pluck: Pluck) -> np.ndarray:
    """The tone of `midi` (may be fractional) on a string whose open pitch is `open_midi`.

    string : 1 (highest) to 6. open_midi : as the string is tuned, without the capo.
    Returns read-only float32 samples, shape (TONE_S * SAMPLE_RATE,), all tones equally loud.
    """
    hz = float(midi_to_hz(float(midi)))
    facts = models.read_json("instrument/strings.json")
    frequencies, body = _shared()
    partial = _partial_number(frequencies, hz, _inharmonicity(facts, string, open_midi, hz))
    attack = _excitation(frequencies, partial, facts["pluck"][pluck]) * body
    loss = _loss_per_s(facts, string, hz, frequencies)
    spectrum = np.zeros(_FFT_SIZE // 2 + 1, complex)
    turn = np.exp(-2j * np.pi * partial)
    for share, faster in POLARISATIONS:
        loop = turn * np.exp(-(loss * faster + _EXTRA_LOSS_PER_S) / hz)
        spectrum[: len(frequencies)] += share * attack / (1.0 - loop)
    samples = np.fft.irfft(spectrum)[: int(TONE_S * SAMPLE_RATE)]
    samples *= np.exp(_EXTRA_LOSS_PER_S * np.arange(len(samples)) / SAMPLE_RATE)
    tone = (_faded(samples) / _loudness(samples)).astype(np.float32)
    tone.setflags(write=False)
    return tone


def _inharmonicity(facts: dict[str, Any], string: int, open_midi: float, hz: float) -> float:
    """Stiffness B of the sounding length, pi^3 E d^4 / (64 T L^2), and of that the share kept."""
    row = facts["strings"][str(string)]
    open_hz = float(midi_to_hz(float(open_midi)))
    tension = row["tension_n"] * (open_hz / float(midi_to_hz(float(row["open_midi"])))) ** 2
    length_m = facts["scale_mm"] / 1000.0 * open_hz / hz
    stiffness = np.pi**3 * facts["steel_youngs_modulus_pa"] * (row["core_mm"] / 1000.0) ** 4
    return float(facts["stiffness_share"] * stiffness / (64.0 * tension * length_m**2))


def _partial_number(frequencies: np.ndarray, hz: float, stiffness: float) -> np.ndarray:
    """n(f) with f = n f0 sqrt(1 + B n^2), f0 chosen so that the fourth partial is in tune."""
    base = hz / np.sqrt(1.0 + 16.0 * stiffness)
    ratio = (frequencies / base) ** 2
    return np.sqrt((np.sqrt(1.0 + 4.0 * stiffness * ratio) - 1.0) / (2.0 * stiffness))


def _loss_per_s(
    facts: dict[str, Any], string: int, hz: float, frequencies: np.ndarray
) -> np.ndarray:
    """Decay in nepers per second: a constant that grows with pitch, plus treble loss with f^1.5."""
    kind = "wound" if facts["strings"][str(string)]["wound"] else "plain"
    ring_s = facts["ring_s_at_100_hz"][kind] * (100.0 / hz) ** facts["ring_slope"]
    treble = facts["treble_loss_per_s_at_1_khz"][kind] * (frequencies / 1000.0) ** 1.5
    return np.log(1000.0) / ring_s + treble


def _excitation(frequencies: np.ndarray, partial: np.ndarray, pluck: dict[str, Any]) -> np.ndarray:
    """Spectrum of the pluck: plucking-point comb, softness of the finger, a gentle tilt."""
    comb = 1.0 - np.exp(-2j * np.pi * partial * pluck["from_bridge"])
    soft = np.exp(-((frequencies / pluck["lowpass_hz"]) ** 2))
    tilt = 1.0 / (1.0 + 1j * frequencies / 700.0)
    return comb * soft * tilt * np.exp(-2j * np.pi * frequencies * _DELAY_S)


@cache
def _shared() -> tuple[np.ndarray, np.ndarray]:
    """Frequencies in Hz up to where the tone ends, and the response of the body there."""
    step = SAMPLE_RATE / _FFT_SIZE
    frequencies = np.arange(int(_HIGHEST_HZ / step)) * step
    body = np.ones(len(frequencies), complex)
    for peak in models.read_json("instrument/strings.json")["body"]:
        ratio = frequencies / peak["hz"]
        resonance = (1j * ratio / peak["q"]) / (1.0 - ratio**2 + 1j * ratio / peak["q"])
        body += peak["gain"] * resonance
    low = 1j * frequencies / 60.0
    return frequencies, body * low**2 / (1.0 + np.sqrt(2.0) * low + low**2)


def _faded(samples: np.ndarray) -> np.ndarray:
    """The tone with its last tenth faded to nothing."""
    fade = len(samples) // 10
    samples[-fade:] *= 0.5 + 0.5 * np.cos(np.linspace(0.0, np.pi, fade))
    return samples


def _loudness(samples: np.ndarray) -> float:
    """A-weighted root mean square of the first part of the tone (weighting of IEC 61672)."""
    first = samples[: int(_LOUDNESS_S * SAMPLE_RATE)]
    power = np.abs(np.fft.rfft(first)) ** 2
    f2 = np.fft.rfftfreq(len(first), 1.0 / SAMPLE_RATE) ** 2
    weight = f2**2 * 12194.0**2 / (f2 + 20.6**2) / (f2 + 12194.0**2)
    weight /= np.sqrt((f2 + 107.7**2) * (f2 + 737.9**2))
    return float(np.sqrt(2.0 * np.sum(power * weight**2)) / len(first))
