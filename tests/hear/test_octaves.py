"""Octave errors are put right by sound and by melody; true octave leaps stay."""

import numpy as np
import pytest

from liltwright.hear.clean.finepitch import measure_pitch
from liltwright.hear.clean.octaves import octave_shifts
from liltwright.hear.ears.raw import RawNote
from tests.hear.signals import RATE, STEP_S, TUNE, line, onsets


def shifts(pitches, errors, **sound):
    """Shifts found when note i of the line was first heard errors[i] semitones wrong."""
    samples = line(pitches, **sound)
    notes = [
        RawNote(t, t + STEP_S, p + e)
        for t, p, e in zip(onsets(pitches), pitches, errors, strict=True)
    ]
    found = measure_pitch(samples, RATE, notes)
    onset_s = np.array([note.onset_s for note in notes])
    return octave_shifts(onset_s, onset_s + STEP_S, found.midi, found)


@pytest.mark.parametrize("harmonics", [1, 2, 8])
def test_a_sound_line_is_left_alone(harmonics):
    assert not shifts(TUNE, np.zeros(len(TUNE)), harmonics=harmonics).any()


@pytest.mark.parametrize("harmonics", [1, 2, 8])
def test_scattered_errors_are_undone(harmonics):
    errors = np.zeros(len(TUNE), dtype=int)
    errors[[4, 11, 12, 25, 40]] = [12, -12, -12, 12, -12]
    np.testing.assert_array_equal(shifts(TUNE, errors, harmonics=harmonics), -errors)


def test_true_octave_leaps_stay():
    rocking = (62, 74, 62, 74, 64, 76, 64, 76, 66, 78, 66, 78, 62, 74, 62, 74)
    assert not shifts(rocking, np.zeros(len(rocking))).any()


def test_a_lower_octave_that_is_faint_is_not_the_pitch():
    """Overblown pipes keep a trace of the lower octave, here 18 dB down with all its harmonics."""
    sound = line(tuple(midi + 12 for midi in TUNE)) + 10 ** (-18 / 20) * line()
    notes = [
        RawNote(t, t + STEP_S, midi) for t, midi in zip(onsets(TUNE), TUNE, strict=True)
    ]  # all heard an octave low
    found = measure_pitch(sound, RATE, notes)
    onset_s = np.array([note.onset_s for note in notes])
    up = octave_shifts(onset_s, onset_s + STEP_S, found.midi, found)
    assert (up == 12).all()


def test_brief_notes_stay():
    """45 ms of noise say nothing about an octave, whatever was measured in them."""
    rng = np.random.default_rng(2)
    samples = line() + 0.0
    notes = []
    for onset, midi in zip(onsets(TUNE), TUNE, strict=True):
        a = round((onset + 0.1) * RATE)
        samples[a : a + round(0.045 * RATE)] = 0.1 * rng.standard_normal(round(0.045 * RATE))
        notes += [RawNote(onset, onset + 0.1, midi), RawNote(onset + 0.1, onset + 0.145, midi + 9)]
    found = measure_pitch(samples, RATE, notes)
    onset_s = np.array([note.onset_s for note in notes])
    offset_s = np.array([note.offset_s for note in notes])
    assert not octave_shifts(onset_s, offset_s, found.midi, found)[1::2].any()


def test_no_notes():
    empty = measure_pitch(np.zeros(RATE, dtype="f4"), RATE, [])
    assert len(octave_shifts(np.zeros(0), np.zeros(0), empty.midi, empty)) == 0
