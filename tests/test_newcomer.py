"""The small recipes of DEVELOPERS.md carried out on a copy of the program: one edit each, and all
that lists, reads, ranks or writes follows."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
HUM = ROOT / "fixtures" / "demo" / "hum.ogg"
RANT = """X:1
T:The Low Byre
R:rant
M:4/4
L:1/8
K:D
|:D2FA d2dB|A2FA B2AF|G2Bd A2FD|E2GF E4|D2FA d2dB|A2FA B2AF|G2BG A2GE|D2FE D4:|
"""
A_TUNING = '{"name": "low lute", "strings": "D2 A2 D3 G3 B3 C4", "common": 0.1},'
A_TYPE = (
    '"rant": {"meters": ["4/4"], "beat": "1/2", "bpm": [80, 124], "usual_bpm": [95, 110], '
    '"usual_in": [], "written_even": true, "trebled": true, '
    '"words": ["rant"]},'
)
A_FORMAT = 'Format(".tsv", "text/tab-separated-values", TEXT, _rows, in_run=True),'
ITS_WRITER = """
def _rows(tune: Tune, arrangement: Arrangement, layer: str) -> bytes:
    rows = []
    for number, bar in enumerate(arrangement.layers[0].bars, 1):
        rows += [f"{number}\\t{note.string}\\t{note.fret}\\n" for note in bar]
    return "".join(rows).encode()


"""


def edit(path: Path, before: str, new: str) -> None:
    """Put a text before the first place of another."""
    text = path.read_text(encoding="utf-8")
    assert before in text
    path.write_text(text.replace(before, new + before, 1), encoding="utf-8")


@pytest.fixture(scope="module")
def changed(tmp_path_factory) -> Path:
    """A folder with a copy of the program, the recipes carried out in it."""
    home = tmp_path_factory.mktemp("newcomer")
    leave = shutil.ignore_patterns("__pycache__")
    shutil.copytree(ROOT / "pipeline", home / "liltwright", ignore=leave)
    models = home / "liltwright" / "models"
    shutil.copytree(ROOT / "models", models, ignore=leave)
    edit(models / "tunings" / "tunings.json", '{"name": "DADGAD"', A_TUNING + "\n  ")
    edit(models / "dances" / "dances.json", '"jig": {', A_TYPE + "\n ")
    formats = home / "liltwright" / "write" / "formats" / "table.py"
    edit(formats, '    Format(".json"', f"    {A_FORMAT}\n")
    edit(formats, "PRINT, TEXT =", ITS_WRITER.lstrip("\n"))
    (home / "rant.abc").write_text(RANT)
    called(home, "-m", "liltwright.models.register")
    return home


def called(home: Path, *arguments: object) -> str:
    """What the copy prints; it must end well."""
    done = subprocess.run(
        [sys.executable, *map(str, arguments)],
        cwd=home,
        env={**os.environ, "PYTHONPATH": str(home), "COLUMNS": "200"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_a_tuning_is_one_line(changed):
    said = called(changed, "-m", "liltwright.start", "tunings", "rant.abc", "--tuning", "low lute")
    assert "low lute, no capo" in said


@pytest.mark.slow
def test_a_tune_type_is_one_row_and_the_network_lets_it_be(changed):
    said = called(changed, "-m", "liltwright.start", "tunings", "rant.abc")
    assert said.startswith("Rant in D major, 1 part of 8 bars")
    said = called(changed, "-m", "liltwright.start", "listen", HUM, "--type", "rant")
    assert said.startswith("Rant in")
    assert "R:rant" in said
    said = called(changed, "-m", "liltwright.start", "listen", HUM)
    assert said.startswith("Jig in D mixolydian")


@pytest.mark.slow
def test_a_format_is_a_writer_and_one_line(changed):
    assert ".tsv" in called(changed, "-m", "liltwright.start", "tab", "--help")
    tab = ("-m", "liltwright.start", "tab", "rant.abc", "--tuning", "drop D", "--capo", "0")
    called(changed, *tab, "--out", "layer.tsv")
    rows = [line.split("\t") for line in (changed / "layer.tsv").read_text().splitlines()]
    assert len(rows) > 20
    assert all(1 <= int(string) <= 6 for _, string, _ in rows)
    called(changed, "-m", "liltwright.start", "arrange", "rant.abc", "--out", "made", "--no-sound")
    assert (changed / "made" / "arrangement-1-melody.tsv").is_file()
    report = (changed / "made" / "report.html").read_text(encoding="utf-8")
    assert 'href="arrangement-1-melody.tsv"' in report
