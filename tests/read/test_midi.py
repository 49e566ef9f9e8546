"""MIDI files that others wrote: written-out repeats, short notes, several tracks, performances."""

from __future__ import annotations

import io
import random

import mido
import pytest

from liltwright.errors import PipelineError
from liltwright.read.abc import read_abc
from liltwright.tune import Tune
from liltwright.tunefile import tune_from_bytes
from liltwright.write.formats.midi import tune_to_midi

TICKS = 480
EMPTY = b"MThd\0\0\0\6\0\0\0\1\1\xe0MTrk\0\0\0\4\0\xff\x2f\0"
A = "DFAd f2ed|BdAF E2D2|" * 3 + "DFAd f2ed|"
B = "afda f2d2|gfed c2A2|" * 3 + "afda f2d2|"
TUNE = f"X:1\nT:A\nR:reel\nM:4/4\nL:1/8\nK:D\n|:{A}BdAF D4:|\n|:{B}[1gfec A4:|[2gfec d4|]\n"


def tune(text: str = TUNE) -> Tune:
    return read_abc(text, name="a.abc")


def struck(note: int, velocity: int) -> mido.Message:
    return mido.Message("note_on", note=note, velocity=velocity)


def plain(data: bytes, *, shorter: float = 1.0, late: float = 0.0) -> bytes:
    """A file as another program might write it: notes and metre alone, no markers, no names.

    shorter : share of its length that a note sounds.
    late : most by which a note is early or late, in quarters.
    """
    chance = random.Random(1)
    source = mido.MidiFile(file=io.BytesIO(data))
    scale = TICKS / source.ticks_per_beat
    events: list[tuple[int, mido.Message]] = []
    now, on = 0, {}
    for message in source.tracks[1]:
        now += message.time
        if message.type == "note_on":
            on[message.note] = now
        elif message.type == "note_off":
            start = on.pop(message.note) * scale + chance.uniform(-late, late) * TICKS
            end = start + (now * scale - start) * shorter
            events.append((max(0, round(start)), struck(message.note, 70)))
            events.append((max(1, round(end)), struck(message.note, 0)))
    track = mido.MidiTrack([m for m in source.tracks[0] if m.type == "time_signature"][:1])
    last = 0
    for tick, message in sorted(events, key=lambda event: (event[0], event[1].velocity)):
        track.append(message.copy(time=tick - last))
        last = tick
    out = io.BytesIO()
    mido.MidiFile(type=0, ticks_per_beat=TICKS, tracks=[track]).save(file=out)
    return out.getvalue()


def test_written_out_repeats_are_folded_with_their_endings():
    again = tune_from_bytes(plain(tune_to_midi(tune())), name="a.mid")
    assert again.parts == tune().parts
    assert again.form == "AABB"


def test_two_rounds_are_one():
    once = mido.MidiFile(file=io.BytesIO(plain(tune_to_midi(tune()))))
    twice = mido.MidiTrack(list(once.tracks[0])[:-1] + list(once.tracks[0])[1:])
    once.tracks[0] = twice
    out = io.BytesIO()
    once.save(file=out)
    assert tune_from_bytes(out.getvalue(), name="a.mid").parts == tune().parts


def test_a_pickup_leads_into_each_part():
    text = TUNE.replace("|:DF", "|:A2|DF").replace("|:af", "|:d2|af")
    text = text.replace("D4:", "D2:").replace("A4:", "A2:").replace("d4|]", "d2|]")
    assert tune(text).parts[0].pickup
    assert tune_from_bytes(plain(tune_to_midi(tune(text))), name="a.mid").parts == tune(text).parts


def test_notes_played_short_count_to_the_next():
    again = tune_from_bytes(plain(tune_to_midi(tune()), shorter=0.9), name="a.mid")
    assert again.parts == tune().parts


def test_the_highest_note_of_the_fullest_track_is_the_melody():
    low = mido.MidiTrack([mido.Message("note_on", note=40, velocity=60, time=0)])
    low.append(mido.Message("note_off", note=40, velocity=0, time=8 * TICKS))
    file = mido.MidiFile(file=io.BytesIO(plain(tune_to_midi(tune()))))
    file.type = 1
    file.tracks.insert(0, low)
    out = io.BytesIO()
    file.save(file=out)
    assert tune_from_bytes(out.getvalue(), name="a.mid").parts == tune().parts


def test_the_key_of_a_file_without_one_comes_from_its_notes():
    again = tune_from_bytes(plain(tune_to_midi(tune())), name="a.mid")
    assert (again.tonic, again.mode, again.candidates.key) == ("D", "major", ())
    assert any("names no key" in remark for remark in again.remarks)


def test_a_performance_off_the_grid_is_read_like_a_recording():
    again = tune_from_bytes(plain(tune_to_midi(tune()), late=0.06), name="a.mid")
    assert again.heard
    assert again.meter in ("4/4", "2/2")


@pytest.mark.parametrize(
    ("data", "fault"),
    [
        (b"MThd", "broken MIDI file"),
        (tune_to_midi(tune())[:200], "broken MIDI file"),
        (EMPTY, "no notes"),
    ],
)  # fmt: skip
def test_faults_are_one_clear_sentence(data: bytes, fault: str):
    with pytest.raises(PipelineError, match=fault):
        tune_from_bytes(data, name="a.mid")
