"""How each family of instruments plays: range, ornaments, articulation, timing, intonation.

A data table for performer.py. Numbers are common practice unless said otherwise; they were
chosen before any of the program's figures were seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Family = Literal[
    "hum", "lilt", "choir", "lips", "whistle", "recorder", "flute", "fiddle", "accordion",
    "pipes", "plucked",
]  # fmt: skip
VOICES: tuple[Family, ...] = ("hum", "lilt", "choir", "lips")


@dataclass(frozen=True, slots=True)
class Manner:
    """How a family plays. Probabilities are per note that could carry the thing."""

    low: int
    """Lowest sounding MIDI note."""
    high: int
    octaves: tuple[int, ...]
    """Octaves above the written tune that are usual, the best first."""
    any_key: bool = False
    """Singers take any pitch; instruments keep the printed key nine times in ten."""
    tempo: tuple[float, float] = (0.85, 1.0)
    """Range of the tempo against the usual one of the type."""
    cut: float = 0.0
    tap: float = 0.0
    roll: float = 0.0
    treble: float = 0.0
    grace: float = 0.0
    slide: float = 0.0
    slur: float = 0.0
    """Share of notes joined to the one before without a new tongue, bow stroke or pluck."""
    gap: tuple[float, float] = (0.05, 0.2)
    """Silence at the end of a detached note, as a share of it."""
    ring: bool = False
    """Notes ring on to the next one whatever the articulation (plucked strings)."""
    breath: bool = False
    jitter_s: float = 0.010
    spread_cents: float = 4.0
    """Standard deviation of the intonation of single notes."""
    drift_cents: float = 0.0
    """Standard deviation of the slow drift over a minute."""
    offset_cents: float = 12.0
    """Standard deviation of the concert pitch of the recording."""


MANNERS: dict[Family, Manner] = {
    "hum": Manner(
        43, 74, (-1, -2), any_key=True, tempo=(0.65, 0.95), grace=0.02, slur=0.15,
        gap=(0.05, 0.25), breath=True, jitter_s=0.014, spread_cents=14, drift_cents=14,
        offset_cents=25,
    ),
    "lilt": Manner(
        43, 76, (-1, -2), any_key=True, tempo=(0.75, 1.0), treble=0.04, slur=0.05,
        gap=(0.08, 0.3), breath=True, jitter_s=0.013, spread_cents=16, drift_cents=14,
        offset_cents=25,
    ),
    "choir": Manner(
        43, 77, (-1, 0, -2), any_key=True, tempo=(0.6, 0.85), slur=0.45, gap=(0.02, 0.12),
        breath=True, jitter_s=0.014, spread_cents=10, drift_cents=10, offset_cents=20,
    ),
    "lips": Manner(
        70, 103, (1, 2), any_key=True, tempo=(0.65, 0.95), grace=0.03, slide=0.02, slur=0.35,
        gap=(0.05, 0.25), breath=True, jitter_s=0.012, spread_cents=12, drift_cents=12,
        offset_cents=25,
    ),
    "whistle": Manner(
        74, 98, (1,), cut=0.12, tap=0.04, roll=0.4, slide=0.02, slur=0.6, gap=(0.05, 0.2),
        breath=True, spread_cents=6,
    ),
    "recorder": Manner(
        65, 101, (1,), cut=0.03, grace=0.02, slur=0.25, gap=(0.08, 0.3), breath=True,
        tempo=(0.75, 1.0), spread_cents=6,
    ),
    "flute": Manner(
        60, 91, (0,), cut=0.12, tap=0.04, roll=0.4, slide=0.02, slur=0.6, gap=(0.04, 0.15),
        breath=True, spread_cents=6,
    ),
    "fiddle": Manner(
        55, 93, (0,), cut=0.07, roll=0.25, treble=0.12, slide=0.03, slur=0.4, gap=(0.0, 0.06),
        spread_cents=7,
    ),
    "accordion": Manner(
        55, 93, (0,), cut=0.06, roll=0.12, treble=0.15, grace=0.04, slur=0.3, gap=(0.03, 0.15),
        spread_cents=2, offset_cents=6,
    ),
    "pipes": Manner(
        62, 86, (0,), cut=0.12, tap=0.04, roll=0.35, slur=0.6, gap=(0.02, 0.12), spread_cents=6,
    ),
    "plucked": Manner(
        40, 84, (-1, 0), cut=0.04, treble=0.06, slide=0.01, slur=0.12, ring=True,
        tempo=(0.6, 0.95), spread_cents=3, offset_cents=10,
    ),
}  # fmt: skip
