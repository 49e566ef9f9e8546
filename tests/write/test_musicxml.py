"""MusicXML as we write it, held against the W3C schema, music21 and verovio."""

from __future__ import annotations

import base64
from fractions import Fraction
from functools import cache

import pytest
from lxml import etree

from liltwright.guitar.fretboard import open_midi
from liltwright.read.abc import read_abc
from liltwright.read.musicxml import read_musicxml
from liltwright.tab import Arrangement
from liltwright.tune import Tune
from liltwright.write.formats.musicxml import layer_to_musicxml, tune_to_musicxml
from liltwright.write.sheet.layout import sheet_of_layer
from tests.read import books
from tests.write.arranged import arrangements, layers
from tests.write.hand_made import arrangement, jig
from tests.write.heard_by import midi_tracks, voice_of
from tests.write.schema import faults, needs_schema


@cache
def hand_made() -> etree._Element:
    return etree.fromstring(layer_to_musicxml(jig(), arrangement(), "plain-bass"))


# ---------------------------------------------------------------- the standard


@needs_schema
@pytest.mark.parametrize(("tune", "arrangement", "name"), layers())
def test_layers_are_valid_musicxml_4(tune: Tune, arrangement: Arrangement, name: str):
    assert faults(layer_to_musicxml(tune, arrangement, name)) == []


@needs_schema
def test_tunes_are_valid_musicxml_4():
    for tune in books.some(40):
        assert faults(tune_to_musicxml(tune)) == [], tune.title


def test_tuning_lines_count_from_the_lowest_string_and_leave_the_capo_out():
    # MusicXML 4.0: staff-tuning/line 1 is the bottom line; capo raises the tuning by half-steps.
    details = hand_made().find(".//staff-details")
    assert details is not None
    tuning = [
        (int(one.get("line")), one.findtext("tuning-step") + one.findtext("tuning-octave"))
        for one in details.iter("staff-tuning")
    ]
    assert tuning == [(1, "D2"), (2, "A2"), (3, "D3"), (4, "G3"), (5, "A3"), (6, "D4")]
    assert details.findtext("capo") == "2"
    assert [child.tag for child in details] == ["staff-lines", *["staff-tuning"] * 6, "capo"]


@pytest.mark.parametrize(("tune", "arrangement", "name"), layers())
def test_string_capo_and_fret_give_the_pitch(tune: Tune, arrangement: Arrangement, name: str):
    # string 1 is the highest; fret 0 is open; frets count from the capo
    strings, capo = arrangement.setup.strings_midi, arrangement.setup.capo
    steps = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
    count = 0
    for note in etree.fromstring(layer_to_musicxml(tune, arrangement, name)).iter("note"):
        string = note.findtext(".//string")
        if string is None:
            continue
        pitch = note.find("pitch")
        midi = 12 * (int(pitch.findtext("octave")) + 1) + steps[pitch.findtext("step")]
        midi += int(pitch.findtext("alter") or 0)
        assert open_midi(strings, int(string)) + capo + int(note.findtext(".//fret")) == midi
        count += 1
    assert count > 30


def test_voices_pickups_repeats_and_endings():
    root = hand_made()
    stems = {note.findtext("voice"): note.findtext("stem") for note in root.iter("note")}
    assert (stems["1"], stems["2"]) == ("up", "down")
    measures = root.findall(".//measure")
    assert [m.get("number") for m in measures][:3] == ["0", "1", "2"]
    assert [m.get("number") for m in measures if m.get("implicit") == "yes"] == ["0", "X1"]
    marks = [
        (
            line.get("location"),
            *(f"{one.tag} {one.get('type') or one.get('direction')}" for one in line),
        )
        for line in root.iter("barline")
    ]
    assert ("left", "bar-style None", "repeat forward") in marks
    assert ("right", "bar-style None", "ending stop", "repeat backward") in marks
    assert marks[-1] == ("right", "bar-style None", "ending discontinue")
    assert [one.get("number") for one in root.iter("ending")] == ["1", "1", "2", "2"]


def test_every_measure_is_filled_by_each_staff():
    for measure in hand_made().iter("measure"):
        now = longest = 0
        for element in measure:
            duration = int(element.findtext("duration") or 0)
            if element.tag == "backup":
                now -= duration
            elif element.find("chord") is None:
                now += duration
            longest = max(longest, now)
        assert now == longest


def test_techniques_are_tied_to_the_note_before_on_the_string():
    from dataclasses import replace

    tune, made = jig(), arrangement()
    melody = made.layers[0]
    bar = list(melody.bars[2])
    bar[1] = replace(bar[1], string=bar[0].string, technique="hammer-on")
    layer = replace(melody, bars=(*melody.bars[:2], tuple(bar), *melody.bars[3:]))
    root = etree.fromstring(layer_to_musicxml(tune, replace(made, layers=(layer,)), "melody"))
    assert [one.get("type") for one in root.iter("hammer-on")] == ["start", "stop"]
    assert [one.get("type") for one in root.iter("slur")] == ["start", "stop"]


