"""Whether a recording is that of a band: a lead with an accompaniment.

Task   : which ear to listen with.
In     : Audio, what the solo ear heard, the share of foreign sound at each of its notes.
Out    : True where the band's ear shall listen.
Method : where hardly anything foreign sounds at the notes one player plays alone. Elsewhere the
         band's ear listens to a stretch in the middle: it is a band where both ears disagree and
         much sounds that is not its line, or where very much does. Where both ears agree, either
         will do. Thresholds chosen on 24 development mixtures and 55 development renders of one
         player (models/band/CARD.md).
References: agreement of two transcriptions as F1 of notes: mir_eval.transcription's definition.
"""

from __future__ import annotations

import numpy as np

from liltwright.hear.audio import Audio
from liltwright.hear.band import band_notes
from liltwright.hear.raw import RawNote
from liltwright.hear.several import foreign_shares
from liltwright.tune import Heard

STRETCH_S = 20.0
HARDLY = 0.04
"""Upper quartile of the foreign shares, of the solo ear's notes, up to which nothing is asked."""
AGREE, MUCH, VERY_MUCH = 0.92, 0.035, 0.13
"""Agreement below which the ears disagree; medians of the foreign shares at the band's line."""
ONSET_S, SEMITONES = 0.06, 0.6
FEWEST = 4


def is_accompanied(audio: Audio, heard: Heard, foreign: np.ndarray) -> bool:
    """Whether the band's ear shall listen to this recording."""
    if len(foreign) < FEWEST or float(np.quantile(foreign, 0.75)) <= HARDLY:
        return False
    start_s = max(0.0, (audio.duration_s - STRETCH_S) / 2)
    stop_s = min(audio.duration_s, start_s + STRETCH_S)
    rate = audio.sample_rate
    part = audio.samples[round(start_s * rate) : round(stop_s * rate)]
    line = band_notes(part)
    if len(line) < FEWEST:
        return False
    shares = foreign_shares(part, rate, line)
    beside = float(np.median(shares))
    if beside > VERY_MUCH or beside <= MUCH:
        return beside > VERY_MUCH
    cents = heard.tuning_offset_cents
    solo = [
        (note.onset_s - start_s, note.midi + cents / 100)
        for note in heard.notes
        if start_s <= note.onset_s < stop_s
    ]
    return agreement(solo, line) < AGREE


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
