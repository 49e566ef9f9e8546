"""What is not the tune is left out and named."""

import subprocess

import numpy as np
import pytest
import soundfile
import soxr

from liltwright.errors import PipelineError
from liltwright.hear.clean import nontune
from liltwright.hear.listen import hear
from tests.hear.signals import RATE, TUNE, audio, line, struck, tone
from tests.tools import need

TUNE_SOUND = line()
PAUSE = np.zeros(RATE)


def heard(*parts):
    return hear(audio(np.concatenate(parts)))


def pitches(found):
    return tuple(round(note.midi) for note in found.notes if note.role == "note")


def reasons(found):
    return [one.why for one in found.left_out]


def spoken(tmp_path, text, voice="en-gb"):
    """Speech by espeak-ng, float64 at RATE."""
    need("espeak-ng")
    path = tmp_path / "speech.wav"
    subprocess.run(["espeak-ng", "-v", voice, "-w", path, text], check=True)
    samples, rate = soundfile.read(path)
    return 0.5 * soxr.resample(samples, rate, RATE)


def applause(seconds, seed=3):
    """Many claps: short bursts of noise at random times."""
    rng = np.random.default_rng(seed)
    samples = np.zeros(round(seconds * RATE))
    for at in rng.integers(0, len(samples) - 1000, round(60 * seconds)):
        samples[at : at + 600] += rng.standard_normal(600) * np.exp(-np.arange(600) / 150)
    return 0.1 * samples


def knock():
    return 0.5 * np.random.default_rng(0).standard_normal(1500) * np.exp(-np.arange(1500) / 300)


def test_nothing_is_left_out_of_a_bare_tune():
    found = heard(TUNE_SOUND)
    assert pitches(found) == TUNE
    assert found.left_out == ()


@pytest.mark.parametrize("voice", ["en-gb", "en-us+f3"])
def test_counting_in(tmp_path, voice):
    count = spoken(tmp_path, "one, two, three, four", voice)
    found = heard(count, TUNE_SOUND)
    assert pitches(found) == TUNE
    assert reasons(found) == [nontune.TALKING]
    assert found.left_out[0].end_s <= len(count) / RATE + 0.1


def test_talking_after_the_tune(tmp_path):
    words = "Well, that was the first part, I will try the other one now."
    found = heard(TUNE_SOUND, PAUSE, spoken(tmp_path, words))
    assert pitches(found) == TUNE
    assert set(reasons(found)) == {nontune.TALKING}


def test_only_talking_is_an_error(tmp_path):
    words = "Here I only talk about a tune that I heard last week, but I never play any of it."
    with pytest.raises(PipelineError, match="holds talking but no tune"):
        heard(spoken(tmp_path, words))


def test_applause():
    found = heard(TUNE_SOUND, applause(3.0))
    assert pitches(found) == TUNE
    assert nontune.APPLAUSE in reasons(found)


def test_a_knock_before_the_tune():
    found = heard(PAUSE, knock(), PAUSE, TUNE_SOUND)
    assert pitches(found) == TUNE
    assert reasons(found) == [nontune.KNOCK]
    assert found.left_out[0].start_s == pytest.approx(1.0, abs=0.05)


def test_foot_taps_before_the_tune():
    taps = np.concatenate([np.concatenate([knock(), np.zeros(RATE // 2)]) for _ in range(4)])
    found = heard(PAUSE, taps, TUNE_SOUND)
    assert pitches(found) == TUNE
    assert reasons(found) == [nontune.TAPPING]


def test_tuning_up():
    strings = [50.0, 57.0, 57.0, 62.0, 62.0, 69.0]
    plucks = [0.3 * struck(tone(p, 0.9), fall_s=0.5) for p in strings]
    found = heard(*plucks, PAUSE, TUNE_SOUND)
    assert pitches(found) == TUNE
    assert reasons(found) == [nontune.TUNING_UP]


def test_only_noise_is_an_error():
    hiss = 0.05 * np.random.default_rng(0).standard_normal(8 * RATE)
    with pytest.raises(PipelineError, match="holds no tune that can be followed"):
        heard(hiss)
