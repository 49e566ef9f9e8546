"""Task: the chords that a band plays under the tune, as a hint for the arrangement.

In: a Tune with its bars as heard, the recording. Out: the Tune with these chords over its bars, as
if the user had typed them.
Method: the harmony stage ranks the chords of the mode under every main beat by the tune alone; what
sounds in the recording there, summed over all passes, weighs against that. What sounds is a chroma
of the mixture in two registers: of the bass, where the root counts, and of the middle, where all
tones do; each against what is usual in this recording, so that drones and the lead's favourite
notes tell nothing.
References: chroma and chord templates: T. Fujishima, "Realtime chord recognition of musical sound",
1999; bass and treble chroma apart: M. Mauch, S. Dixon, "Approximate note transcription for the
improved identification of difficult chords", ISMIR 2010.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from liltwright.tune import Tune, TypedChord
from liltwright.units import hz_to_midi

if TYPE_CHECKING:
    from liltwright.arrange.harmony import ChordChoice

FRAME, HOP = 8192, 2048
"""Samples at 22050 Hz: 0.37 s tell semitones apart from 60 Hz on, about eleven frames a second."""
BASS, MIDDLE = (33.0, 50.0), (50.0, 74.0)
"""Registers in MIDI numbers."""
HEARD_BASS, HEARD_MIDDLE = 3.0, 1.0
"""Nats per standard deviation of the chroma of the root and of the mean of the chord's tones;
chosen on ten development mixtures: root right in 0.89 of the half bars, 0.64 by the tune alone."""
LEAST = 0.02
"""No chord of the mode is less probable by the tune alone."""


def with_band_chords(tune: Tune, samples: np.ndarray, sample_rate: int) -> Tune:
    """The tune with the band's chords; unchanged when it was not heard in bars.

    samples : float32, shape (n,), the recording that the tune was heard in
    """
    from liltwright.arrange.harmony import harmonise

    spans = harmonise(replace(tune, chords_typed=())).spans
    places = _passes(tune)
    if not spans or not places:
        return tune
    bass, middle, hop_s = _chromas(samples, sample_rate)
    chosen: list[TypedChord] = []
    for span in spans:
        seen = [
            (start_s + share * float(span.start), start_s + share * float(span.start + span.length))
            for start_s, share in places.get(span.bar, [])
        ]
        if not seen:
            continue
        low = np.mean([_mean(bass, a, b, hop_s) for a, b in seen], axis=0)
        mid = np.mean([_mean(middle, a, b, hop_s) for a, b in seen], axis=0)
        best = max(span.choices, key=lambda one: _worth(one, low, mid))
        if not chosen or chosen[-1].bar != span.bar or chosen[-1].symbol != best.chord.symbol:
            chosen.append(TypedChord(span.bar, span.start, best.chord.symbol))
    return replace(tune, chords_typed=tuple(chosen))


def _worth(choice: ChordChoice, low: np.ndarray, mid: np.ndarray) -> float:
    """Nats for a chord: the tune's word and the recording's."""
    tones = sorted(choice.chord.tones)
    heard = HEARD_BASS * low[choice.chord.root] + HEARD_MIDDLE * float(mid[tones].mean())
    return float(np.log(max(choice.probability, LEAST)) + heard)


def _passes(tune: Tune) -> dict[int, list[tuple[float, float]]]:
    """By written bar: start in seconds and seconds per whole note of every pass of it."""
    written = tune.written_bars()
    order = [index for index in tune.performed_order() if written[index].kind != "pickup"]
    bars = tune.bars_heard
    if not order or not bars:
        return {}
    first = 1 if bars[0].notes and bars[0].notes[0].start > 0 else 0
    found: dict[int, list[tuple[float, float]]] = defaultdict(list)
    for at, bar in enumerate(bars[first:]):
        index = order[at % len(order)]
        share = (bar.end_s - bar.start_s) / float(written[index].length)
        found[index].append((bar.start_s, share))
    return found


def _chromas(samples: np.ndarray, rate: int) -> tuple[np.ndarray, np.ndarray, float]:
    """Chroma of bass and middle per frame, each (n, 12) in standard deviations; seconds a frame."""
    window = np.hanning(FRAME).astype(np.float32)
    hz = np.arange(1, FRAME // 2 + 1) * rate / FRAME
    midi = hz_to_midi(hz)
    weights = [_folding(midi, *register) for register in (BASS, MIDDLE)]
    padded = np.pad(samples, (FRAME // 2, FRAME))
    count = 1 + len(samples) // HOP
    out = np.zeros((2, count, 12))
    for at in range(count):
        frame = padded[at * HOP : at * HOP + FRAME] * window
        level = np.sqrt(np.abs(np.fft.rfft(frame))[1:])
        for k in range(2):
            chroma = level @ weights[k]
            out[k, at] = chroma / max(float(chroma.sum()), 1e-9)
    out -= out.mean(axis=1, keepdims=True)
    out /= out.std(axis=1, keepdims=True) + 1e-6
    return out[0], out[1], HOP / rate


def _folding(midi: np.ndarray, low: float, high: float) -> np.ndarray:
    """Weights from spectral lines to pitch classes in a register, shape (lines, 12)."""
    near = midi[:, None] - np.arange(12)
    off = near - 12 * np.round(near / 12)
    inside = ((midi >= low) & (midi < high))[:, None]
    return np.exp(-0.5 * (off / 0.3) ** 2) * inside


def _mean(chroma: np.ndarray, start_s: float, end_s: float, hop_s: float) -> np.ndarray:
    """Mean chroma between two times, shape (12,)."""
    first = min(max(int(start_s / hop_s), 0), len(chroma) - 1)
    return np.asarray(chroma[first : max(int(end_s / hop_s), first + 1)].mean(axis=0))
