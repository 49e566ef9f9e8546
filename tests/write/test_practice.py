"""Slowing, loops and practice tracks."""

import hashlib
import io
from dataclasses import replace
from pathlib import Path

import librosa
import numpy as np
import pytest
import soundfile

from liltwright.errors import UsageError
from liltwright.jobs_around import practise
from liltwright.options import PracticeOptions
from liltwright.practising import practice_name
from liltwright.records import to_json
from liltwright.write.sound.encode import encode_audio
from liltwright.write.sound.pluck import SAMPLE_RATE
from liltwright.write.sound.practice import (
    bar_loop,
    full_bars,
    loop_audio,
    melody_against_recording,
    part_loops,
    practice_files,
    slowed,
)
from liltwright.write.sound.synth import PlayedNote, mix
from tests.write.hand_made import arrangement, heard_jig, jig

ONSETS = [0.3 + 0.4 * place for place in range(10)]


@pytest.fixture(scope="module")
def plucked() -> np.ndarray:
    notes = [
        PlayedNote(at, at + 0.35, 2, 59, 60 + 2 * (i % 4), "i", 1.0) for i, at in enumerate(ONSETS)
    ]
    return mix(notes, 5.0)


@pytest.mark.parametrize("speed", [0.5, 0.6, 0.75, 0.9])
def test_slowing_keeps_pitch_and_stretches_time(plucked, speed):
    slow = slowed(plucked, SAMPLE_RATE, speed, lowest_midi=60)
    assert len(slow) / len(plucked) == pytest.approx(1 / speed, rel=0.01)
    at = (ONSETS[1] + 0.08) / speed
    piece = slow[int(at * SAMPLE_RATE) :][: int(0.15 * SAMPLE_RATE)].astype(float)
    hz = np.median(librosa.yin(piece, fmin=200, fmax=500, sr=SAMPLE_RATE, frame_length=2048))
    assert 69 + 12 * np.log2(hz / 440) == pytest.approx(62, abs=0.06)


@pytest.mark.parametrize("speed", [0.6, 0.75])
def test_slowed_plucks_keep_their_attack(plucked, speed):
    """Level of 2 ms windows: from a third to nine tenths of the peak in at most 8 ms, in place."""
    slow = slowed(plucked, SAMPLE_RATE, speed, lowest_midi=60)
    window = int(0.002 * SAMPLE_RATE)
    level = np.sqrt(np.convolve(slow**2, np.ones(window) / window, "same"))
    for onset in ONSETS[1:]:
        middle = int(onset / speed * SAMPLE_RATE)
        near = level[middle - 700 : middle + 700]
        begins = int(np.argmax(near > 0.3 * near.max()))
        assert abs(begins - 700) / SAMPLE_RATE < 0.006
        top = int(np.argmax(near > 0.9 * near.max()))
        rise = int(np.argmax(near[:top][::-1] < 0.35 * near.max()))
        assert rise / SAMPLE_RATE < 0.008


def test_a_speed_out_of_reach_is_refused(plucked):
    with pytest.raises(UsageError, match="10% of the speed"):
        slowed(plucked, SAMPLE_RATE, 0.1)


def test_loops_follow_the_parts_as_they_were_played():
    tune = heard_jig()
    loops = part_loops(tune)
    assert [loop.name for loop in loops] == [
        "A, first time", "A, second time", "B, first time", "B, second time",
    ]  # fmt: skip
    assert [(loop.first_bar, loop.last_bar) for loop in loops] == [
        (1, 8),
        (9, 16),
        (17, 24),
        (25, 32),
    ]


def test_a_second_round_is_named():
    tune = heard_jig()
    heard = full_bars(tune)
    twice = replace(tune, bars_heard=(*tune.bars_heard, *heard), rounds=2)
    assert part_loops(twice)[-1].name == "B, second time, round 2"


def test_loops_are_cut_at_the_detected_bar_lines_and_counted_in():
    tune = heard_jig()
    ramp = np.linspace(-0.5, 0.5, int(tune.source.duration_s * SAMPLE_RATE)).astype(np.float32)
    loop = bar_loop(tune, 2, 3)
    bars = full_bars(tune)
    assert (loop.start_s, loop.end_s) == (bars[1].start_s, bars[2].end_s)
    out = loop_audio(ramp, SAMPLE_RATE, tune, loop, times=3)
    bar_s = (loop.end_s - loop.start_s) / 2
    assert len(out) / SAMPLE_RATE == pytest.approx(bar_s * 7, abs=0.001)
    middle = len(out) - len(out) // 7
    expected = ramp[round((loop.start_s + bar_s) * SAMPLE_RATE)]
    assert out[middle] == pytest.approx(expected, abs=1e-3)


