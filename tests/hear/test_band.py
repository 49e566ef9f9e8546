"""The lead of a band, on closed-form mixtures that no training used."""

from pathlib import Path

import numpy as np
import pytest

from liltwright import models
from liltwright.errors import UsageError
from liltwright.hear.audio.recording import audio_from_samples
from liltwright.hear.audio.stretch import only_between
from liltwright.hear.ears.accompanied import Spot, agreement, is_plain
from liltwright.hear.ears.band import odd_db
from liltwright.hear.ears.facing import facing_the_lead
from liltwright.hear.ears.network import (
    BAND,
    BINS_PER_SEMITONE,
    HOP_S,
    LOWEST_MIDI,
    Evidence,
    evidence,
    evidence_inside,
    run_network,
)
from liltwright.hear.ears.one_octave import one_octave
from liltwright.hear.ears.raw import RawNote
from liltwright.hear.listen import hear
from liltwright.hear.settings import HearSettings
from liltwright.units import midi_to_hz
from tests.hear.signals import RATE, TUNE, audio, line, onsets
from tests.hear.test_listen import note_f1


def chords(seconds, *, loud):
    """Decaying triads every half second: D, G and A in turn."""
    out = np.zeros(int(seconds * RATE))
    for k, at in enumerate(np.arange(0.3, seconds - 0.6, 0.5)):
        t = np.arange(int(0.5 * RATE)) / RATE
        root = (50, 43, 45)[k // 4 % 3]
        start = int(at * RATE)
        for step in (0, 7, 12, 16):
            hz = float(midi_to_hz(np.array(float(root + step))))
            tone = sum(np.sin(2 * np.pi * hz * h * t) / h**1.5 for h in range(1, 6))
            out[start : start + len(t)] += loud * tone * np.exp(-t / 0.25)
    return out.astype(np.float32)


def mixed(loud=0.25):
    lead = line(harmonics=8)
    return audio(lead + chords(len(lead) / RATE, loud=loud)[: len(lead)])


def test_the_lead_is_followed_through_chords():
    found = hear(mixed())
    assert found.band
    assert note_f1(found, TUNE) > 0.9
    assert any("leading line" in warning for warning in found.warnings)


def test_one_player_keeps_the_solo_ear():
    assert not hear(audio(line(harmonics=8))).band


def test_solo_is_as_if_there_were_no_bands():
    found = hear(mixed(), settings=HearSettings(players="solo"))
    assert not found.band
    assert any("Several instruments or voices" in warning for warning in found.warnings)


def test_only_the_own_ear_follows_a_band():
    with pytest.raises(UsageError, match="take its own or listen to one player"):
        HearSettings(ear="swift-f0", players="band")


def test_the_exported_network_gives_what_pytorch_gave():
    with np.load(Path(models.__file__).parent / "band/reference.npz") as stored:
        pitch, events = run_network(stored["spectra"], model=BAND)
        assert np.abs(pitch - stored["pitch"]).max() < 1e-4
        assert np.abs(events - stored["events"]).max() < 1e-4


def beliefs(octave_up):
    """One second of MIDI 60 with the octave above almost as probable."""
    pitch = np.full((90, 208), 1e-4, dtype=np.float32)
    at = (60 - LOWEST_MIDI) * BINS_PER_SEMITONE + 1
    pitch[:, at], pitch[:, at + 36] = 1 - octave_up, octave_up
    none = np.zeros(90, dtype=np.float32)
    return Evidence(pitch, none, none, none)


def test_a_leap_of_an_octave_and_back_is_put_right_where_the_ear_allows_it():
    notes = [RawNote(k * 0.2, k * 0.2 + 0.18, 60.0 + 12 * (k == 2), 0.9) for k in range(5)]
    assert [n.midi for n in one_octave(notes, beliefs(0.4))] == [60.0] * 5
    assert one_octave(notes, beliefs(0.9999))[2].midi == 72.0


@pytest.mark.parametrize(("others", "octave"), [(0.002, 72.0), (0.2, 60.0)])
def test_the_more_notes_are_in_doubt_the_more_the_line_keeps_to_one_octave(others, octave):
    """Players in octaves: a note in which the upper one is louder stays with the lower one's line.

    others : belief in the upper octave of the notes around it
    """
    notes = [RawNote(k * 0.2, k * 0.2 + 0.18, 60.0 + 12 * (k == 2), 0.9) for k in range(5)]
    found = beliefs(others)
    at, middle = (60 - LOWEST_MIDI) * BINS_PER_SEMITONE + 1, slice(34, 51)
    found.pitch[middle, at], found.pitch[middle, at + 36] = 0.04, 0.96
    assert [n.midi for n in one_octave(notes, found)] == [60.0, 60.0, octave, 60.0, 60.0]


def test_a_note_without_its_odd_harmonics_sounds_an_octave_higher():
    notes = [RawNote(k * 0.2, k * 0.2 + 0.18, 60.0, 0.9) for k in range(5)]
    t = np.arange(RATE) / RATE
    low = float(midi_to_hz(np.array(60.0)))
    for harmonics, octave in (((1, 2, 3, 4), 60.0), ((2, 4, 6), 72.0)):
        tone = sum(np.sin(2 * np.pi * low * h * t) / h for h in harmonics).astype(np.float32)
        odd = odd_db(tone, notes)
        assert [n.midi for n in one_octave(notes, beliefs(0.05), odd)] == [octave] * 5


def test_a_glance_is_worked_through_once_and_changes_no_byte():
    samples = line(harmonics=8)
    known = {}
    middle, start_s = evidence_inside(samples, model=BAND, known=known)
    spoiled = {span: (pitch + 1, events) for span, (pitch, events) in known.items()}
    whole = evidence(samples, model=BAND)
    again = evidence(samples, model=BAND, known=known)
    assert np.array_equal(whole.pitch, again.pitch)
    assert np.array_equal(whole.onset, again.onset)
    first = round(start_s / HOP_S)
    assert np.array_equal(whole.pitch[first : first + len(middle.pitch)], middle.pitch)
    assert not np.array_equal(whole.pitch, evidence(samples, model=BAND, known=spoiled).pitch)
    assert not is_plain(Spot(samples, RATE, None, {}))


def test_a_panned_lead_is_faced():
    lead = line(harmonics=8)
    rest = chords(len(lead) / RATE, loud=1.0)[: len(lead)]
    both = np.stack([0.25 * lead + 0.75 * rest, 0.75 * lead + 0.25 * rest], axis=1)
    stereo = audio_from_samples(both, RATE)
    notes = [
        RawNote(at, at + 0.2, float(midi), 0.9) for at, midi in zip(onsets(), TUNE, strict=True)
    ]
    faced = facing_the_lead(stereo, notes)

    def share(samples):
        return abs(np.corrcoef(samples, lead)[0, 1])

    assert share(faced.samples) > share(stereo.samples) + 0.1
    alone = audio(lead)
    assert facing_the_lead(alone, notes) is alone


def test_a_band_between_two_times_is_found_out():
    silence = np.zeros(40 * RATE, "f4")
    assert hear(audio(np.concatenate([silence[: 5 * RATE], mixed().samples, silence]))).band


def test_agreement_counts_each_note_once():
    notes = [RawNote(1.0, 1.2, 60.0, 0.9), RawNote(1.3, 1.5, 62.0, 0.9)]
    alike = [RawNote(1.01, 1.2, 60.1, 0.9), RawNote(1.31, 1.5, 62.0, 0.9)]
    assert agreement([alike], [notes]) == 1.0
    assert agreement([[notes[0], notes[0]]], [notes]) == 0.5
    assert agreement([alike, []], [notes, notes]) == 4 / 6
    assert agreement([[]], [[]]) == 0.0


def test_a_stretch_keeps_the_times_of_the_recording():
    whole = audio(line())
    part = only_between(whole, 3.0, 9.0)
    assert len(part.samples) == len(whole.samples)
    assert not part.samples[: 3 * RATE].any()
    assert not part.samples[9 * RATE :].any()
    assert np.array_equal(part.samples[4 * RATE : 8 * RATE], whole.samples[4 * RATE : 8 * RATE])
    assert only_between(whole, None, None) is whole


@pytest.mark.parametrize(
    ("start", "stop", "words"), [(999, None, "lasts"), (3, 4, "further apart")]
)
def test_a_stretch_that_is_no_stretch_is_refused(start, stop, words):
    with pytest.raises(UsageError, match=words):
        only_between(audio(line()), start, stop)
