"""How sure a note is: the ear's belief turned into the share of such notes that are right.

Task   : raw notes with what was measured in them -> confidence, 0 to 1.
In     : the ear's own belief, how clear the pitch is, what else sounds.
Out    : array, shape (n_notes,): of notes given 0.9, nine in ten are right on renders like those
         that the table was fitted on.
Method : a logistic score whose weights were fitted per ear on development renders, right meaning
         onset within 50 ms and pitch within 50 cents of a true note (the definition of mir_eval's
         transcription metrics); weights and how they were made in models/hearing.
References: J. Platt, "Probabilistic outputs for support vector machines", 1999 (logistic
         calibration); C. Raffel et al., "mir_eval", ISMIR 2014 (what is right).
"""

from __future__ import annotations

import numpy as np

from models import read_json
from pipeline.hear.raw import RawNote

SEVERAL_FACTOR = 0.6


def calibrated(
    notes: list[RawNote], clarity: np.ndarray, foreign: np.ndarray, *, ear: str, several: bool
) -> np.ndarray:
    """Confidence per note; when several instruments play it is lowered on the whole."""
    weights = read_json("hearing/confidence.json")["weights"][ear]
    score = features(notes, clarity, foreign) @ np.array(weights)
    sure = 1.0 / (1.0 + np.exp(-score))
    return np.clip(sure * (SEVERAL_FACTOR if several else 1.0), 0.01, 0.995)


def features(notes: list[RawNote], clarity: np.ndarray, foreign: np.ndarray) -> np.ndarray:
    """Shape (n_notes, 6): constant, log odds of the belief, clarity, length, rest before, foreign.

    clarity : of the pitch, about 0 to 1; foreign : share of what sounds that is not the note
    """
    belief = np.clip([note.confidence for note in notes], 0.01, 0.99)
    onset_s = np.array([note.onset_s for note in notes])
    offset_s = np.array([note.offset_s for note in notes])
    rest_s = np.concatenate(([0.0], np.maximum(onset_s[1:] - offset_s[:-1], 0.0)))
    return np.stack(
        (
            np.ones(len(notes)),
            np.log(belief / (1.0 - belief)),
            np.clip(clarity, 0.0, 1.0),
            np.log(np.clip(offset_s - onset_s, 0.03, 0.3)),
            (rest_s > 0.02).astype(float),
            foreign,
        ),
        axis=1,
    )
