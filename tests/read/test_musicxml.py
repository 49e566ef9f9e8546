"""MusicXML that others wrote: what is taken as the tune, and what is refused."""

from __future__ import annotations

import io
import zipfile

import pytest

from liltwright.errors import PipelineError
from liltwright.read.musicxml import read_musicxml
from liltwright.write.formats.abc import tune_to_abc
from liltwright.write.formats.musicxml import tune_to_musicxml
from tests.read import books

HEAD = '<?xml version="1.0"?><score-partwise version="4.0"><part-list/>'
FIRST = (
    "<attributes><divisions>2</divisions><key><fifths>1</fifths><mode>mixolydian</mode></key>"
    "<time><beats>6</beats><beat-type>8</beat-type></time></attributes>"
)


def note(step: str, duration: int, *, more: str = "", before: str = "") -> str:
    pitch = f"<pitch><step>{step[0]}</step><octave>{step[1]}</octave></pitch>"
    return f"<note>{before}{pitch}<duration>{duration}</duration>{more}</note>"


def score(*measures: str) -> bytes:
    inside = "".join(f"<measure>{text}</measure>" for text in (FIRST + measures[0], *measures[1:]))
    return f'{HEAD}<part id="P1">{inside}</part></score-partwise>'.encode()


def test_pitch_length_key_and_metre():
    tune = read_musicxml(score(note("D4", 3) + note("E5", 3)), name="a.xml")
    assert [(n.midi, str(n.length)) for n in tune.parts[0].bars[0]] == [(62, "3/8"), (76, "3/8")]
    assert (tune.tonic, tune.mode, tune.signature, tune.meter) == ("D", "mixolydian", 1, "6/8")


def test_the_melody_is_the_first_voice_and_the_top_of_chords():
    bass = "<backup><duration>6</duration></backup>" + note("D3", 6, more="<voice>2</voice>")
    upper = note("D4", 6, more="<voice>1</voice>")
    third = note("F4", 6, more="<voice>1</voice>", before="<chord/>")
    tune = read_musicxml(score(upper + third + bass), name="a.xml")
    assert [n.midi for n in tune.parts[0].bars[0]] == [65]


def test_tied_notes_are_one():
    one = note("D4", 6, more='<tie type="start"/>')
    two = note("D4", 3, more='<tie type="stop"/>') + note("E4", 3)
    bars = read_musicxml(score(one, two), name="a.xml").parts[0].bars
    assert [str(n.length) for n in bars[0]] == ["9/8"]
    assert [str(n.start) for n in bars[1]] == ["3/8"]


def test_repeats_and_endings():
    def line(where: str, inside: str) -> str:
        return f'<barline location="{where}">{inside}</barline>'

    bar = note("D4", 6)
    back = '<repeat direction="backward"/>'
    tune = read_musicxml(
        score(
            line("left", '<repeat direction="forward"/>') + bar,
            line("left", '<ending number="1" type="start"/>') + bar + line("right", back),
            line("left", '<ending number="2" type="start"/>') + bar
            + line("right", "<bar-style>light-light</bar-style>"),
            note("E4", 6) + line("right", "<bar-style>light-heavy</bar-style>"),
        ),
        name="a.xml",
    )  # fmt: skip
    assert tune.form == "AAB"
    assert [ending.times for ending in tune.parts[0].endings] == [(1,), (2,)]


def test_guitar_notation_is_read_as_it_looks():
    clef = "<attributes><clef><sign>G</sign><line>2</line><clef-octave-change>-1"
    clef += "</clef-octave-change></clef></attributes>"
    assert read_musicxml(score(clef + note("D3", 6)), name="a").parts[0].bars[0][0].midi == 62


def test_a_compressed_file():
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr(
            "META-INF/container.xml",
            '<container><rootfiles><rootfile full-path="x/tune.xml"/></rootfiles></container>',
        )
        archive.writestr("x/tune.xml", score(note("D4", 6)))
    assert read_musicxml(packed.getvalue(), name="a.mxl").parts[0].bars[0][0].midi == 62


def test_what_music21_writes_is_the_same_tune():
    from music21 import converter
    from music21.musicxml.m21ToXml import GeneralObjectExporter

    for tune in books.some(5):
        parsed = converter.parseData(tune_to_abc(tune), format="abc")
        again = read_musicxml(GeneralObjectExporter(parsed).parse(), name="a.musicxml")
        assert [[n.midi for n in bar.notes] for bar in again.written_bars()] == [
            [n.midi for n in bar.notes] for bar in tune.written_bars()
        ]


@pytest.mark.parametrize(
    ("data", "fault"),
    [
        (b"<score-partwise>", "not well-formed XML"),
        (b"<html/>", "its root is <html>"),
        (b"<score-timewise/>", "timewise"),
        (HEAD.encode() + b"<part/></score-partwise>", "has no notes"),
        (score(note("D4", 6)).replace(b"<octave>4", b"<octave>four"), "does not allow"),
        (b"PK\x03\x04broken", "broken compressed MusicXML"),
    ],
)
def test_faults_are_one_clear_sentence(data: bytes, fault: str):
    with pytest.raises(PipelineError, match=fault):
        read_musicxml(data, name="a.xml")


def test_no_outside_file_is_read():
    entity = b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]>'
    data = score(note("D4", 6)).replace(b"<score-partwise", entity + b"<score-partwise", 1)
    data = data.replace(b"<part-list/>", b"<work><work-title>A&e;</work-title></work>")
    assert read_musicxml(data, name="a.xml").title == "A"


def test_our_own_bytes_read_back_with_title_and_tempo():
    tune = books.some(3)[1]
    again = read_musicxml(tune_to_musicxml(tune), name="a.musicxml")
    assert (again.title, again.beats_per_minute) == (tune.title, tune.beats_per_minute)
