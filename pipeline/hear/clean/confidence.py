"""How sure a note is: the ear's belief turned into the share of such notes that are right.

Task   : raw notes with what was measured in them -> confidence, 0 to 1.
In     : the ear's own belief, in how many readings of the recording the note begins there, how
         clear and how steady the pitch is, what else sounds.
Out    : array, shape (n_notes,): of notes given 0.9, nine in ten are right on renders like those
         that the table was fitted on.
Method : a logistic score whose weights were fitted per ear on development renders, right meaning
         onset within 50 ms and pitch within 50 cents of a true note (the definition of mir_eval's
         transcription metrics); weights and how they were made in models/hearing. Of real singers
         our own ear is too sure: their scores are drawn together by two numbers that were chosen
         on recordings of such.
References: J. Platt, "Probabilistic outputs for support vector machines", 1999 (logistic
         calibration); C. Raffel et al., "mir_eval", ISMIR 2014 (what is right).
"""

from __future__ import annotations

import numpy as np

from liltwright.hear.ears.raw import RawNote
from liltwright.models import read_json

BAND = "band"  # the own ear where it follows the lead of a band
SEVERAL_FACTOR = 0.6  # how much less a note is believed where something else sounds


def calibrated(
    notes: list[RawNote],
    clarity: np.ndarray,
    spread_cents: np.ndarray,
    foreign: np.ndarray,
    *,
    ear: str,
    several: bool,
    voice: float = 0.0,
) -> np.ndarray:
    """Confidence per note; when several instruments play it is lowered on the whole.

    ear   : a name of options.Ear, or BAND
    voice : as of attack.voice_share; singers are less sure than instruments of one score
    """
    table = read_json("hearing/confidence.json")
    score = features(notes, clarity, spread_cents, foreign) @ np.array(table["weights"][ear])
    if ear == "own":
        slope, constant = table["sung"]
        score = score + voice * (slope * score + constant - score)
    sure = 1.0 / (1.0 + np.exp(-score))
    return np.clip(sure * (SEVERAL_FACTOR if several else 1.0), 0.01, 0.995)


def features(
    notes: list[RawNote], clarity: np.ndarray, spread_cents: np.ndarray, foreign: np.ndarray
) -> np.ndarray:
    """Shape (n_notes, 9): constant, log odds of the belief, clarity, length, rest before, foreign,
    log odds of the share of readings, the same over all notes, spread of the pitch.

    clarity : of the pitch, about 0 to 1; foreign : share of what sounds that is not the note
    """
    onset_s = np.array([note.onset_s for note in notes])
    offset_s = np.array([note.offset_s for note in notes])
    rest_s = np.concatenate(([0.0], np.maximum(onset_s[1:] - offset_s[:-1], 0.0)))
    readings = _log_odds([note.readings for note in notes])
    return np.stack(
        (
            np.ones(len(notes)),
            _log_odds([note.confidence for note in notes]),
            np.clip(clarity, 0.0, 1.0),
            np.log(np.clip(offset_s - onset_s, 0.03, 0.3)),
            (rest_s > 0.02).astype(float),
            foreign,
            readings,
            np.full(len(notes), readings.mean() if len(notes) else 0.0),
            np.clip(spread_cents, 0.0, 80.0) / 50.0,
        ),
        axis=1,
    )


def _log_odds(share: list[float]) -> np.ndarray:
    """Of shares kept between 1 and 99 %."""
    kept = np.clip(share, 0.01, 0.99)
    return np.log(kept / (1.0 - kept))