def test_chord_symbols_and_dynamics():
    root = hand_made()
    kinds = {(h.findtext("root/root-step"), h.findtext("kind")) for h in root.iter("harmony")}
    assert kinds == {("E", "major"), ("E", "power")}
    played = etree.fromstring(layer_to_musicxml(jig(), arrangement(), "performance"))
    assert [next(iter(one)).tag for one in played.iter("dynamics")] == ["mp", "mf", "f"]


def test_the_same_layer_gives_the_same_bytes():
    assert layer_to_musicxml(jig(), arrangement(), "drone") == layer_to_musicxml(
        jig(), arrangement(), "drone"
    )


# ---------------------------------------------------------------- other programs


@pytest.mark.parametrize(("tune", "arrangement", "name"), layers())
def test_verovio_plays_what_is_written_repeats_and_endings_too(
    tune: Tune, arrangement: Arrangement, name: str
):
    import verovio

    toolkit = verovio.toolkit()
    assert toolkit.loadData(layer_to_musicxml(tune, arrangement, name).decode())
    staves = midi_tracks(base64.b64decode(toolkit.renderToMIDI()))
    sheet = sheet_of_layer(tune, arrangement, name)
    order = None if name == "performance" else tune.performed_order()
    ours = voice_of(sheet, ("melody", "bass", "inner"), order)
    notation, tablature = staves
    # verovio plays the tablature staff from its strings and frets and knows no capo there.
    tablature = [(at, pitch + arrangement.setup.capo) for at, pitch in tablature]
    for theirs in (notation, tablature):
        assert [pitch for _, pitch in theirs] == [pitch for _, pitch in ours]
        apart = [abs(a - b) for (a, _), (b, _) in zip(ours, theirs, strict=True)]
        assert max(apart) < Fraction(1, 200)


def test_verovio_draws_every_fret():
    import re

    import verovio

    toolkit = verovio.toolkit()
    toolkit.setOptions({"pageHeight": 60000, "breaks": "auto"})
    toolkit.loadData(layer_to_musicxml(jig(), arrangement(), "plain-bass").decode())
    svg = toolkit.renderToSVG(1)
    frets = re.findall(r'class="note"', svg)
    sheet = sheet_of_layer(jig(), arrangement(), "plain-bass")
    heads = sum(len(i.notes) for bar in sheet.bars for v in bar.voices for i in v.items)
    assert len(frets) == 2 * heads  # once as a note head, once as a fret
    assert "The Lamp at the Ferry" in svg


@pytest.mark.parametrize("which", range(3))
def test_music21_reads_notes_strings_and_frets_back(which: int):
    from music21 import articulations, converter

    tune, made = arrangements()[which]
    name = made.layers[-1].name
    score = converter.parseData(layer_to_musicxml(tune, made, name).decode(), format="musicxml")
    notation, tablature = score.parts
    ours = voice_of(sheet_of_layer(tune, made, name), ("melody", "bass", "inner"))
    theirs = []
    for note in notation.flatten().notes:
        if "ChordSymbol" in note.classes or (note.tie and note.tie.type != "start"):
            continue
        at = Fraction(note.offset).limit_denominator(960) / 4
        theirs += [(at, pitch.midi) for pitch in note.pitches]
    assert sorted(theirs) == ours
    strings, capo = made.setup.strings_midi, made.setup.capo
    for note in tablature.flatten().notes:
        signs = note.articulations
        string = [s.number for s in signs if isinstance(s, articulations.StringIndication)]
        fret = [s.number for s in signs if isinstance(s, articulations.FretIndication)]
        if note.isNote:
            assert open_midi(strings, string[0]) + capo + fret[0] == note.pitch.midi


def test_music21_reads_a_tune_bar_for_bar():
    from music21 import converter

    for tune in books.some(6):
        score = converter.parseData(tune_to_musicxml(tune).decode(), format="musicxml")
        theirs = [
            [
                n.pitch.midi
                for n in bar.flatten().notes
                if n.isNote and (not n.tie or n.tie.type == "start")
            ]
            for bar in score.parts[0].getElementsByClass("Measure")
        ]
        assert theirs == [[note.midi for note in bar.notes] for bar in tune.written_bars()]


# ---------------------------------------------------------------- reading it ourselves


def test_our_layer_read_back_is_the_melody_an_octave_as_written():
    tune, made = jig(), arrangement()
    again = read_musicxml(layer_to_musicxml(tune, made, "plain-bass"), name="a.musicxml")
    assert again.form == tune.form
    shift = made.setup.transpose + 12  # guitar notation is written an octave above its sound
    assert [n.midi for b in again.written_bars() for n in b.notes] == [
        n.midi + shift for b in tune.written_bars() for n in b.notes
    ]


def test_accidentals_are_printed_once_a_bar():
    tune = read_abc("X:1\nT:A\nM:4/4\nL:1/8\nK:G\nF=F FF ^FF ff|FFFF z4|", name="a")
    signs = [
        note.findtext("accidental")
        for note in etree.fromstring(tune_to_musicxml(tune)).iter("note")
    ]
    # The upper F has its own accidental state; the signature makes it sharp.
    assert signs[:8] == [None, "natural", None, None, "sharp", None, None, None]
    assert signs[8:] == [None, None, None, None, None]
