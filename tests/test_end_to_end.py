"""The whole job on the demo recordings, against their exact truth and the promised files."""

import io
import json
import re
import shutil
import sys
from contextlib import redirect_stdout
from fractions import Fraction
from pathlib import Path

import pytest

from liltwright import cli
from liltwright.records import from_json
from liltwright.tab import Arrangement, Ranking
from liltwright.tune import Tune

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "fixtures" / "demo"
LAYERS = ("melody", "drone", "plain-bass", "moving-bass", "performance")


def run(*arguments: object) -> int:
    """The program's exit code for some arguments."""
    argv, sys.argv = sys.argv, ["liltwright", *map(str, arguments)]
    try:
        cli.main()
    except SystemExit as stop:
        return int(stop.code or 0)
    finally:
        sys.argv = argv
    return 0


@pytest.fixture(scope="module")
def hummed(tmp_path_factory) -> Path:
    """The folder that the README's first command makes."""
    folder = tmp_path_factory.mktemp("demo") / "hum"
    with redirect_stdout(io.StringIO()) as said:
        assert run("arrange", DEMO / "hum.ogg", "--out", folder) == 0
    (folder.parent / "said.txt").write_text(said.getvalue().replace(str(folder), "demo"))
    return folder


@pytest.fixture(scope="module")
def plucked(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "plucked"
    quick = ("--no-sound", "--no-sheets", "--no-report")
    assert run("arrange", DEMO / "plucked.ogg", "--out", folder, *quick) == 0
    return folder


def tune_in(folder: Path) -> Tune:
    return from_json((folder / "tune.json").read_bytes(), Tune)


def truth_of(name: str) -> Tune:
    return from_json((DEMO / f"{name}.json").read_bytes(), Tune)


def test_the_readme_shows_what_the_program_prints(hummed):
    """Line by line in order; a line with three dots stands for any lines."""
    said = (hummed.parent / "said.txt").read_text()
    shown = re.search(r"prints this.*?```\n(.*?)```", (ROOT / "README.md").read_text(), re.S)[1]
    pattern = ".*".join(re.escape(piece) for piece in shown.split("  ...\n"))
    assert re.fullmatch(pattern, said, re.S), said


def test_every_promised_file_is_there(hummed):
    promised = {"tune.json", "tune.abc", "tune.musicxml", "tune.mid", "heard.mid", "tunings.json",
                "arrangement-1.json", "report.html"}  # fmt: skip
    promised |= {
        f"arrangement-1-{layer}.{kind}" for layer in LAYERS for kind in ("musicxml", "mid", "txt")
    }
    assert promised <= {path.name for path in hummed.iterdir()}
    assert all((hummed / name).stat().st_size > 0 for name in promised)


@pytest.mark.parametrize("name", ["hummed", "plucked"])
def test_type_key_and_form_of_the_demo_are_right(name, request):
    found = tune_in(request.getfixturevalue(name))
    truth = truth_of("hum" if name == "hummed" else name)
    for field in ("tune_type", "meter", "tonic", "mode", "signature", "form", "rounds"):
        assert getattr(found, field) == getattr(truth, field), field
    assert found.beats_per_minute == pytest.approx(truth.beats_per_minute, rel=0.05)


@pytest.mark.parametrize(("name", "least"), [("hummed", 0.85), ("plucked", 0.95)])
def test_most_printed_bars_of_the_demo_are_exactly_right(name, least, request):
    found = tune_in(request.getfixturevalue(name)).written_bars()
    truth = truth_of("hum" if name == "hummed" else name).written_bars()
    shift = found[1].notes[0].midi - truth[1].notes[0].midi
    assert shift % 12 == 0

    def plain(bars):
        return {
            (bar.number, tuple((note.midi, note.start) for note in bar.notes))
            for bar in bars
            if bar.kind != "pickup"
        }

    wanted = plain(truth)
    lifted = {
        (n, tuple((midi - shift, start) for midi, start in notes)) for n, notes in plain(found)
    }
    assert len(wanted & lifted) / len(wanted) >= least


def test_heard_notes_lie_inside_the_recording_in_order(hummed):
    data = json.loads((hummed / "tune.json").read_text())
    onsets = [note["onset_s"] for note in data["heard"]]
    assert onsets == sorted(onsets)
    assert onsets[0] >= 0
    assert max(note["offset_s"] for note in data["heard"]) <= data["source"]["duration_s"]
    assert all(0 <= note["confidence"] <= 1 for note in data["heard"])


def test_scores_count_in_exact_fractions_of_a_whole_note(hummed):
    data = json.loads((hummed / "tune.json").read_text())
    bar = Fraction(data["meter"])
    for part in data["parts"]:
        for notes in part["bars"]:
            assert all(0 <= Fraction(n["start"]) < bar and Fraction(n["length"]) > 0 for n in notes)


def test_setups_are_ranked_best_first_with_reasons(hummed):
    ranking = from_json((hummed / "tunings.json").read_bytes(), Ranking)
    scores = [setup.score for setup in ranking.setups]
    assert scores == sorted(scores, reverse=True)
    assert [setup.rank for setup in ranking.setups] == list(range(1, len(scores) + 1))
    assert all(len(setup.reasons) >= 2 for setup in ranking.setups[:5])
    assert ranking.searched >= len(ranking.setups)


def test_every_layer_keeps_every_melody_note_at_its_pitch_and_time(hummed):
    """The contract: open string + capo + fret = midi; parts + transpose = melody."""
    tune = tune_in(hummed)
    made = from_json((hummed / "arrangement-1.json").read_bytes(), Arrangement)
    for layer in made.layers:
        for bar, tab in zip(tune.written_bars(), layer.bars, strict=True):
            melody = [(n.midi, n.start) for n in tab if n.part == "melody" and not n.grace]
            assert melody == [(n.midi + made.setup.transpose, n.start) for n in bar.notes]
            for note in tab:
                assert (
                    made.setup.strings_midi[6 - note.string] + made.setup.capo + note.fret
                    == note.midi
                )


def test_the_same_recording_gives_the_same_bytes(plucked, tmp_path):
    again = tmp_path / "again"
    quick = ("--no-sound", "--no-sheets", "--no-report")
    assert run("arrange", DEMO / "plucked.ogg", "--out", again, *quick) == 0
    names = sorted(path.name for path in plucked.iterdir())
    assert names == sorted(path.name for path in again.iterdir())
    for name in names:
        assert (plucked / name).read_bytes() == (again / name).read_bytes(), name


def test_a_tune_mended_by_hand_is_kept_and_everything_follows(plucked, tmp_path):
    """The user writes G major into tune.abc and runs again: the edit stays, the rest follows."""
    folder = tmp_path / "mine"
    shutil.copytree(plucked, folder)
    mended = (folder / "tune.abc").read_text().replace("K:Dmix", "K:G")
    (folder / "tune.abc").write_text(mended)
    quick = ("--no-sound", "--no-sheets", "--no-report")
    assert run("arrange", folder / "tune.abc", "--out", folder, *quick) == 0
    assert (folder / "tune.abc").read_text() == mended
    tune = tune_in(folder)
    assert (tune.tonic, tune.mode) == ("G", "major")
    assert tune.heard == tune_in(plucked).heard
    assert "notes" in tune.overridden


def test_an_edited_file_is_not_lost_by_a_second_run(plucked, tmp_path):
    folder = tmp_path / "mine"
    shutil.copytree(plucked, folder)
    (folder / "tune.abc").write_text("my own version")
    quick = ("--no-sound", "--no-sheets", "--no-report")
    assert run("arrange", DEMO / "plucked.ogg", "--out", folder, *quick) == 0
    assert (folder / "tune.abc").read_text() == "my own version"
    assert (folder / "tune.new.abc").read_bytes() == (plucked / "tune.abc").read_bytes()


def test_overrides_are_obeyed_and_recorded(tmp_path):
    folder = tmp_path / "out"
    wishes = ("--key", "G", "--title", "Mine", "--tuning", "DADGAD", "--capo", "5")
    quick = ("--no-sound", "--no-sheets", "--no-report")
    assert run("arrange", DEMO / "tune.abc", "--out", folder, *wishes, *quick) == 0
    tune = tune_in(folder)
    assert (tune.tonic, tune.mode, tune.title) == ("G", "major", "Mine")
    assert {"key", "title"} <= set(tune.overridden)
    setup = from_json((folder / "arrangement-1.json").read_bytes(), Arrangement).setup
    assert (setup.tuning, setup.capo) == ("DADGAD", 5)
