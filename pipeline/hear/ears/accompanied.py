"""Whether a recording is that of a band: a lead with an accompaniment.

Task   : which ear to listen with.
In     : Audio, what the solo ear heard, the share of foreign sound at each of its notes.
Out    : True where the band's ear shall listen.
Method : first a glance: both ears listen to the middle (network.MIDDLE), the band's only where
         something foreign sounds at the notes of the other. Where they plainly disagree, or very
         much sounds that is not the band's line, it is a band, and the solo ear need not hear the
         rest. Otherwise that ear hears everything. Where hardly anything foreign sounds at its
         notes one player plays alone. Elsewhere the band's ear listens to a stretch in the middle,
         to two of a long recording: it is a band where both ears disagree and much sounds that is
         not its line, or where very much does. Where both ears agree, either will do. Thresholds
         chosen on development mixtures and development renders of one player
         (models/band/CARD.md).
References: agreement of two transcriptions as F1 of notes: mir_eval.transcription's definition.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from liltwright.hear.audio.recording import Audio
from liltwright.hear.clean.several import foreign_shares
from liltwright.hear.ears.band import band_notes, one_octave
from liltwright.hear.ears.decode import decode
from liltwright.hear.ears.network import BAND, SOLO, Known, evidence_inside
from liltwright.hear.ears.raw import RawNote
from liltwright.tune import Heard

STRETCH_S, LONG_S = 20.0, 60.0
"""Seconds listened to at each place, and from which length on at two places."""
HARDLY = 0.04
"""Upper quartile of the foreign shares, of the solo ear's notes, up to which nothing is asked."""
AGREE, MUCH, VERY_MUCH = 0.92, 0.035, 0.13
"""Agreement below which the ears disagree; medians of the foreign shares at the band's line."""
PLAINLY = ((MUCH, 0.8), (0.13, 0.89), (0.2, 1.1))
"""A glance is enough where more than so much is foreign and the ears agree less than this: singers
and renders of one player keep a distance from it, one singer of 47 a small one (0.143, 0.909)."""
ONSET_S, SEMITONES = 0.06, 0.6  # seconds and semitones within which two ears heard the same note
FEWEST = 4  # notes; fewer tell nothing


def is_plainly_accompanied(samples: np.ndarray, sample_rate: int, known: Known) -> bool:
    """Whether a glance at the middle says that this is a band; False: not yet known.

    samples : float32, shape (n,), the first piece of the recording (by_name.first_piece)
    known   : what the ears made of the middle is put here
    """
    beliefs, start_s = evidence_inside(samples, model=SOLO, known=known)
    solo = decode(beliefs)
    here = samples[round(start_s * sample_rate) :]
    if len(solo) < FEWEST:
        return False
    if float(np.quantile(foreign_shares(here, sample_rate, solo), 0.75)) <= HARDLY:
        return False
    line = lead_in_the_middle(samples, known, start_s=start_s)
    if len(line) < FEWEST:
        return False
    beside = float(np.median(foreign_shares(here, sample_rate, line)))
    heard = [(note.onset_s, note.midi) for note in solo]
    alike = agreement(heard, line)
    return any(beside > much and alike < unlike for much, unlike in PLAINLY)


def lead_in_the_middle(samples: np.ndarray, known: Known, *, start_s: float = 0.0) -> list[RawNote]:
    """The lead of some seconds in the middle, times counted from `start_s`; see above."""
    beliefs, first_s = evidence_inside(samples, model=BAND, known=known)
    return [
        replace(
            note,
            onset_s=note.onset_s + first_s - start_s,
            offset_s=note.offset_s + first_s - start_s,
        )
        for note in one_octave(decode(beliefs), beliefs)
    ]


def is_accompanied(audio: Audio, heard: Heard, foreign: np.ndarray) -> bool:
    """Whether the band's ear shall listen to this recording."""
    if len(foreign) < FEWEST or float(np.quantile(foreign, 0.75)) <= HARDLY:
        return False
    cents = heard.tuning_offset_cents
    shares, line, solo = np.zeros(0), list[RawNote](), list[tuple[float, float]]()
    for start_s, stop_s in stretches(*_sounding(audio)):
        rate = audio.sample_rate
        part = audio.samples[round(start_s * rate) : round(stop_s * rate)]
        found = band_notes(part)
        shares = np.append(shares, foreign_shares(part, rate, found))
        line += [
            replace(one, onset_s=one.onset_s + start_s, offset_s=one.offset_s + start_s)
            for one in found
        ]
        solo += [
            (note.onset_s, note.midi + cents / 100)
            for note in heard.notes
            if start_s <= note.onset_s < stop_s
        ]
    if len(line) < FEWEST:
        return False
    beside = float(np.median(shares))
    if beside > VERY_MUCH or beside <= MUCH:
        return beside > VERY_MUCH
    return agreement(solo, line) < AGREE


def stretches(from_s: float, to_s: float) -> tuple[tuple[float, float], ...]:
    """Where to listen with the band's ear: in the middle, of long recordings at two places."""
    length_s = to_s - from_s
    places = (0.5,) if length_s <= LONG_S else (0.25, 0.75)
    starts = [max(from_s, from_s + place * length_s - STRETCH_S / 2) for place in places]
    return tuple((start, min(to_s, start + STRETCH_S)) for start in starts)


def _sounding(audio: Audio) -> tuple[float, float]:
    """Where the recording is not silent through and through, as outside --from and --to."""
    sounds = np.flatnonzero(audio.samples)
    if not len(sounds):
        return 0.0, audio.duration_s
    return float(sounds[0]) / audio.sample_rate, float(sounds[-1] + 1) / audio.sample_rate


def agreement(one: list[tuple[float, float]], other: list[RawNote]) -> float:
    """F1 of two lists of notes, (onset in seconds, MIDI pitch) and RawNotes, 0 to 1."""
    if not one or not other:
        return 0.0
    free = [True] * len(other)
    pairs = 0
    for onset_s, midi in one:
        for k, note in enumerate(other):
            if (
                free[k]
                and abs(note.onset_s - onset_s) < ONSET_S
                and abs(note.midi - midi) < SEMITONES
            ):
                free[k] = False
                pairs += 1
                break
    return 2 * pairs / (len(one) + len(other))
