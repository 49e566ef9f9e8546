"""The whole stage on closed-form tunes, by every ear, and on two real voices when present."""

from functools import cache
from itertools import pairwise
from pathlib import Path

import mir_eval
import numpy as np
import pytest

from liltwright.errors import PipelineError, UsageError
from liltwright.hear.audio.recording import load_audio
from liltwright.hear.listen import hear
from liltwright.hear.settings import EARS, HearSettings
from tests.hear.signals import RATE, STEP_S, TUNE, audio, line, onsets, struck, tone

VOICES = sorted((Path(__file__).parents[3] / "shared/data/voices").glob("*.wav"))
ALL_EARS = pytest.mark.parametrize("ear", [ear for ear in EARS if ear != "pyin"])


@cache
def plain_line():
    """What is heard of the plain tune; many tests look at it."""
    return hear(audio(line()))


def note_f1(found, pitches, *, lead_s=0.3):
    """mir_eval's note F1 without offsets: onset within 50 ms, pitch within 50 cents."""
    plain = [note for note in found.notes if note.role == "note"]
    true_s = onsets(pitches, lead_s=lead_s)
    return mir_eval.transcription.precision_recall_f1_overlap(
        np.stack([true_s, true_s + STEP_S], axis=1),
        mir_eval.util.midi_to_hz(np.array(pitches, dtype=float)),
        np.array([(note.onset_s, note.offset_s) for note in plain]),
        mir_eval.util.midi_to_hz(np.array([note.midi for note in plain])),
        offset_ratio=None,
    )[2]


@ALL_EARS
def test_a_clean_line_is_heard_note_for_note(ear):
    found = hear(audio(line()), settings=HearSettings(ear=ear))
    assert note_f1(found, TUNE) > 0.97


def test_a_weak_stroke_inside_a_note_is_told_with_it():
    """Every fourth note dips by a tenth for 20 ms in its middle: too little for a note."""
    samples = line(TUNE[:24])
    middles = onsets(TUNE[:24])[::4] + STEP_S / 2
    for middle in middles:
        at = round(middle * RATE)
        samples[at - 220 : at + 220] *= 1 - 0.1 * np.hanning(440).astype("f4")
    found = hear(audio(samples))
    assert len(found.notes) == 24
    told = [one.at_s for note in found.notes for one in note.again]
    assert len(told) >= 3
    assert all(np.abs(middles - at_s).min() < 0.03 for at_s in told)
    assert not any(note.again for note in plain_line().notes)


@pytest.mark.slow
def test_pyin_is_one_option_away():
    found = hear(audio(line(TUNE[:24])), settings=HearSettings(ear="pyin"))
    assert note_f1(found, TUNE[:24]) > 0.9


@pytest.mark.parametrize("cents", [-40, -17, 40])
def test_concert_pitch_is_found_and_taken_out(cents):
    found = hear(audio(line(shift=cents / 100)))
    assert found.tuning_offset_cents == pytest.approx(cents, abs=4)
    assert note_f1(found, TUNE) > 0.97
    away = [abs(note.midi - round(note.midi)) for note in found.notes]
    assert np.median(away) < 0.03


@pytest.mark.parametrize("octaves", [-1, 1])
def test_hummed_or_whistled_in_another_octave(octaves):
    moved = tuple(midi + 12 * octaves for midi in TUNE)
    assert note_f1(hear(audio(line(moved, harmonics=4))), moved) > 0.95


def test_repeated_notes_are_kept_apart():
    repeated = (62, 62, 62, 66, 66, 69, 69, 69, 69, 66, 64, 64, 62, 62, 62, 62) * 2
    assert note_f1(hear(audio(line(repeated))), repeated) > 0.95


def test_leading_silence_does_not_move_anything():
    late = hear(audio(line(lead_s=5.0)))
    assert note_f1(late, TUNE, lead_s=5.0) > 0.97
    assert late.left_out == ()


def test_notes_are_in_order_and_plain_ones_never_overlap():
    found = plain_line()
    assert all(a.onset_s <= b.onset_s for a, b in pairwise(found.notes))
    plain = [note for note in found.notes if note.role == "note"]
    assert all(a.offset_s <= b.onset_s + 1e-6 for a, b in pairwise(plain))
    assert all(0 < note.confidence <= 1 for note in found.notes)


def test_the_same_recording_gives_the_same_notes():
    assert hear(audio(line())) == plain_line()


