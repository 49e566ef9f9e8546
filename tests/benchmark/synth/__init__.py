"""Sounds for performances: synthesisers of our own with exact onsets, and sampled instruments.

Independent of the synthesiser that the program's network is trained with.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from tests.benchmark.manners import Family
from tests.benchmark.playing import Performance, Stroke
from tests.benchmark.synth import blown, strings, voices
from tests.benchmark.synth.curves import SAMPLE_RATE
from tests.benchmark.synth.fonts import RATE, sampled

OWN: dict[Family, Callable[[Sequence[Stroke], float, np.random.Generator], np.ndarray]] = {
    "hum": voices.hum, "lilt": voices.lilt, "choir": voices.choir, "lips": voices.lips,
    "whistle": blown.whistle, "recorder": blown.recorder, "flute": blown.flute,
    "accordion": blown.accordion, "pipes": blown.pipes,
    "fiddle": strings.fiddle, "plucked": strings.plucked,
}  # fmt: skip
PROGRAMS: dict[Family, tuple[int, ...]] = {
    "choir": (52, 53), "whistle": (78, 72), "recorder": (74,), "flute": (73,),
    "fiddle": (40, 110), "accordion": (21, 23), "plucked": (24, 25),
}  # fmt: skip
"""General MIDI programs (from 0) that stand for a family."""


@dataclass(frozen=True, slots=True)
class Sound:
    """Which sound plays: our own synthesiser, or a program of a sound font."""

    family: Family
    font: str = "own"
    program: int = 0

    @property
    def exact(self) -> bool:
        """Whether the onsets are exactly known."""
        return self.font == "own"

    @property
    def name(self) -> str:
        """For tables and file names."""
        return self.family if self.exact else f"{self.family}-{self.font}{self.program}"


def sounds(family: Family) -> tuple[Sound, ...]:
    """Every sound of a family; the own synthesiser first."""
    fonts = [
        Sound(family, font, program)
        for program in PROGRAMS.get(family, ())
        for font in ("fluid", "timgm")
    ]
    return (Sound(family), *fonts)


def render(performance: Performance, sound: Sound, *, seed: int) -> tuple[np.ndarray, int]:
    """(float32 mono audio with a peak of 0.7, sample rate)."""
    rng = np.random.default_rng([seed, 77])
    seconds = performance.duration_s
    if sound.exact:
        audio, rate = OWN[sound.family](performance.strokes, seconds, rng), SAMPLE_RATE
    else:
        audio = sampled(performance.strokes, seconds, sound.program, sound.font)
        rate = RATE
    return (audio * (0.7 / max(float(np.abs(audio).max()), 1e-9))).astype(np.float32), rate
