"""Talk beside a tune is known by how it differs from the tune; singers with words stay."""

import numpy as np

from liltwright.hear.clean.finepitch import NotePitch
from liltwright.hear.clean.talk import is_talk, talk_scores, talking
from liltwright.hear.ears.raw import RawNote


def row(count, start_s, midi, *, length_s=0.2):
    """Notes of one length on pitches around `midi`, one straight after another."""
    return [
        RawNote(start_s + i * length_s, start_s + (i + 0.9) * length_s, midi + i % 5)
        for i in range(count)
    ]


def measured(notes, gliding):
    """Clear steady notes; `gliding` ones move like syllables. Shares as measured on speech."""
    moves = np.array(gliding, dtype=bool)
    zeros = np.zeros(len(notes))
    return NotePitch(
        np.array([note.midi for note in notes]), np.where(moves, 0.85, 0.98),
        np.where(moves, 60.0, 4.0), np.where(moves, 500.0, 20.0), zeros, zeros,
    )  # fmt: skip


def test_a_few_words_before_a_tune():
    words, tune = row(4, 0.0, 45), row(60, 2.5, 74)
    notes = words + tune
    found = talking(notes, measured(notes, [True] * 4 + [False] * 60))
    assert found[:4].all()
    assert not found[4:].any()


def test_an_upbeat_before_a_breath_stays():
    notes = row(4, 0.0, 72) + row(60, 2.5, 74)
    assert not talking(notes, measured(notes, [False] * 64)).any()


def test_a_singer_who_glides_everywhere_stays():
    """Every third note is held; a third of the rest moves like speech."""
    notes = [
        RawNote(0.4 * i, 0.4 * i + (0.36 if i % 3 == 0 else 0.2), 55 + i % 5) for i in range(60)
    ]
    assert not talking(notes, measured(notes, [i % 3 == 1 for i in range(60)])).any()


def test_nothing_but_talk():
    notes = row(20, 0.0, 45, length_s=0.15)
    pitch = measured(notes, [True] * 20)
    assert is_talk(notes, talk_scores(notes, pitch))
    assert talking(notes, pitch).all()
