"""The benchmark of real performances without them, and on a written-out one."""

from __future__ import annotations

import json

import pytest

from tests.benchmark import real, real_hear
from tests.notate.playing import JIG, play, tune_of


@pytest.mark.parametrize("module", [real, real_hear])
def test_a_missing_folder_is_skipped_with_a_sentence(module, tmp_path, monkeypatch, capsys) -> None:
    monkeypatch.setattr("sys.argv", ["x", "--real", str(tmp_path / "nowhere")])
    assert module.main() == 0
    assert capsys.readouterr().out.startswith("Skipped: ")


def test_a_plain_performance_is_all_right(tmp_path, monkeypatch, capsys) -> None:
    notes = play(tune_of(JIG), beats_per_minute=112, rounds=2).notes
    played = tmp_path / "played"
    played.mkdir()
    lines = [f"{n.onset_s},{n.offset_s - n.onset_s},{n.midi}" for n in notes]
    (played / "Lamp.csv").write_text("\n".join(lines), encoding="utf-8")
    (played / "index.csv").write_text("file,type,key\nLamp.csv,jig,G\n", encoding="utf-8")
    monkeypatch.setattr("sys.argv", ["x", "--real", str(tmp_path)])
    monkeypatch.setattr(real, "FIGURES", tmp_path)
    assert real.main() == 0
    summary = json.loads((tmp_path / "real-notes.json").read_text(encoding="utf-8"))["summary"]
    right = {name: summary[name] for name in ("type", "meter", "tonic", "form_whole", "doubted")}
    assert right == {"type": 1, "meter": 1, "tonic": 1, "form_whole": 1, "doubted": 0}
