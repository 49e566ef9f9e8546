"""Pitch per frame becomes notes: closed-form pitch curves with known notes."""

import numpy as np
import pytest

from liltwright.hear.audio.events import Events, find_events
from liltwright.hear.ears.f0 import F0Track
from liltwright.hear.ears.segment import segment
from tests.hear.signals import RATE, STEP_S, line, onsets, struck, tone

HOP_S = 0.016


def curve(pitch_midi, voiced=None):
    """A track at 16 ms, and level and onsets of a steady sound."""
    frames = len(pitch_midi)
    voiced = np.ones(frames) if voiced is None else np.asarray(voiced, dtype=float)
    track = F0Track(np.arange(frames) * HOP_S, np.asarray(pitch_midi, dtype=float), voiced)
    grid = round(frames * HOP_S / 0.0058) + 1
    return track, Events(0.0058, np.full(grid, -20.0, "f4"), np.zeros(grid, "f4"), -80.0)


def pitches(notes):
    return [round(note.midi, 1) for note in notes]


def test_steps_of_a_curve_are_notes():
    notes = segment(*curve([62.0] * 15 + [64.0] * 15 + [66.0] * 15))
    assert pitches(notes) == [62, 64, 66]
    assert [note.onset_s for note in notes[1:]] == pytest.approx([0.24, 0.48], abs=HOP_S)


@pytest.mark.parametrize("cents", [30, 60, 80])
def test_vibrato_is_one_note(cents):
    time_s = np.arange(100) * HOP_S
    wavering = 69.0 + cents / 100 * np.sin(2 * np.pi * 5.5 * time_s)
    (note,) = segment(*curve(wavering))
    assert note.midi == pytest.approx(69.0, abs=0.1)


def test_a_scoop_is_part_of_its_note():
    scoop = 67.0 - np.concatenate([np.linspace(1.5, 0, 6), np.zeros(30)])
    assert pitches(segment(*curve(scoop))) == [67.0]


def test_a_slow_drift_is_one_note():
    assert len(segment(*curve(69.0 - np.linspace(0, 0.4, 100)))) == 1


def test_a_semitone_is_two_notes():
    assert pitches(segment(*curve([66.0] * 12 + [67.0] * 12))) == [66, 67]


def test_unvoiced_frames_end_a_note():
    voiced = [1] * 20 + [0] * 12 + [1] * 20
    notes = segment(*curve([62.0] * 52, voiced))
    assert len(notes) == 2
    assert notes[1].onset_s - notes[0].offset_s > 0.1


def test_struck_again_is_two_notes():
    again = np.concatenate([struck(tone(62.0, 0.3)), struck(tone(62.0, 0.3))])
    sound = np.concatenate([np.zeros(RATE // 4), 0.3 * again, np.zeros(RATE // 4)]).astype("f4")
    frames = round(len(sound) / RATE / HOP_S)
    time_s = np.arange(frames) * HOP_S
    track = F0Track(time_s, np.full(frames, 62.0), ((time_s > 0.25) & (time_s < 0.85)) * 1.0)
    notes = segment(track, find_events(sound, RATE))
    assert [note.onset_s for note in notes] == pytest.approx([0.25, 0.55], abs=0.03)


def test_nothing_from_silence():
    assert segment(*curve([60.0] * 50, [0] * 50)) == []
    assert segment(*curve([60.0])) == []


def test_onsets_show_in_the_onset_strength():
    """Peaks of the strength fall on the true onsets of a plucked line within 12 ms."""
    events = find_events(line(), RATE)
    for true_s in onsets():
        near = slice(round((true_s - 0.05) / events.hop_s), round((true_s + 0.05) / events.hop_s))
        peak_s = (near.start + np.argmax(events.strength[near])) * events.hop_s
        assert abs(peak_s - true_s) < 0.012
    middle = np.round((onsets() + STEP_S / 2) / events.hop_s).astype(int)
    assert np.median(events.strength[middle]) < 0.5


def test_vibrato_is_no_onset():
    time_s = np.arange(2 * RATE) / RATE
    sound = 0.3 * tone(69 + 0.5 * np.sin(2 * np.pi * 6 * time_s), 2.0)
    strength = find_events(sound.astype("f4"), RATE).strength
    assert strength[40:-40].max() < 1.0
