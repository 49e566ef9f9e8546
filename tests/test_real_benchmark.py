"""The benchmark of real performances without them, and on a written-out one."""

from __future__ import annotations

import json

import numpy as np
import pytest

from tests.benchmark import real, real_faults, real_hear
from tests.notate.playing import JIG, play, tune_of


@pytest.mark.parametrize("module", [real, real_hear, real_faults])
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


def test_faults_are_named() -> None:
    true = np.array([(0.0, 0.4), (0.5, 0.9), (1.0, 1.4), (2.0, 2.8)])
    heard = np.array([(0.0, 0.9), (1.08, 1.4), (2.0, 2.35), (2.4, 2.8), (3.5, 3.7)])
    counts, errors = real_faults.classify(
        true, np.array([60.0, 60.0, 62.0, 64.0]), heard, np.array([60.0, 62.0, 65.0, 64.0, 50.0])
    )
    assert counts["missed: joined to a note of its pitch"] == 1
    assert counts["pair: onset late"] == 1
    assert counts["pair: pitch off by 1 to 3 quarter tones"] == 1
    assert counts["false: note split"] == 1
    assert counts["false: in silence"] == 1
    assert len(errors) == counts["paired"] == 3
