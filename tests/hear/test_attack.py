"""Sung notes begin where the vowel comes up; instruments stay where they are."""

from itertools import pairwise

import numpy as np

from liltwright.hear.attack import at_the_vowels, voice_share
from liltwright.hear.events import Events
from liltwright.hear.raw import RawNote

HOP_S = 128 / 22050


def _syllables(*spans: tuple[float, float]) -> Events:
    """Sound at -20 dB from start to end of each span, -60 dB elsewhere."""
    level = np.full(round(3 / HOP_S), -60.0)
    for start_s, end_s in spans:
        level[round(start_s / HOP_S) : round(end_s / HOP_S)] = -20.0
    return Events(HOP_S, level, np.zeros(len(level)), -60.0)


def test_a_steady_pitch_is_no_voice_and_a_wavering_one_is():
    notes = [RawNote(0.5 * k, 0.5 * k + 0.4, 60.0) for k in range(6)]
    assert voice_share(notes, np.full(6, 2.0)) == 0.0
    assert voice_share(notes, np.full(6, 12.0)) == 1.0
    assert 0.0 < voice_share(notes, np.full(6, 6.0)) < 1.0
    assert voice_share([RawNote(0.0, 0.05, 60.0)], np.full(1, 12.0)) == 0.0


def test_an_instrument_keeps_its_notes():
    notes = [RawNote(0.5, 1.0, 60.0)]
    assert at_the_vowels(notes, _syllables((0.6, 1.1)), 0.0) == notes


def test_a_sung_note_begins_and_ends_with_its_vowel():
    events = _syllables((0.56, 1.1), (1.26, 1.8))
    first, second = at_the_vowels([RawNote(0.5, 1.12, 60.0), RawNote(1.2, 1.8, 62.0)], events, 1.0)
    assert abs(first.onset_s - 0.56) < 0.015
    assert abs(first.offset_s - 1.1) < 0.015
    assert abs(second.onset_s - 1.26) < 0.015


def test_notes_stay_in_order_and_none_vanishes():
    rng = np.random.default_rng(3)
    level = np.cumsum(rng.normal(0, 4, 600)).clip(-60, 0)
    times = np.sort(rng.uniform(0.05, 3.2, 60))
    notes = [RawNote(a, b, 60.0) for a, b in pairwise(times) if b - a > 0.02]
    moved = at_the_vowels(notes, Events(HOP_S, level, np.zeros(600), -60.0), 1.0)
    assert len(moved) == len(notes)
    assert all(note.offset_s > note.onset_s for note in moved)
    assert all(a.offset_s <= b.onset_s for a, b in pairwise(moved))
