"""One clip of a band: the lead, what accompanies it, and how loud that is.

In     : seed.
Out    : Pair of clips, the same for the same seed.
Method : a random piece; a lead that comes in late, stops early or is missing now and then; an
         accompaniment of one to three parts by a sound font or by lanes. One clip of six is one
         player alone, by models.ear.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liltwright.models.band.backing import parts
from liltwright.models.band.lead import lead
from liltwright.models.band.sound import Band, drums, lanes
from liltwright.models.band.tunes import Piece, piece
from liltwright.models.ear.company import babble, clatter, foot, talk
from liltwright.models.ear.curves import CLIP_S, CONTROLS, TIMES, Clip
from liltwright.models.ear.sampled import sampled
from liltwright.models.ear.scenes import scene

ALONE = 0.17


@dataclass(frozen=True, slots=True)
class Pair:
    """Lead with labels, accompaniment without, and how far that lies below the lead in dB."""

    lead: Clip
    backing: Clip
    below_db: float
    """NaN where one of them is empty."""


def pair(rng: np.random.Generator, band: Band) -> Pair:
    """A random clip of a band."""
    if rng.random() < ALONE:
        alone = sampled(rng, band) if rng.random() < 0.25 else scene(rng)
        return Pair(alone, Clip(), float("nan"))
    what = piece(rng, int(rng.integers(57, 70)), int(rng.integers(12, 22)))
    cents = float(rng.uniform(-50, 50)) if rng.random() < 0.7 else 0.0
    leading, backing = Clip(family="band"), Clip()
    kind = rng.random()
    start_s, stop_s = 0.0, CLIP_S
    if kind < 0.14:
        start_s = rng.uniform(0.5, 4.5)
    elif kind < 0.2:
        stop_s = rng.uniform(1.5, CLIP_S - 0.5)
    if kind < 0.96:
        lead(rng, leading, what, band, cents, start_s, stop_s)
    _back(rng, backing, what, band, cents)
    if 0.2 < kind < 0.26:
        _join(rng, backing)
    return Pair(leading, backing, float(rng.uniform(-4, 13)))


def _back(rng: np.random.Generator, clip: Clip, what: Piece, band: Band, cents: float) -> None:
    found = parts(rng, what)
    played = [one for one in found if rng.random() < 0.55]
    if played:
        audio = band.together(rng, played, cents)
        level = float(np.sqrt(np.mean(audio**2)))
        clip.audio = audio / max(3 * level, 1e-3)
    for one in found:
        if one in played:
            continue
        if one.kind == "drum":
            drums(rng, clip, one.strikes, one.gain)
        else:
            lanes(rng, clip, one, cents + rng.normal(0, 4))
    if rng.random() < 0.08:
        foot(rng, clip)
    if rng.random() < 0.05:
        babble(rng, clip)
    if rng.random() < 0.04:
        clatter(rng, clip)
    if rng.random() < 0.03:
        talk(rng, clip, rng.uniform(0, 3), CLIP_S, 6.0)


def _join(rng: np.random.Generator, clip: Clip) -> None:
    """The accompaniment comes in, or leaves, inside the clip."""
    at = rng.uniform(0.5, CLIP_S - 0.5)
    inside = (at < TIMES) if rng.random() < 0.7 else (at > TIMES)
    for lane in clip.lanes:
        lane.level *= inside
    for noise in clip.noises:
        noise.level *= inside
    if clip.audio is not None:
        step = len(clip.audio) // CONTROLS
        clip.audio = clip.audio * np.repeat(inside, step)[: len(clip.audio)].astype(np.float32)
