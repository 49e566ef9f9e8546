"""Two real singers with words, when the files are there: is what we hear plausible?

Checked against trackers and features that nobody here wrote: the pitch of swift-f0 (L. Nieradzik,
2025) and librosa's chroma (B. McFee et al., 2015). The limits are common sense, well below what is
reached; nothing is tuned on these files.
"""

from functools import cache
from pathlib import Path

import librosa
import numpy as np
import pytest

from liltwright.hear.audio.events import find_events
from liltwright.hear.audio.recording import load_audio
from liltwright.hear.clean.rescue import fill_in
from liltwright.hear.clean.tidy import tidy
from liltwright.hear.ears.decode import own_notes
from liltwright.hear.ears.f0 import swift_track
from liltwright.hear.listen import hear

FOLDER = Path(__file__).parents[3] / "shared" / "data" / "voices"
FILES = sorted(FOLDER.glob("*.wav"))
VOICED = 0.8

pytestmark = pytest.mark.skipif(not FILES, reason="no real voices beside the repository")
each_file = pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)


@cache
def recording(path):
    return load_audio(path)


@cache
def raw(path):
    audio = recording(path)
    return tidy(own_notes(audio.samples, find_events(audio.samples, audio.sample_rate)))


@each_file
def test_words_need_no_second_listening(path):
    audio = recording(path)
    filled = fill_in(raw(path), audio, find_events(audio.samples, audio.sample_rate))
    assert len(filled) - len(raw(path)) <= 0.1 * len(filled)


@each_file
def test_notes_lie_where_a_pitch_tracker_hears_a_pitch(path):
    audio = recording(path)
    track = swift_track(audio.samples, audio.sample_rate)
    voiced, covered, agree = track.voiced > VOICED, np.zeros(len(track.times_s), dtype=bool), []
    for note in raw(path):
        inside = (track.times_s >= note.onset_s) & (track.times_s < note.offset_s)
        covered |= inside
        if (inside & voiced).any():
            agree.append(abs(np.median(track.pitch_midi[inside & voiced]) - note.midi) < 0.5)
    assert covered[voiced].mean() > 0.5
    assert len(agree) > 0.9 * len(raw(path))
    assert np.mean(agree) > 0.6


@each_file
def test_the_notes_sound_like_the_recording(path):
    """As bare tones the notes have the chroma of the recording; no transposition has more of it."""
    audio, found = recording(path), hear(recording(path))
    rate = audio.sample_rate
    tones = np.zeros(len(audio.samples), dtype=np.float32)
    for note in found.notes:
        a, b = round(note.onset_s * rate), min(round(note.offset_s * rate), len(tones))
        hz = 440.0 * 2 ** ((note.midi + found.tuning_offset_cents / 100 - 69) / 12)
        phase = 2 * np.pi * hz * np.arange(b - a) / rate
        tones[a:b] = sum(np.sin(k * phase) / k for k in range(1, 6))
    heard, sung = (
        librosa.feature.chroma_stft(y=y, sr=rate, n_fft=4096, hop_length=512, tuning=0.0)
        for y in (tones, audio.samples)
    )
    sounding = heard.max(axis=0) > 0.5
    agreement = [float((np.roll(heard, k, axis=0) * sung)[:, sounding].mean()) for k in range(12)]
    assert int(np.argmax(agreement)) == 0
    assert agreement[0] > 1.5 * np.median(agreement)
