"""Which notes are somebody talking.

Task   : notes with what was measured inside them -> talk or tune.
In     : RawNotes in order of onset, NotePitch.
Out    : bool per note.
Method : speech glides: inside a spoken syllable the pitch moves and wavers, a note stays. A
         logistic score per note (slope, spread, clarity, length; weights in models/hearing) goes
         through a two-state best path over all notes, tune or talk, where changing is cheap only
         at a rest. Where that finds nothing, blocks of notes before and after the tune are compared
         with the tune itself. In doubt a note stays: losing a bar of the tune is worse than a word
         too many.
References: speech against song by pitch stability: D. Gerhard, "Pitch-based acoustic feature
         analysis for the discrimination of speech and monophonic singing", 2002; best path:
         G. D. Forney, Proc. IEEE 61, 1973.
"""

from __future__ import annotations

import numpy as np

from liltwright.hear.clean.finepitch import NotePitch
from liltwright.hear.ears.raw import RawNote
from liltwright.models import read_json

REST_S = 0.45  # a rest so long lets the voice become another: price of a change falls until then
PLAINLY_TUNE, AGAINST, AGAINST_WORDS = -2.0, 0.5, 2.5
"""Log odds against talk before a note is looked at: more where the notes on the whole might be
those of a singer with words, less where most of them plainly are no speech."""
HELD_S, HELD_NOTES, GLIDING = 0.3, 5, 1.0
"""Seconds of the longest notes, how many of them, and log odds from which on all is talk."""
PAUSE_S, AWAY_SEMITONES = 0.7, 10.0
"""Rest that parts blocks, and how far from the tune one must lie to be talk."""
TALK_FAR, TALK_NEAR = (-0.5, 1.0), (0.5, 2.5)
"""Least score of talk beside a tune, and by how much it exceeds the tune's; far from the tune's
pitches and near them."""


def talking(notes: list[RawNote], measured: NotePitch) -> np.ndarray:
    """Notes that are talk, bool, shape (n_notes,)."""
    scores = talk_scores(notes, measured)
    found = _best_path(notes, scores)
    return found if found.any() else _talk_around(notes, scores)


def talk_scores(notes: list[RawNote], measured: NotePitch) -> np.ndarray:
    """Log odds of talk against tune per note, shape (n_notes,)."""
    weights = read_json("hearing/talk.json")["weights"]
    length_s = np.array([note.offset_s - note.onset_s for note in notes])
    return (
        weights["constant"]
        + weights["log_slope"] * np.log(np.abs(measured.slope_cents_per_s) + 40.0)
        + weights["log_spread"] * np.log(measured.spread_cents + 3.0)
        + weights["clarity"] * np.maximum(measured.clarity, 0.0)
        + weights["log_length"] * np.log(np.clip(length_s, 0.05, 0.6))
    )


def is_talk(notes: list[RawNote], scores: np.ndarray) -> bool:
    """Whether all notes glide like speech and hardly any is held as singers hold notes."""
    length_s = np.array([note.offset_s - note.onset_s for note in notes])
    held = np.sort(length_s)[-HELD_NOTES:].min() >= HELD_S
    return not held and float(np.average(scores, weights=length_s)) > GLIDING


def _best_path(notes: list[RawNote], scores: np.ndarray) -> np.ndarray:
    """Best path over tune (0) and talk (1); bool, shape (n_notes,)."""
    if is_talk(notes, scores):
        return np.ones(len(notes), dtype=bool)
    against = AGAINST if float(np.median(scores)) < PLAINLY_TUNE else AGAINST_WORDS
    scores = np.clip(scores - against, -2.0, 2.0)
    total = np.array([0.0, 1.0])
    came_from = np.zeros((len(notes), 2), dtype=int)
    for i, odds in enumerate(scores):
        if i:
            rest_s = notes[i].onset_s - notes[i - 1].offset_s
            change = 7.0 - 4.5 * min(max(rest_s, 0.0) / REST_S, 1.0)
            came_from[i] = (
                int(total[1] + change < total[0]),
                int(total[1] <= total[0] + change),
            )
            total = np.minimum(total, total[::-1] + change)
        total = total + np.array([max(odds, 0.0), max(-odds, 0.0)])
    path = np.zeros(len(notes), dtype=bool)
    state = int(np.argmin(total))
    for i in range(len(notes) - 1, -1, -1):
        path[i] = bool(state)
        state = int(came_from[i, state])
    return path


def _talk_around(notes: list[RawNote], scores: np.ndarray) -> np.ndarray:
    """Blocks of notes before or after the tune that are more like talk than it is, bool per note.

    Nothing is held in them, and they lie far from the pitches of the tune or glide outright.
    """
    onset_s = np.array([note.onset_s for note in notes])
    length_s = np.array([note.offset_s for note in notes]) - onset_s
    midi = np.array([note.midi for note in notes])
    starts = 1 + np.flatnonzero(onset_s[1:] - (onset_s + length_s)[:-1] > PAUSE_S)
    blocks = np.split(np.arange(len(notes)), starts)
    main = max(range(len(blocks)), key=lambda k: len(blocks[k]))
    tune = blocks[main]
    found = np.zeros(len(notes), dtype=bool)

    def is_talk_like(block: np.ndarray) -> bool:
        score = float(np.average(scores[block], weights=length_s[block]))
        away = abs(float(np.median(midi[block]) - np.median(midi[tune]))) > AWAY_SEMITONES
        least, more = TALK_FAR if away else TALK_NEAR
        odd = score > least and score - float(np.median(scores[tune])) > more
        return odd and len(block) < 0.25 * len(notes) and float(length_s[block].max()) < HELD_S

    for row in (blocks[:main], blocks[:main:-1]):
        for block in row:
            if not is_talk_like(block):
                break
            found[block] = True
    return found
