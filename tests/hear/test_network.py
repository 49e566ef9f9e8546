"""The network half of the ear: spectra, ONNX against PyTorch, pieces, exact-truth tones."""

import numpy as np
import pytest

from liltwright.hear.audio.events import find_events
from liltwright.hear.clean.finepitch import measure_pitch
from liltwright.hear.ears.decode import own_notes
from liltwright.hear.ears.network import (
    CONTEXT,
    HOP,
    HOP_S,
    LOWEST_MIDI,
    N_BINS,
    N_PITCHES,
    SAMPLE_RATE,
    SOLO,
    class_midi,
    evidence,
    n_frames,
    run_network,
    spectra,
)
from liltwright.models import read_arrays, read_bytes

REFERENCE = "ear/reference.npz"
"""Input and output of the network in PyTorch, written by models.ear.export."""


def tone(midi: float, seconds: float, *, harmonics: int = 8, level: float = 0.2) -> np.ndarray:
    """A closed-form tone with harmonics falling as 1/k, silence of 0.3 s on either side."""
    t = np.arange(int(seconds * SAMPLE_RATE)) / SAMPLE_RATE
    hz = 440.0 * 2 ** ((midi - 69) / 12)
    numbers = [k for k in range(1, harmonics + 1) if k * hz < 10_000]
    wave = sum(np.sin(2 * np.pi * k * hz * t) / k for k in numbers)
    fade = np.minimum(1.0, np.minimum(t, t[::-1]) / 0.02)
    return np.pad(level * wave * fade, int(0.3 * SAMPLE_RATE)).astype(np.float32)


def tune(seconds: float = 12.0) -> np.ndarray:
    """A row of tones with some noise, for tests that only compare the network with itself."""
    rng = np.random.default_rng(5)
    notes = [tone(m, 0.25) for m in rng.integers(55, 90, int(seconds / 0.85))]
    samples = np.concatenate(notes)
    return samples + 0.001 * rng.standard_normal(len(samples)).astype(np.float32)


def test_model_is_small():
    assert len(read_bytes(SOLO)) < 8_000_000


def test_onnx_equals_pytorch():
    stored = read_arrays(REFERENCE)
    pitch, events = run_network(stored["spectra"])
    assert np.abs(pitch - stored["pitch"]).max() < 1e-4
    assert np.abs(events - stored["events"]).max() < 1e-4
    # the stored result is of a trained network and of a sound with a tune in it
    assert stored["pitch"].max(axis=1).mean() > 0.2


def test_spectra_peak_at_the_pitch():
    """Bin 1 is LOWEST_MIDI, three bins per semitone: a sine peaks at its own bin in all three."""
    for midi in (60, 72, 93):
        frames = spectra(tone(midi, 1.0, harmonics=1), 40, 60)
        assert frames.shape == (3, 20, N_BINS)
        peaks = frames.mean(axis=1).argmax(axis=1)
        assert abs(peaks[0] - (3 * (midi - LOWEST_MIDI) + 1)) <= 1
        assert (abs(peaks - (3 * (midi - LOWEST_MIDI) + 1)) <= 6).all()


def test_spectra_do_not_depend_on_the_stretch():
    samples = tune(4.0)
    whole = spectra(samples, 0, n_frames(len(samples)))
    part = spectra(samples, 100, 137)
    assert np.abs(whole[:, 100:137] - part).max() < 1e-4


def test_evidence_is_probability():
    found = evidence(tune(4.0))
    assert found.pitch.shape == (len(found.onset), N_PITCHES + 1)
    assert np.abs(found.pitch.sum(axis=1) - 1).max() < 1e-3
    for track in (found.onset, found.offset, found.ornament):
        assert track.min() >= 0
        assert track.max() <= 1
    assert len(class_midi()) == N_PITCHES


def test_same_input_same_bytes():
    samples = tune(4.0)
    one, other = evidence(samples), evidence(samples)
    assert one.pitch.tobytes() == other.pitch.tobytes()
    assert one.onset.tobytes() == other.onset.tobytes()


@pytest.mark.parametrize("piece", [157, 400])
def test_pieces_equal_the_whole(piece):
    samples = tune(12.0)
    whole = evidence(samples, piece=10**6)
    cut = evidence(samples, piece=piece)
    assert np.abs(whole.pitch - cut.pitch).max() < 1e-4
    assert np.abs(whole.onset - cut.onset).max() < 1e-4


def test_context_covers_the_reach_of_the_network():
    """A change outside CONTEXT frames changes nothing; one inside does (the test can fail)."""
    rng = np.random.default_rng(1)
    frames = rng.normal(0, 0.5, (3, 2 * CONTEXT + 1, N_BINS)).astype(np.float32)
    wide = np.pad(frames, ((0, 0), (40, 40), (0, 0)), mode="edge")
    wide[:, :40] += 1.0
    wide[:, -40:] -= 1.0
    middle, padded = run_network(frames)[0][CONTEXT], run_network(wide)[0][CONTEXT + 40]
    assert np.abs(middle - padded).max() < 1e-4
    wide[:, CONTEXT + 20] += 1.0
    assert np.abs(run_network(wide)[0][CONTEXT + 40] - middle).max() > 1e-4


def _notes(samples):
    return own_notes(samples, find_events(samples, SAMPLE_RATE))


@pytest.mark.parametrize("midi", [47, 52, 57, 62.3, 69, 73.75, 81, 88.4, 96])
def test_one_tone_is_one_note(midi):
    notes = _notes(tone(midi, 1.0))
    assert len(notes) == 1
    assert notes[0].midi == pytest.approx(midi, abs=0.2)
    assert notes[0].onset_s == pytest.approx(0.3, abs=2 * HOP_S)
    assert notes[0].offset_s == pytest.approx(1.3, abs=0.12)


def test_pitch_of_closed_form_tones():
    """Median error over tones between the semitones: 3 cents measured, 12 by the network alone."""
    midi = np.array([43.2, 50.71, 58.13, 62.37, 66.9, 71.46, 78.25, 84.58, 91.33])
    rough, fine = [], []
    for true in midi:
        samples = tone(true, 0.5)
        notes = _notes(samples)
        assert len(notes) == 1
        rough.append(notes[0].midi)
        fine.append(measure_pitch(samples, SAMPLE_RATE, notes).midi[0])
    assert np.median(np.abs(np.array(fine) - midi)) < 0.03
    assert np.median(np.abs(np.array(rough) - midi)) < 0.12


def test_silence_has_no_notes():
    assert _notes(np.zeros(3 * SAMPLE_RATE, dtype=np.float32)) == []


def test_shorter_than_a_frame():
    assert _notes(np.zeros(HOP // 2, dtype=np.float32)) == []