def test_a_long_recording_gives_the_notes_of_its_parts():
    """Three times round, cut into pieces inside: each time round is heard like the first."""
    once = line(lead_s=0.5)
    found = hear(audio(np.concatenate([once] * 3)))
    single = hear(audio(once))
    length_s = len(once) / RATE
    for i in range(3):
        mine = [n for n in found.notes if i * length_s <= n.onset_s < (i + 1) * length_s]
        assert [round(n.midi) for n in mine] == [round(n.midi) for n in single.notes]
        np.testing.assert_allclose(
            [n.onset_s - i * length_s for n in mine],
            [n.onset_s for n in single.notes],
            atol=0.02,
        )


def test_several_voices_are_said_and_borne():
    third_above = line(tuple(midi + 4 for midi in TUNE[1:] + TUNE[:1]), harmonics=5)
    low = np.concatenate([struck(tone(m, 4 * STEP_S)) for m in (45, 43, 38, 41) * 3])
    both = line() + 0.8 * third_above
    both[: len(low)] += 0.2 * low[: len(both)].astype("f4")
    found = hear(audio(both), settings=HearSettings(players="solo"))
    assert any("Several instruments or voices" in warning for warning in found.warnings)
    assert not any(note.again for note in found.notes)
    alone = plain_line()
    assert np.mean([n.confidence for n in found.notes]) < np.mean(
        [n.confidence for n in alone.notes]
    )


def test_one_voice_is_not_called_several():
    assert plain_line().warnings == ()


def test_noise_is_not_called_several():
    """Brown-white noise 12 dB below the playing, the worst condition of the benchmark."""
    rng = np.random.default_rng(5)
    samples = line()
    shape = np.maximum(np.fft.rfftfreq(len(samples), 1 / RATE), 40.0) ** -0.5
    noise = np.fft.irfft(np.fft.rfft(rng.standard_normal(len(samples))) * shape, len(samples))
    noise *= samples.std() / noise.std() * 10 ** (-12 / 20)
    found = hear(audio((samples + noise).astype("f4")))
    assert found.warnings == ()
    assert [round(note.midi) for note in found.notes] == list(TUNE)


def test_warnings_about_the_recording_are_handed_on():
    recording = audio(line())
    clipped = type(recording)(recording.samples, RATE, recording.source, ("It is clipped.",))
    assert hear(clipped).warnings == ("It is clipped.",)


def test_too_few_notes_are_an_error():
    with pytest.raises(PipelineError, match="at least 8 are needed"):
        hear(audio(np.concatenate([line(TUNE[:4]), np.zeros(3 * RATE, "f4")])))


def test_an_ear_that_does_not_exist():
    with pytest.raises(UsageError, match='no ear "bat"'):
        HearSettings(ear="bat")


def test_progress_comes_to_an_end():
    said = []
    hear(audio(line()), progress=lambda what, fraction: said.append((what, fraction)))
    assert said
    assert all(what and 0.0 <= fraction <= 1.0 for what, fraction in said)


@pytest.mark.skipif(not VOICES, reason="the real voices are not here")
@pytest.mark.parametrize("path", VOICES, ids=lambda path: path.stem)
def test_real_voices_sung_again_from_the_notes_agree_in_chroma(path):
    """No truth here: tones made from the notes must have the singing's chroma (librosa's CQT
    chroma), frame by frame where notes were heard. Random chroma vectors agree to about 0.3."""
    import librosa

    recording = load_audio(path)
    found = hear(recording)
    again = np.zeros(len(recording.samples))
    cents = found.tuning_offset_cents / 100
    for note in found.notes:
        start = round(note.onset_s * RATE)
        sound = tone(note.midi + cents, note.offset_s - note.onset_s)[: len(again) - start]
        again[start : start + len(sound)] += sound
    real = librosa.feature.chroma_cqt(y=recording.samples, sr=RATE, tuning=cents)
    made = librosa.feature.chroma_cqt(y=again, sr=RATE, tuning=cents)
    voiced = np.zeros(real.shape[1], dtype=bool)
    for note in found.notes:
        voiced[round(note.onset_s * RATE / 512) : round(note.offset_s * RATE / 512)] = True
    cosine = (real * made).sum(axis=0) / np.maximum(
        np.linalg.norm(real, axis=0) * np.linalg.norm(made, axis=0), 1e-9
    )
    assert np.mean(voiced) > 0.5
    assert np.mean(cosine[voiced]) > 0.75
    assert len(found.notes) / recording.duration_s < 8
