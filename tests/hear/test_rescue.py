"""A singer with words whom our own ear leaves holes in; talk that it rightly leaves out."""

import numpy as np
import pytest

from liltwright.hear.audio.events import find_events
from liltwright.hear.clean.rescue import fill_in
from liltwright.hear.ears.raw import RawNote
from tests.hear.signals import RATE, STEP_S, TUNE, audio, line, onsets, tone


def sung(missing):
    """The closed-form tune, and its true notes without those at the places `missing`."""
    recording = audio(line())
    notes = [
        RawNote(t, t + STEP_S - 0.01, float(midi), 0.8)
        for i, (t, midi) in enumerate(zip(onsets(), TUNE, strict=True))
        if i not in missing
    ]
    return recording, notes


def filled(recording, notes):
    return fill_in(notes, recording, find_events(recording.samples, RATE))


def test_nothing_to_fill():
    recording, notes = sung(missing=())
    assert filled(recording, notes) == notes


def test_one_missing_note_is_not_worth_a_second_listening():
    recording, notes = sung(missing=(20,))
    assert filled(recording, notes) == notes


def test_missing_syllables_are_filled_in_with_less_confidence():
    missing = (5, 9, 10, 16, 21, 27, 28, 33, 40)
    recording, notes = sung(missing)
    fresh = [note for note in filled(recording, notes) if note not in notes]
    true_s = onsets()[list(missing)]
    found = [min(abs(note.onset_s - t) for note in fresh) < 0.06 for t in true_s]
    assert np.mean(found) > 0.7
    assert all(note.confidence < 0.65 for note in fresh)


def test_gliding_talk_with_a_stray_vowel_is_no_tune():
    """Six seconds of voice that never rests on a pitch; the ear took three vowels for notes."""
    time_s = np.arange(6 * RATE) / RATE
    gliding = 48 + 4 * np.sin(2 * np.pi * 0.7 * time_s) + np.sin(2 * np.pi * 1.9 * time_s)
    recording = audio((0.3 * tone(gliding, 6.0)).astype("f4"))
    stray = [RawNote(t, t + 0.1, 48.0, 0.5) for t in (1.0, 2.5, 4.0)]
    assert filled(recording, stray) == []


@pytest.mark.parametrize("where", ["before", "after"])
def test_talk_outside_the_tune_is_not_filled_in(where):
    time_s = np.arange(4 * RATE) / RATE
    talk = 0.3 * tone(50 + 6 * np.sin(2 * np.pi * 2.1 * time_s), 4.0)
    rest = np.zeros(RATE // 2)
    parts = [talk, rest, line()] if where == "before" else [line(), rest, talk]
    recording = audio(np.concatenate(parts).astype("f4"))
    shift = 4.5 if where == "before" else 0.0
    notes = [
        RawNote(t + shift, t + shift + STEP_S - 0.01, float(midi), 0.8)
        for t, midi in zip(onsets(), TUNE, strict=True)
    ]
    assert filled(recording, notes) == notes
