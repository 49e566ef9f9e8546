"""MIDI as we write it, read by mido; the values are those of Standard MIDI Files 1.0."""

from __future__ import annotations

import io
from dataclasses import replace
from fractions import Fraction

import mido
import pytest

from liltwright.read.abc import read_abc
from liltwright.tab import Arrangement
from liltwright.tune import NoteEvent, Tune
from liltwright.write.formats.midi import heard_to_midi, layer_to_midi, tune_to_midi
from liltwright.write.sheet.layout import sheet_of_layer
from tests.read import books
from tests.write.arranged import layers
from tests.write.hand_made import arrangement, jig
from tests.write.heard_by import midi_tracks, played


def opened(data: bytes) -> mido.MidiFile:
    return mido.MidiFile(file=io.BytesIO(data), charset="utf-8")


def metas(data: bytes, kind: str) -> list[mido.MetaMessage]:
    return [message for track in opened(data).tracks for message in track if message.type == kind]


def test_the_file_begins_as_the_standard_says():
    data = tune_to_midi(jig())
    assert data[:8] == b"MThd\x00\x00\x00\x06"
    assert opened(data).type == 1
    assert all(track[-1].type == "end_of_track" for track in opened(data).tracks)


def test_tempo_metre_and_key():
    data = tune_to_midi(jig())
    # 112 dotted quarters a minute are 168 quarters: 60e6 / 168 microseconds a quarter
    assert metas(data, "set_tempo")[0].tempo == 357143
    first = metas(data, "time_signature")[0]
    assert (first.numerator, first.denominator) == (6, 8)
    assert metas(data, "key_signature")[0].key == "G"  # one sharp, as D mixolydian has
    assert len(metas(data, "time_signature")) == 1


@pytest.mark.parametrize("tune", books.some(12), ids=lambda tune: tune.title[:24])
def test_the_tune_sounds_with_its_repeats(tune: Tune):
    (melody,) = midi_tracks(tune_to_midi(tune))
    assert [pitch for _, pitch in melody] == [pitch for _, pitch in played(tune)]


def test_repeats_endings_and_pickups_end_to_end():
    tune = read_abc("X:1\nT:A\nM:2/4\nL:1/8\nK:C\nG|:c2d2|[1e2cG:|[2e2c:|\nd|e4|f3:|", name="a")
    (melody,) = midi_tracks(tune_to_midi(tune))
    assert [(str(at * 8), pitch) for at, pitch in melody][:5] == [
        ("3", 67), ("4", 72), ("6", 74), ("8", 76), ("10", 72),
    ]  # fmt: skip
    assert [pitch for _, pitch in melody] == [
        67, 72, 74, 76, 72, 67, 72, 74, 76, 72, 74, 76, 77, 74, 76, 77,
    ]  # fmt: skip
    assert [message.text for message in metas(tune_to_midi(tune), "marker")][:2] == [
        "A",
        "ending 1",
    ]


def test_a_layer_has_a_track_for_each_voice_and_a_guitar_to_play_it():
    file = opened(layer_to_midi(jig(), arrangement(), "plain-bass"))
    assert [track.name for track in file.tracks] == ["The Lamp at the Ferry", "melody", "bass"]
    programs = [m.program for track in file.tracks for m in track if m.type == "program_change"]
    assert programs == [25, 25]


@pytest.mark.parametrize(("tune", "made", "name"), layers())
def test_every_note_of_a_layer_sounds_at_its_pitch(tune: Tune, made: Arrangement, name: str):
    tracks = midi_tracks(layer_to_midi(tune, made, name))
    sheet = sheet_of_layer(tune, made, name)
    order = range(len(sheet.bars)) if name == "performance" else tune.performed_order()
    ours = sorted(note.midi for index in order for note in sheet.bars[index].sounding)
    assert sorted(pitch for track in tracks for _, pitch in track) == ours


def test_swing_only_on_request():
    tune = read_abc("X:1\nT:A\nR:hornpipe\nM:4/4\nL:1/8\nK:C\nCDEF GABc|", name="a")
    tune = replace(tune, swing=2.0)

    def starts(data: bytes) -> list[Fraction]:
        return [at for at, _ in midi_tracks(data)[0]]

    assert starts(tune_to_midi(tune)) == [Fraction(n, 8) for n in range(8)]
    swung = starts(tune_to_midi(tune, swing=True))
    assert swung[:4] == [0, Fraction(1, 6), Fraction(1, 4), Fraction(5, 12)]


def test_no_note_is_left_sounding():
    for tune, made, name in layers():
        for track in opened(layer_to_midi(tune, made, name)).tracks:
            sounding: set[int] = set()
            for message in track:
                if message.type == "note_on":
                    assert message.note not in sounding
                    sounding.add(message.note)
                elif message.type == "note_off":
                    sounding.remove(message.note)
            assert not sounding


def test_heard_notes_keep_their_times_and_cents():
    notes = (NoteEvent(0.5, 0.75, 69.25, 0.9), NoteEvent(0.75, 1.0, 70.0, 0.5))
    track = opened(heard_to_midi(replace(jig(), heard=notes))).tracks[0]
    assert mido.tick2second(480, opened(heard_to_midi(jig())).ticks_per_beat, 500_000) == 0.5
    now, found = 0, []
    for message in track:
        now += message.time
        if message.type in ("note_on", "note_off", "pitchwheel"):
            value = message.pitch if message.type == "pitchwheel" else message.note
            found.append((now, message.type, value))
    # 960 ticks a second; a quarter of a semitone is 1024 of the 8192 steps of two semitones
    assert found == [
        (480, "pitchwheel", 1024), (480, "note_on", 69), (720, "note_off", 69),
        (720, "pitchwheel", 0), (720, "note_on", 70), (960, "note_off", 70),
    ]  # fmt: skip


def test_the_same_tune_gives_the_same_bytes():
    assert tune_to_midi(jig()) == tune_to_midi(jig())
