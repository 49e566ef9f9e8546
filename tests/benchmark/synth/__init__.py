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
SAMPLED: dict[Family, tuple[tuple[str, int], ...]] = {
    "choir": (("fluid", 53), ("timgm", 52), ("timgm", 53)),
    "whistle": (("fluid", 78), ("timgm", 72), ("fluid", 72)),
    "recorder": (("fluid", 74), ("timgm", 74)),
    "flute": (("fluid", 73), ("timgm", 73)),
    "fiddle": (("fluid", 40), ("timgm", 110), ("timgm", 40)),
    "accordion": (("fluid", 21), ("fluid", 23)),
    "plucked": (("fluid", 24), ("timgm", 25), ("fluid", 25), ("timgm", 24)),
}
"""Sound font and General MIDI program (from 0) that stand for a family. Left out because their
truth is not known: FluidR3's choir aahs (they rise to a third of their level anywhere from 0 to
117 ms after the note begins), TimGM's whistle (a fifth of its notes off by two semitones) and
TimGM's accordions (reeds 45 to 70 cents low from G4 on); measured on a scale of single notes."""


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
    fonts = [Sound(family, font, program) for font, program in SAMPLED.get(family, ())]
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
