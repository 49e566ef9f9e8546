"""The demo recordings against their stored truth; librosa's YIN is the outside ear.

Reference: A. de Cheveigné & H. Kawahara, "YIN", JASA 111 (4), 2002, as librosa.yin.
"""

import hashlib
from pathlib import Path

import numpy as np
import pytest

from liltwright.hear.audio.recording import Audio, load_audio
from liltwright.read.abc import read_abc
from liltwright.records import from_json
from liltwright.tune import Tune
from liltwright.units import midi_to_hz

DEMO = Path(__file__).parent.parent / "fixtures" / "demo"


def truth_of(name: str) -> Tune:
    return from_json((DEMO / f"{name}.json").read_text(encoding="utf-8"), Tune)


@pytest.mark.parametrize("name", ["hum", "plucked"])
def test_the_truth_belongs_to_the_recording(name: str) -> None:
    truth = truth_of(name)
    data = (DEMO / f"{name}.ogg").read_bytes()
    assert truth.source.sha256 == hashlib.sha256(data).hexdigest()
    assert len(data) < 400_000
    audio = load_audio(DEMO / f"{name}.ogg")
    assert audio.duration_s == pytest.approx(truth.source.duration_s, abs=0.1)
    assert truth.heard[-1].offset_s < audio.duration_s


@pytest.mark.parametrize("name", ["hum", "plucked"])
def test_the_truth_is_the_printed_tune_played_twice_round(name: str) -> None:
    truth, printed = truth_of(name), read_abc((DEMO / "tune.abc").read_text(), name="tune.abc")
    assert (truth.parts, truth.form, truth.rounds) == (printed.parts, "AABB", 2)
    assert (truth.tonic, truth.mode, truth.signature) == ("D", "mixolydian", 1)
    assert len(truth.bars_heard) == 1 + 2 * 32
    played = sum(len(bar.notes) for bar in truth.bars_heard)
    assert played == sum(note.role == "note" for note in truth.heard)


def sustained(truth: Tune, audio: Audio) -> list[tuple[float, np.ndarray]]:
    """Sounding pitch and the middle 93 ms of every note that is long enough for it."""
    out = []
    for note in truth.heard:
        if note.offset_s - note.onset_s >= 0.12:
            middle = int((note.onset_s + note.offset_s) / 2 * audio.sample_rate)
            pitch = note.midi + truth.tuning_offset_cents / 100
            out.append((pitch, audio.samples[middle - 1024 : middle + 1024]))
    return out


def test_yin_hears_the_hummed_pitches() -> None:
    import librosa

    audio = load_audio(DEMO / "hum.ogg")
    away = []
    for pitch, piece in sustained(truth_of("hum"), audio)[:60]:
        low, high = float(midi_to_hz(pitch - 7)), float(midi_to_hz(pitch + 7))
        found = librosa.yin(
            piece, fmin=low, fmax=high, sr=audio.sample_rate, frame_length=2048, center=False
        )
        away.append(abs(1200 * np.log2(np.median(found) / midi_to_hz(pitch))))
    assert len(away) == 60
    assert np.median(away) < 10
    assert np.mean(np.array(away) < 50) > 0.9


def test_the_plucked_pitches_are_peaks_of_the_spectrum() -> None:
    """Strings ring into each other, so a tracker of one pitch is no judge here."""
    audio = load_audio(DEMO / "plucked.ogg")
    away = []
    for pitch, piece in sustained(truth_of("plucked"), audio)[:100]:
        spectrum = np.abs(np.fft.rfft(piece * np.hanning(len(piece)), 2**16))
        hz = np.fft.rfftfreq(2**16, 1 / audio.sample_rate)
        near = np.flatnonzero(np.abs(np.log2(np.maximum(hz, 1) / midi_to_hz(pitch))) < 1.5 / 12)
        peak = near[np.argmax(spectrum[near])]
        away.append(abs(1200 * np.log2(hz[peak] / midi_to_hz(pitch))))
    assert len(away) == 100
    assert np.median(away) < 10
    assert np.mean(np.array(away) < 50) > 0.85
