"""The fine pitch of a note whose rough pitch is known, against closed-form sounds.

The goal for exact-truth tones is a median error of at most 3 cents.
"""

import librosa
import numpy as np
import pytest

from liltwright.hear.clean.finepitch import measure_pitch, settled_pitch
from liltwright.hear.ears.raw import RawNote
from tests.hear.signals import RATE, struck, tone

PITCHES = np.arange(40.0, 103.0, 2.37)
LEAD = np.zeros(2000)
LEAD_S = len(LEAD) / RATE


def measured(samples, rough_midi, seconds):
    """What is measured in one note that stands after LEAD."""
    recording = np.concatenate([LEAD, samples, LEAD]).astype("f4")
    note = RawNote(LEAD_S, LEAD_S + seconds, rough_midi)
    return measure_pitch(recording, RATE, [note])


@pytest.mark.parametrize("harmonics", [1, 3, 12])
@pytest.mark.parametrize("rough_error", [-0.5, 0.0, 0.45])
def test_tones_are_measured_to_a_cent(harmonics, rough_error):
    errors = [
        100 * (measured(tone(p, 0.18, harmonics=harmonics), p + rough_error, 0.18).midi[0] - p)
        for p in PITCHES
    ]
    assert np.median(np.abs(errors)) < 0.5
    assert np.max(np.abs(errors)) < 1.5


def test_in_noise_at_12_db():
    noise = np.random.default_rng(0)
    errors = []
    for p in PITCHES:
        clean = tone(p, 0.18)
        hiss = noise.standard_normal(len(clean)) * clean.std() * 10 ** (-12 / 20)
        errors.append(100 * (measured(clean + hiss, p + 0.3, 0.18).midi[0] - p))
    assert np.median(np.abs(errors)) < 1.0
    assert np.max(np.abs(errors)) < 8.0  # the lowest notes have only 15 periods


def test_vibrato_is_heard_as_its_middle():
    """5.5 Hz, +-40 cents, half a second: the mean of the curve is the pitch."""
    time_s = np.arange(RATE // 2) / RATE
    for p in PITCHES[::3]:
        wavering = tone(p + 0.4 * np.sin(2 * np.pi * 5.5 * time_s), 0.5)
        found = measured(wavering, p + 0.2, 0.5)
        assert abs(found.midi[0] - p) < 0.12
        assert 15 < found.spread_cents[0] < 40


def test_a_scoop_does_not_pull_the_note_down():
    """Half a semitone up within the first 60 ms of 300."""
    time_s = np.arange(round(0.3 * RATE)) / RATE
    curve = 64.0 - 0.5 * np.clip(1 - time_s / 0.06, 0, 1)
    assert measured(tone(curve, 0.3), 63.9, 0.3).midi[0] == pytest.approx(64.0, abs=0.03)


def test_a_glide_has_a_slope_and_a_note_has_none():
    time_s = np.arange(round(0.2 * RATE)) / RATE
    glide = measured(tone(60.0 + 8.0 * (time_s - 0.1), 0.2), 60.0, 0.2)
    assert glide.slope_cents_per_s[0] == pytest.approx(800, rel=0.1)
    assert abs(measured(tone(60.0, 0.2), 60.0, 0.2).slope_cents_per_s[0]) < 10


def test_noise_is_not_clear():
    hiss = np.random.default_rng(0).standard_normal(RATE // 5)
    assert measured(hiss, 60.0, 0.2).clarity[0] < 0.5
    assert measured(tone(60.0, 0.2), 60.0, 0.2).clarity[0] > 0.95


def test_a_cut_of_40_ms_is_measured_too():
    short = struck(tone(76.0, 0.04), rise_s=0.004, fall_s=0.004)
    assert measured(short, 76.3, 0.04).midi[0] == pytest.approx(76.0, abs=0.15)


def test_agrees_with_yin_of_librosa():
    """librosa.yin (de Cheveigne and Kawahara 2002) on the same tones, within three cents."""
    for p in (50.3, 61.7, 72.1):
        samples = tone(p, 0.4).astype("f4")
        yin_hz = np.median(librosa.yin(samples, fmin=100, fmax=1000, sr=RATE))
        assert measured(samples, p + 0.2, 0.4).midi[0] == pytest.approx(
            librosa.hz_to_midi(yin_hz), abs=0.03
        )


def test_a_sung_note_has_the_pitch_that_it_holds():
    """A third of the note a semitone low, then held: a mean would lie 33 cents low."""
    time_s = np.arange(round(0.6 * RATE)) / RATE
    for p in PITCHES[3::3]:
        sound = tone(p - 1.0 * (time_s < 0.2), 0.6)
        recording = np.concatenate([LEAD, sound, LEAD]).astype("f4")
        note = RawNote(LEAD_S, LEAD_S + 0.6, p - 0.3)
        assert abs(float(settled_pitch(recording, RATE, [note])[0]) - p) < 0.1


def test_where_nothing_is_periodic_the_pitch_stays():
    hiss = np.random.default_rng(0).standard_normal(RATE).astype("f4")
    notes = [RawNote(0.1, 0.13, 60.2), RawNote(0.3, 0.9, 71.4)]
    found = settled_pitch(np.zeros(RATE, dtype="f4"), RATE, notes)
    assert found.tolist() == [60.2, 71.4]
    assert np.all(np.abs(settled_pitch(hiss, RATE, notes) - [60.2, 71.4]) < 2.0)
    assert settled_pitch(hiss, RATE, []).shape == (0,)
