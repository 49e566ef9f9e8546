"""Layers as sound: onsets, lengths, balance, swing, repeats, no clipping and no clicks."""

import itertools
from dataclasses import replace
from fractions import Fraction

import librosa
import numpy as np
import pytest

from liltwright.tab import Arrangement, TabNote
from liltwright.tune import Tune
from liltwright.write.sheet.timing import clock_of, played_bars
from liltwright.write.sound.pluck import SAMPLE_RATE
from liltwright.write.sound.synth import (
    PlayedNote,
    heard_melody_audio,
    layer_audio,
    mix,
)
from tests.write.hand_made import arrangement, heard_jig, jig


@pytest.fixture(scope="module")
def tune() -> Tune:
    return jig()


@pytest.fixture(scope="module")
def layers(tune: Tune) -> Arrangement:
    return arrangement(tune)


def rises(samples: np.ndarray) -> np.ndarray:
    """Onset times by librosa's spectral flux, moved to the sample where the level jumps."""
    rough = librosa.onset.onset_detect(
        y=samples, sr=SAMPLE_RATE, hop_length=64, units="samples", delta=0.05, wait=30
    )
    level = np.abs(samples)
    found = []
    for at in rough:
        begin = max(at - 1200, 0)
        near = level[begin : at + 600]
        steps = np.array([near[i : i + 48].max() for i in range(len(near) - 48)])
        found.append(begin + int(np.argmax(steps[48:] / (steps[:-48] + 1e-4))) + 48 + 47)
    return np.array(found) / SAMPLE_RATE


def test_onsets_are_heard_within_two_milliseconds():
    """Notes 0.3 s apart and on different strings, found again by librosa."""
    onsets = [0.25 + 0.3 * place for place in range(12)]
    strings = [1, 2, 3, 4, 5, 6] * 2
    opens = {1: 64, 2: 59, 3: 55, 4: 50, 5: 45, 6: 40}
    notes = [
        PlayedNote(onset, onset + 0.2, string, opens[string], opens[string] + 3, "i", 1.0)
        for onset, string in zip(onsets, strings, strict=True)
    ]
    found = rises(mix(notes, 4.5))
    assert len(found) == len(onsets)
    assert np.abs(found - onsets).max() <= 0.002


def test_every_layer_stays_below_full_scale(tune, layers):
    for name in ("melody", "drone", "plain-bass", "performance"):
        samples = layer_audio(tune, layers, name, click=True).samples
        assert 0.1 < np.abs(samples).max() < 1.0


def test_a_loud_chord_does_not_clip():
    notes = [
        PlayedNote(0.1, 2.0, s, 40 + 5 * (6 - s), 40 + 5 * (6 - s), "p", 9.0) for s in range(1, 7)
    ]
    assert np.abs(mix(notes, 3.0)).max() <= 0.9


def test_damping_makes_no_click():
    """What a stop adds above 6 kHz stays 40 dB below the note's own attack up there."""
    from scipy.signal import butter, sosfiltfilt

    note = PlayedNote(0.1, 0.8, 6, 40, 45, "p", 1.0)
    again = PlayedNote(0.8, 1.5, 6, 40, 47, "p", 1e-6)
    high = butter(6, 6000, "high", fs=SAMPLE_RATE, output="sos")
    for notes in ([note], [note, again]):
        level = np.abs(sosfiltfilt(high, mix(notes, 2.0).astype(float)))
        attack = level[: int(0.2 * SAMPLE_RATE)].max()
        stop = level[int(0.75 * SAMPLE_RATE) : int(0.95 * SAMPLE_RATE)].max()
        assert stop < 0.01 * attack


def test_a_note_rings_as_long_as_written_unless_its_string_is_needed():
    long = PlayedNote(0.0, 1.0, 5, 45, 45, "p", 1.0)
    other = PlayedNote(0.5, 0.51, 5, 45, 57, "p", 1e-6)
    quiet_from = int(0.56 * SAMPLE_RATE), int(0.9 * SAMPLE_RATE)
    rings = mix([long], 1.5)[slice(*quiet_from)]
    damped = mix([long, other], 1.5)[slice(*quiet_from)]
    assert np.abs(rings).max() > 100 * np.abs(damped).max()
    assert np.abs(mix([long], 1.5)[int(1.06 * SAMPLE_RATE) :]).max() < 1e-6


