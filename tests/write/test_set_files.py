"""A set as files: every change named, two bars into every next tune, one performance in time."""

from __future__ import annotations

import io
import re
from fractions import Fraction
from itertools import pairwise

import mido
import pytest
import soundfile
from typer.testing import CliRunner

import liltwright
from liltwright import run
from liltwright.arrange.rounds import performance
from liltwright.arrange.sets import SetSettings, plan_set
from liltwright.cli import app
from liltwright.errors import UsageError
from liltwright.guitar.player import Player
from liltwright.options import GuitarOptions, LayerOptions, OutputOptions, for_tunes, guitars
from liltwright.records import from_json
from liltwright.summary import set_lines
from liltwright.tab import Arrangement
from liltwright.write.sound.synth import layer_audio
from tests.arrange.checker import hand_faults
from tests.arrange.samples import OWN, own

NAMES = ("jig", "reel", "slip jig")


@pytest.fixture(scope="module")
def made():
    tunes = [own(name) for name in NAMES]
    kept = GuitarOptions(tuning="DADGAD", capo=2)
    rankings = [
        run.rank_within(tune, Player(), kept) if place == 1 else liltwright.rank(tune)
        for place, tune in enumerate(tunes)
    ]
    settings = SetSettings(keep_order=True, plans=1)
    (plan,) = plan_set(tunes, rankings, settings=settings)
    words = list(set_lines(1, plan, NAMES))
    layers = LayerOptions(rounds="moving-bass")
    output = OutputOptions(sheets=True, sound=True)
    files = run.set_files_of(tunes, plan, words, Player(), layers, output)
    played = [
        (tunes[index], from_json(files[f"set-{place}.json"], Arrangement))
        for place, index in enumerate(plan.order, 1)
    ]
    return plan, played, files


def test_a_pinned_tuning_stays(made):
    plan, _, _ = made
    assert (plan.setups[1].tuning, plan.setups[1].capo) == ("DADGAD", 2)


def test_every_change_is_named_over_the_lead_in(made):
    plan, played, files = made
    text = files["set.txt"].decode()
    for change, (_, arrangement) in zip(plan.changes, played[1:], strict=True):
        for step in (*change.strings, change.capo):
            assert step in arrangement.change
        assert arrangement.change in text
        assert (
            arrangement.change
            in files["set-2.musicxml"].decode() + files["set-3.musicxml"].decode()
        )
    assert played[0][1].lead_in == ()


def test_two_bars_lead_into_every_next_tune(made):
    _, played, _ = made
    for tune, arrangement in played[1:]:
        first, second = arrangement.lead_in
        tonic = arrangement.setup.sounds_in
        low = max(first, key=lambda note: note.string)
        from liltwright.keys import pitch_class

        assert low.midi % 12 == pitch_class(tonic.tonic)
        assert {note.midi % 12 for note in second} == {(pitch_class(tonic.tonic) + 7) % 12}
        for bar in (first, second):
            for note in bar:
                sounds = arrangement.setup.strings_midi[6 - note.string] + arrangement.setup.capo
                assert sounds + note.fret == note.midi
            starts = {note.start for note in bar}
            for start in starts:
                held = [n for n in bar if n.start <= start < n.start + n.length]
                assert hand_faults(held, arrangement.setup.capo) == []
        order = tune.performed_order()
        bars = performance(tune, arrangement)
        assert [bar.written for bar in bars] == [-1, -1, *order, -1]
        pickup = tune.written_bars()[order[0]]
        room = pickup.length if pickup.kind == "pickup" else Fraction(0)
        assert bars[1].length == tune.bar_length - room
        assert all(note.start + note.length <= bars[1].length for note in second)


def test_the_sound_is_as_long_as_its_tunes_and_the_breaths(made):
    plan, played, files = made
    data, rate = soundfile.read(io.BytesIO(files["set.ogg"]))
    ends = [layer_audio(*one, "performance").bars[-1].end_s for one in played]
    breaths = sum(3.0 for change in plan.changes if change.strings or change.capo)
    assert len(data) / rate == pytest.approx(sum(ends) + breaths, abs=4.0)
    assert abs(data).max() <= 1.0


def test_the_midi_file_goes_on_bar_for_bar(made):
    _, played, files = made
    midi = mido.MidiFile(file=io.BytesIO(files["set.mid"]))
    onsets = 0
    for track in midi.tracks:
        open_notes: dict[int, int] = {}
        for message in track:
            if message.type == "note_on" and message.velocity:
                onsets += 1
                open_notes[message.note] = open_notes.get(message.note, 0) + 1
            elif message.type in ("note_on", "note_off"):
                open_notes[message.note] -= 1
        assert not any(open_notes.values())
    wanted = sum(len(bar.notes) for one in played for bar in performance(*one))
    assert onsets == wanted
    cues = [m.text for m in midi.tracks[0] if m.type == "cue_marker"]
    assert [arrangement.change for _, arrangement in played[1:]] == [
        cue for cue in cues if not cue.startswith("Round")
    ]
    tempos = [m.tempo for m in midi.tracks[0] if m.type == "set_tempo"]
    assert len(tempos) == 3


def test_the_sheets_hold_every_tune(made):
    _, _, files = made
    assert files["set.pdf"].startswith(b"%PDF")
    assert (
        len(re.findall(rb"/Type\s*/Page\b", files["set.pdf"])) >= 3 or b"/Count" in files["set.pdf"]
    )


def test_what_is_said_of_one_tune_or_of_all():
    assert for_tunes(["DADGAD", "2=open G"], 3, "--tuning") == ["DADGAD", "open G", "DADGAD"]
    assert guitars(["1=DADGAD"], ["2=5"], None, 2)[1].capo == 5
    for wrong in (["3=DADGAD"], ["0=DADGAD"], ["x=DADGAD"], ["1="]):
        with pytest.raises(UsageError, match="names no tune of this set"):
            for_tunes(wrong, 2, "--tuning")
    with pytest.raises(UsageError, match="is no fret"):
        guitars(None, ["two"], None, 2)


def test_the_command_writes_the_set_and_leaves_own_files_alone(tmp_path):
    paths = []
    for name in ("jig", "reel"):
        path = tmp_path / f"{name}.abc"
        path.write_text(OWN[name])
        paths.append(str(path))
    out = tmp_path / "set"
    command = ["set", *paths, "--out", str(out), "--no-sheets", "--no-sound", "--tuning", "DADGAD"]
    assert CliRunner().invoke(app, command).exit_code == 0
    (out / "set.txt").write_text("mine\n")
    done = CliRunner().invoke(app, [*command, "--capo", "2=0"])
    assert done.exit_code == 0, done.output
    assert (out / "set.txt").read_text() == "mine\n"
    names = {path.name for path in out.iterdir()}
    assert {"set.new.txt", "set.mid", "set.json", "set-1.musicxml", "set-2.json"} <= names
    assert not {"set.pdf", "set.ogg"} & names
    again = CliRunner().invoke(app, ["set", *paths, "--take", "9", "--tuning", "DADGAD"])
    assert isinstance(again.exception, UsageError)


def test_the_same_set_gives_the_same_bytes(made):
    _, played, files = made
    from liltwright.write.set_files import _midi

    assert _midi(played) == files["set.mid"]
    assert all(one != two for one, two in pairwise([files["set-1.json"], files["set-2.json"]]))
