"""One layer as one file, of every kind, read by somebody else's library."""

from __future__ import annotations

import io
from pathlib import Path

import mido
import pytest
import soundfile
from lxml import etree

from liltwright.errors import UsageError
from liltwright.options import GuitarOptions, LayerOptions, TuneOptions
from liltwright.write.formats.abc import tune_to_abc
from liltwright.write.formats.one import check_kind, layer_file
from tests.write.hand_made import arrangement, jig


def written(kind: str, layer: str = "plain-bass", paper: str = "a4") -> dict[Path, bytes]:
    return layer_file(jig(), arrangement(), layer, Path(f"x{kind}"), paper=paper)


@pytest.mark.parametrize("kind", [".ogg", ".mp3", ".wav"])
def test_sound_of_every_kind_lasts_as_long(kind: str):
    (data,) = written(kind).values()
    sound = soundfile.info(io.BytesIO(data))
    (plain,) = written(".wav").values()
    assert sound.duration == pytest.approx(soundfile.info(io.BytesIO(plain)).duration, abs=0.01)


def test_notes_of_every_kind():
    (xml,), (midi,) = written(".musicxml").values(), written(".mid").values()
    assert etree.fromstring(xml).tag == "score-partwise"
    assert len(mido.MidiFile(file=io.BytesIO(midi)).tracks) == 3
    (abc,), (text,) = written(".abc").values(), written(".txt").values()
    assert abc.startswith(b"%abc-2.1")
    assert text.startswith(b"The Lamp at the Ferry: plain-bass")


def test_sheets_as_pdf_and_as_pictures_page_by_page():
    (pdf,) = written(".pdf", paper="letter").values()
    assert pdf.startswith(b"%PDF")
    assert [path.name for path in written(".svg")] == ["x.svg"]
    pages = written(".svg", "performance")
    assert [path.name for path in pages] == [f"x-{n}.svg" for n in range(1, len(pages) + 1)]
    for page in pages.values():
        etree.fromstring(page)


def test_another_ending_and_a_file_that_is_there_are_refused_before_any_work(tmp_path, monkeypatch):
    from liltwright import jobs

    with pytest.raises(UsageError, match=r"must end in .pdf, .svg, .txt"):
        check_kind(Path("x.doc"))
    source, there = tmp_path / "a.abc", tmp_path / "x.pdf"
    source.write_text(tune_to_abc(jig()), encoding="utf-8")
    there.write_bytes(b"mine")
    monkeypatch.setattr("liltwright.run.find_tune", lambda *_: pytest.fail("it worked in vain"))
    with pytest.raises(UsageError, match="is there already"):
        jobs.tab(source, TuneOptions(), GuitarOptions(), LayerOptions(), "drone", there)
    assert there.read_bytes() == b"mine"


def test_the_command_writes_the_layer(tmp_path, capsys):
    from liltwright import cli_says, jobs

    source, out = tmp_path / "a.abc", tmp_path / "drone.txt"
    source.write_text(tune_to_abc(jig()), encoding="utf-8")
    wanted = GuitarOptions(tuning="DADGAD")
    made = jobs.tab(source, TuneOptions(), wanted, LayerOptions(), "drone", out)
    cli_says.tabbed(made, as_json=False, hands=False)
    assert out.read_text(encoding="utf-8").startswith("The Lamp at the Ferry: drone")
    assert str(out) in capsys.readouterr().out
