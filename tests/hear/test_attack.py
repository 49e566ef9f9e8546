"""Sung notes begin where the vowel comes up; instruments stay where they are."""

from itertools import pairwise

import numpy as np

from liltwright.hear.audio.events import Events, find_events
from liltwright.hear.audio.recording import Audio, audio_from_samples
from liltwright.hear.clean.attack import at_the_vowels, voice_share
from liltwright.hear.ears.raw import RawNote
from liltwright.units import midi_to_hz

RATE = 22050


def _recording(*tones: tuple[float, float, float]) -> tuple[Events, Audio]:
    """Three harmonics of a pitch from start to end of each tone, next to nothing elsewhere."""
    times = np.arange(3 * RATE) / RATE
    samples = 1e-4 * np.random.default_rng(1).standard_normal(len(times))
    for start_s, end_s, midi in tones:
        turns = 2 * np.pi * midi_to_hz(midi) * times
        tone = 0.2 * sum(np.sin(k * turns) / k for k in (1, 2, 3))
        samples += tone * ((times >= start_s) & (times < end_s))
    audio = audio_from_samples(samples.astype(np.float32), RATE)
    return find_events(audio.samples, RATE), audio


def test_a_steady_pitch_is_no_voice_and_a_wavering_one_is():
    notes = [RawNote(0.5 * k, 0.5 * k + 0.4, 60.0) for k in range(6)]
    assert voice_share(notes, np.full(6, 2.0)) == 0.0
    assert voice_share(notes, np.full(6, 12.0)) == 1.0
    assert 0.0 < voice_share(notes, np.full(6, 6.0)) < 1.0
    assert voice_share([RawNote(0.0, 0.05, 60.0)], np.full(1, 12.0)) == 0.0


def test_an_instrument_keeps_its_notes():
    notes = [RawNote(0.5, 1.0, 60.0)]
    assert at_the_vowels(notes, *_recording((0.6, 1.1, 60)), 0.0) == notes


def test_a_sung_note_begins_and_ends_with_its_vowel():
    sound = _recording((0.56, 1.1, 60), (1.26, 1.8, 62))
    notes = [RawNote(0.5, 1.12, 60.0), RawNote(1.2, 1.8, 62.0)]
    first, second = at_the_vowels(notes, *sound, 1.0)
    assert abs(first.onset_s - 0.56) < 0.015
    assert abs(first.offset_s - 1.1) < 0.025
    assert abs(second.onset_s - 1.26) < 0.015


def test_a_note_that_is_slid_into_begins_where_its_pitch_takes_over():
    sound = _recording((0.5, 1.0, 60), (1.0, 1.6, 64))
    for early_s in (0.0, 0.04, 0.07):
        notes = [RawNote(0.5, 1.0 - early_s, 60.0), RawNote(1.0 - early_s, 1.6, 64.0)]
        second = at_the_vowels(notes, *sound, 1.0)[1]
        assert abs(second.onset_s - 1.0) < 0.045


def test_breath_after_a_note_is_not_part_of_it():
    _, audio = _recording((0.5, 1.0, 60))
    breath = 0.003 * np.random.default_rng(2).standard_normal(RATE // 2).astype(np.float32)
    samples = audio.samples.copy()
    samples[RATE : RATE + len(breath)] += breath
    noisy = audio_from_samples(samples, RATE)
    (note,) = at_the_vowels([RawNote(0.5, 1.05, 60.0)], find_events(samples, RATE), noisy, 1.0)
    assert abs(note.offset_s - 1.0) < 0.06


def test_notes_stay_in_order_and_none_vanishes():
    rng = np.random.default_rng(3)
    level = np.repeat(np.cumsum(rng.normal(0, 4, 600)).clip(-60, 0), 128)
    samples = (10 ** (level / 20) * rng.standard_normal(len(level)) * 0.1).astype(np.float32)
    audio = audio_from_samples(samples, RATE)
    times = np.sort(rng.uniform(0.05, 3.2, 60))
    pitches = rng.integers(55, 65, 60)
    notes = [
        RawNote(a, b, float(pitch))
        for (a, b), pitch in zip(pairwise(times), pitches, strict=False)
        if b - a > 0.02
    ]
    moved = at_the_vowels(notes, find_events(audio.samples, RATE), audio, 1.0)
    assert len(moved) == len(notes)
    assert all(note.offset_s > note.onset_s for note in moved)
    assert all(a.offset_s <= b.onset_s for a, b in pairwise(moved))