def test_loops_do_not_click_where_they_join():
    tune = heard_jig()
    steady = np.full(int(tune.source.duration_s * SAMPLE_RATE), 0.5, np.float32)
    out = loop_audio(steady, SAMPLE_RATE, tune, bar_loop(tune, 1, 1), times=2, count_in=False)
    assert np.abs(np.diff(out)).max() < 0.005


def test_bars_that_are_not_there_are_refused():
    with pytest.raises(UsageError, match="has bars 1 to 32"):
        bar_loop(heard_jig(), 30, 33)


def test_the_recording_is_left_and_the_written_tune_right():
    tune = heard_jig()
    recording = np.sin(np.arange(int(tune.source.duration_s * 16_000)) * 0.05) * 0.3
    both = melody_against_recording(tune, recording, 16_000)
    assert both.shape == (len(recording), 2)
    assert np.corrcoef(both[:, 0], recording)[0, 1] > 0.999
    onset = tune.heard[2].onset_s
    before, after = (
        np.abs(both[int((onset + d) * 16_000) : int((onset + d + 0.02) * 16_000), 1]).max()
        for d in (-0.03, 0.0)
    )
    assert after > 1.5 * before
    with pytest.raises(UsageError, match="nothing to compare"):
        melody_against_recording(jig(), recording, 16_000)


def test_practice_files_hold_every_layer_at_every_speed():
    files = practice_files(jig(), arrangement(), "practice-1", speeds=(0.6, 1.0))
    assert sorted(files) == [
        f"practice-1-{name}-{speed}.ogg"
        for name in ("drone", "melody", "plain-bass") for speed in (100, 60)
    ]  # fmt: skip
    lengths = {}
    for name, data in files.items():
        samples, rate = soundfile.read(io.BytesIO(data))
        assert np.abs(samples).max() > 0.1
        lengths[name] = len(samples) / rate
    slow, usual = lengths["practice-1-drone-60.ogg"], lengths["practice-1-drone-100.ogg"]
    assert slow == pytest.approx(usual / 0.6, rel=0.02)


def test_a_file_is_named_after_what_is_in_it():
    recording = Path("my hum.m4a")
    for wanted, name in (
        (PracticeOptions(0.6, part="b"), "my hum-part-B-at-60.ogg"),
        (PracticeOptions(0.75, bars=(5, 8)), "my hum-bars-5-8-at-75.ogg"),
        (PracticeOptions(1.0, two_ears=True), "my hum-two-ears-at-100.ogg"),
        (PracticeOptions(0.9), "my hum-at-90.ogg"),
    ):
        assert practice_name(recording, wanted) == name


def test_a_part_of_a_recording_that_was_heard_before_is_cut_and_slowed(tmp_path, monkeypatch):
    """The bars come from tune.json beside the recording: nothing is listened to again."""
    tune = heard_jig()
    at = np.arange(int(tune.source.duration_s * SAMPLE_RATE)) / SAMPLE_RATE
    samples = 0.3 * np.sin(2 * np.pi * 440 * at)
    recording = tmp_path / "jig.wav"
    recording.write_bytes(encode_audio(samples, SAMPLE_RATE, "wav"))
    digest = hashlib.sha256(recording.read_bytes()).hexdigest()
    tune = replace(tune, source=replace(tune.source, sha256=digest))
    (tmp_path / "jig").mkdir()
    (tmp_path / "jig" / "tune.json").write_text(to_json(tune), encoding="utf-8")
    monkeypatch.setattr("liltwright.run.find_tune", lambda *_: pytest.fail("it listened again"))
    practise(recording, None, PracticeOptions(0.5, part="A", times=2))
    written = tmp_path / "jig-part-A-at-50.ogg"
    heard, rate = soundfile.read(io.BytesIO(written.read_bytes()))
    loop = part_loops(tune)[0]
    bar_s = (loop.end_s - loop.start_s) / 8
    assert len(heard) / rate == pytest.approx(2 * (2 * 8 * bar_s + bar_s), abs=0.1)
    with pytest.raises(UsageError, match="is there already"):
        practise(recording, None, PracticeOptions(0.5, part="A", times=2))
