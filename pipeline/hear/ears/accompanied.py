"""Whether a recording is that of a band: a lead with an accompaniment.

Task   : which ear to listen with.
In     : Audio.
Out    : True where the band's ear shall listen.
Method : first a glance: both ears listen to some seconds in the middle, the band's only where
         something foreign sounds at the notes of the other. Where they plainly disagree, or very
         much sounds that is not the band's line, it is a band. Otherwise the solo ear listens at
         another place too: where hardly anything foreign sounds at its notes one player plays
         alone. Elsewhere the band's ear listens at the same place, and both are judged anew.
         Where both ears agree, either will do. What is heard for this need not be worked through
         again. Thresholds chosen on development mixtures, development renders of one player and
         real singers (models/band/CARD.md).
References: agreement of two transcriptions as F1 of notes: mir_eval.transcription's definition.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from liltwright.hear.audio.recording import Audio
from liltwright.hear.clean.several import foreign_shares
from liltwright.hear.ears.decode import decode
from liltwright.hear.ears.network import BAND, SOLO, Evidence, Known, evidence_inside
from liltwright.hear.ears.one_octave import one_octave
from liltwright.hear.ears.raw import RawNote

ELSEWHERE = 0.8  # of what sounds: where to listen besides the middle
CUT_S = 10.0  # seconds to listen to beyond the first piece of a long recording
HARDLY = 0.04
"""Upper quartile of the foreign shares, of the solo ear's notes, up to which nothing is asked."""
PLAINLY = ((0.08, 0.75), (0.13, 0.89), (0.2, 0.985), (0.25, 1.1))
"""A glance is enough where the median of the foreign shares at the band's line is above the first,
and the agreement of the ears below the second of a pair."""
ALTOGETHER = ((0.0, 0.62), (0.03, 0.84), (0.09, 0.9), (0.13, 0.985), (0.2, 1.1))
"""The same of all places. Singers and renders of one player keep a distance from both; an
agreement is never above 1."""
ONSET_S, SEMITONES = 0.06, 0.6  # seconds and semitones within which two ears heard the same note
FEWEST = 20  # notes a place; fewer tell nothing: the slowest singers have 12, slow waltzes 30


@dataclass(frozen=True)
class Spot:
    """What both ears hear in the piece with one moment in it, found out when it is asked for.

    samples : float32, the first piece of the recording, or a cut of it
    known   : what the ears made of these samples is put here
    """

    samples: np.ndarray
    sample_rate: int
    at_s: float | None
    known: Known

    @cached_property
    def solo(self) -> list[RawNote]:
        """Notes of the solo ear."""
        beliefs, start_s = self._listened(SOLO)
        return _later(decode(beliefs), start_s)

    @cached_property
    def lead(self) -> list[RawNote]:
        """Notes of the band's ear."""
        beliefs, start_s = self._listened(BAND)
        return _later(one_octave(decode(beliefs), beliefs), start_s)

    @cached_property
    def foreign(self) -> np.ndarray:
        """Share of what sounds at the solo ear's notes that is not theirs."""
        return foreign_shares(self.samples, self.sample_rate, self.solo)

    @cached_property
    def beside(self) -> np.ndarray:
        """The same at the lead's notes."""
        return foreign_shares(self.samples, self.sample_rate, self.lead)

    def _listened(self, model: str) -> tuple[Evidence, float]:
        return evidence_inside(self.samples, model=model, known=self.known, at_s=self.at_s)


def lead_in_the_middle(samples: np.ndarray, sample_rate: int, known: Known) -> list[RawNote]:
    """The lead of some seconds in the middle of these samples."""
    return Spot(samples, sample_rate, None, known).lead


def is_accompanied(audio: Audio, first: np.ndarray, known: Known) -> bool:
    """Whether the band's ear shall listen to this recording.

    first : float32, shape (n,), the first piece of the recording (by_name.first_piece)
    known : what the ears made of parts of it is put here
    """
    from_s, to_s = _sounding(audio)
    glance = _place(audio, first, (from_s + to_s) / 2, known)
    if is_plain(glance):
        return True
    places = [glance, _place(audio, first, from_s + ELSEWHERE * (to_s - from_s), known)]
    foreign = np.concatenate([place.foreign for place in places])
    fewest = FEWEST * len(places)
    if len(foreign) < fewest or float(np.quantile(foreign, 0.75)) <= HARDLY:
        return False
    shares = np.concatenate([place.beside for place in places])
    if len(shares) < fewest:
        return False
    alike = agreement([place.solo for place in places], [place.lead for place in places])
    return _is_band(float(np.median(shares)), alike, ALTOGETHER)


def is_plain(place: Spot) -> bool:
    """Whether one place says that this is a band; False: not yet known."""
    if len(place.solo) < FEWEST or float(np.quantile(place.foreign, 0.75)) <= HARDLY:
        return False
    if len(place.lead) < FEWEST:
        return False
    alike = agreement([place.solo], [place.lead])
    return _is_band(float(np.median(place.beside)), alike, PLAINLY)


def _is_band(beside: float, alike: float, pairs: tuple[tuple[float, float], ...]) -> bool:
    return any(beside >= least and alike < most for least, most in pairs)


def _place(audio: Audio, first: np.ndarray, at_s: float, known: Known) -> Spot:
    """In the first piece, or in a cut of a longer recording."""
    rate = audio.sample_rate
    if at_s * rate < len(first):
        return Spot(first, rate, at_s, known)
    start = round((at_s - CUT_S / 2) * rate)
    return Spot(audio.samples[start : start + round(CUT_S * rate)], rate, None, {})


def _sounding(audio: Audio) -> tuple[float, float]:
    """Where the recording is not silent through and through, as outside --from and --to."""
    sounds = np.flatnonzero(audio.samples)
    if not len(sounds):
        return 0.0, audio.duration_s
    return float(sounds[0]) / audio.sample_rate, float(sounds[-1] + 1) / audio.sample_rate


def _later(notes: list[RawNote], by_s: float) -> list[RawNote]:
    return [
        replace(note, onset_s=note.onset_s + by_s, offset_s=note.offset_s + by_s) for note in notes
    ]


def agreement(one: list[list[RawNote]], other: list[list[RawNote]]) -> float:
    """F1 of what two ears heard, 0 to 1; lists of notes, one list a place."""
    total = sum(len(notes) for notes in (*one, *other))
    if not total:
        return 0.0
    return 2 * sum(_pairs(a, b) for a, b in zip(one, other, strict=True)) / total


def _pairs(one: list[RawNote], other: list[RawNote]) -> int:
    free = [True] * len(other)
    pairs = 0
    for note in one:
        for k, like in enumerate(other):
            near = abs(note.onset_s - like.onset_s) < ONSET_S
            if free[k] and near and abs(note.midi - like.midi) < SEMITONES:
                free[k] = False
                pairs += 1
                break
    return pairs