def test_repeats_endings_and_pickups_take_the_time_they_take_on_paper(tune):
    """AABB of eight bars in 6/8 at 112 dotted quarters: 32 bars and the first pick-up, an eighth;
    every other pick-up takes its time from the bar before."""
    bars = played_bars(tune, clock_of(tune))
    seconds = (32 * 2 + 1 / 3) * 60 / 112
    assert bars[0].number == 0
    assert bars[-1].end_s == pytest.approx(seconds, abs=1e-6)
    assert [bar.number for bar in bars if bar.number] == [
        *range(1, 9), *range(1, 9), *range(9, 17), *range(9, 17)
    ]  # fmt: skip
    assert all(a.end_s == pytest.approx(b.start_s) for a, b in itertools.pairwise(bars))


def test_swing_moves_the_second_of_a_pair_and_leaves_the_beat():
    reel = replace(jig(), tune_type="hornpipe", meter="4/4", beat=Fraction(1, 2), swing=2.0)
    clock = clock_of(reel)
    quarter = clock.seconds(Fraction(1, 4))
    assert clock.seconds(Fraction(1, 8)) == pytest.approx(quarter * 2 / 3)
    assert clock.seconds(Fraction(3, 8)) == pytest.approx(quarter * 5 / 3)
    assert clock.seconds(Fraction(1, 12)) == pytest.approx(quarter / 3), "triplets stay even"
    assert clock.seconds(Fraction(1, 2)) == pytest.approx(60 / 112)


def test_lilt_of_a_jig_lengthens_the_first_of_three_and_leaves_the_third():
    clock = clock_of(jig(swing=1.5))
    beat = clock.seconds(Fraction(3, 8))
    first, second, third = (clock.seconds(Fraction(n, 8)) for n in (1, 2, 3))
    assert first / (second - first) == pytest.approx(1.5)
    assert third - second == pytest.approx(beat / 3)


def test_tempo_changes_length_and_not_pitch(tune, layers):
    whole = layer_audio(tune, layers, "melody")
    slow = layer_audio(tune, layers, "melody", tempo=0.6)
    assert slow.bars[-1].end_s == pytest.approx(whole.bars[-1].end_s / 0.6)
    first = [sound.samples[: SAMPLE_RATE // 10] for sound in (whole, slow)]
    assert np.allclose(first[0], first[1], atol=1e-6)


def test_the_pulse_counts_a_bar_in_and_ticks_every_beat():
    """At 120 even beats everything falls on whole samples, so the ticks can be told apart."""
    tune = replace(jig(swing=1.0), beats_per_minute=120.0)
    layers = arrangement(tune)
    plain = layer_audio(tune, layers, "melody")
    pulse = layer_audio(tune, layers, "melody", click=True)
    assert pulse.bars[1].line_s == pytest.approx(4 * 0.5), "a bar, then the pick-up's own bar"
    lead = round((pulse.bars[0].start_s - plain.bars[0].start_s) * SAMPLE_RATE)
    assert np.abs(pulse.samples[:lead]).max() > 0.1
    ticks = pulse.samples[lead:] - plain.samples
    at = np.flatnonzero(np.abs(ticks) > 0.02)
    starts = at[np.flatnonzero(np.diff(at, prepend=-9999) > SAMPLE_RATE // 10)]
    assert len(starts) == 64
    assert np.allclose(np.diff(starts) / SAMPLE_RATE, 0.5, atol=0.001)


def test_a_grace_note_takes_the_beat_and_the_note_it_leads_to_follows(tune, layers):
    main = TabNote("melody", 2, 3, 62, Fraction(0), Fraction(3, 8))
    grace = TabNote("melody", 2, 5, 64, Fraction(0), Fraction(1, 32), grace=True)
    pulled = replace(main, technique="pull-off")
    clock = clock_of(tune)
    from liltwright.write.sound.synth import _with_graces

    order = list(_with_graces((grace, pulled), 1.0, clock.seconds))
    assert [note.grace for note, _ in order] == [True, False]
    assert order[0][1] == pytest.approx(1.0)
    assert 1.03 < order[1][1] < 1.08


def test_the_melody_follows_the_recording_in_time_octave_and_concert_pitch():
    tune = replace(heard_jig(), tuning_offset_cents=30.0)
    samples = heard_melody_audio(tune)
    assert len(samples) / SAMPLE_RATE == pytest.approx(tune.source.duration_s, abs=0.01)
    note = next(note for note in tune.heard if note.offset_s - note.onset_s > 0.4)
    piece = samples[int((note.onset_s + 0.03) * SAMPLE_RATE) : int(note.offset_s * SAMPLE_RATE)]
    hz = librosa.yin(piece.astype(float), fmin=80, fmax=700, sr=SAMPLE_RATE, frame_length=2048)
    assert 69 + 12 * np.log2(np.median(hz) / 440) == pytest.approx(note.midi + 0.3, abs=0.03)
