"""The command line as a guitarist meets it: every fault one sentence with the right exit code."""

import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from liltwright import cli
from liltwright.tune import TUNE_TYPES

JIG = """X:1
T:The Kettle Lid
R:jig
M:6/8
L:1/8
Q:3/8=112
K:Dmix
D|DFA d2A|BAG A2F|GBd AFD|E3 E2D|DFA d2A|BAG A2F|GBd AFE|D3 D2:|
A|d2e fed|cAG A2A|d2e fga|e3 e2A|d2e fed|cAG A2F|GBd AFE|D3 D2:|
"""


@pytest.fixture
def liltwright(monkeypatch, capsys):
    """Run the program with some arguments; gives (exit code, stdout, stderr)."""

    def call(*arguments: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["liltwright", *map(str, arguments)])
        code = 0
        try:
            cli.main()
        except SystemExit as stop:
            code = int(stop.code or 0)
        said = capsys.readouterr()
        return code, said.out, said.err

    return call


@pytest.fixture
def jig(tmp_path) -> Path:
    path = tmp_path / "kettle.abc"
    path.write_text(JIG)
    return path


def _wav(path: Path, samples: np.ndarray, rate: int = 22050) -> Path:
    soundfile.write(path, samples.astype(np.float32), rate)
    return path


def assert_one_sentence(err: str) -> None:
    """The last line is ours, names the fault, and no traceback is shown."""
    assert "Traceback" not in err
    last = err.strip().splitlines()[-1]
    assert last.startswith("liltwright: ")
    assert last.endswith((".", "?"))


def test_help_names_every_command_in_plain_words(liltwright):
    code, out, _ = liltwright("--help")
    assert code == 0
    for command in ("arrange", "listen", "tunings", "tab"):
        assert f"\n  {command} " in out


def test_help_loads_no_audio_library():
    """--help must be quick, so nothing heavy may be imported for it."""
    heavy = "librosa,scipy,numpy,music21,av,onnxruntime,verovio,soundfile,numba,lxml"
    script = (
        "import sys; from liltwright import cli; sys.argv = ['liltwright', 'arrange', '--help']\n"
        "try: cli.app()\nexcept SystemExit: pass\n"
        f"print([name for name in '{heavy}'.split(',') if name in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert out.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [(["--type", "polonaise"], "no tune type known here: use one of reel, jig"),
     (["--key", "H:minor"], "is not a key: write a tonic and a mode"),
     (["--metre", "7/13"], "is not a metre of dance tunes"),
     (["--metre", "0/8"], "is not a metre of dance tunes"),
     (["--metre", "99999/8"], "is not a metre of dance tunes"),
     (["--metre", "9" * 5000 + "/8"], "is not a metre of dance tunes"),
     (["--metre", "\u0666/8"], "is not a metre of dance tunes"),
     (["--tuning", "DADGA"], "DADGA"),
     (["--tuning", "DADGXD"], "DADGXD"),
     (["--matters", "flow=lots"], "is not a weight: write it like flow=2"),
     (["--effort", "heroic"], "use one of easier, as is, harder")],
)  # fmt: skip
def test_options_that_make_no_sense_are_explained(liltwright, jig, tmp_path, arguments, says):
    code, _, err = liltwright("arrange", jig, "--out", tmp_path / "out", *arguments)
    assert code == 2
    assert says in err
    assert_one_sentence(err)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    "arguments",
    [["--tempo", "5"], ["--capo", "40"], ["--octave", "9"], ["--loudness", "3"],
     *(["--tempo", word] for word in ("0", "-5", "1e308", "nan", "inf", "1e99999999", "1/0"))],
)  # fmt: skip
def test_numbers_out_of_range_and_unknown_options_are_usage_errors(liltwright, jig, arguments):
    code, _, err = liltwright("arrange", jig, *arguments)
    assert code == 2
    assert "Traceback" not in err


def _missing(path: Path) -> Path:
    return path / "nowhere.wav"


def _empty(path: Path) -> Path:
    (path / "empty.wav").write_bytes(b"")
    return path / "empty.wav"


def _not_audio(path: Path) -> Path:
    (path / "letter.mp3").write_bytes(b"Dear all, the tune is in D. " * 400)
    return path / "letter.mp3"


def _truncated(path: Path) -> Path:
    whole = _wav(path / "whole.flac", np.random.default_rng(1).normal(0, 0.1, 22050 * 8))
    (path / "cut.flac").write_bytes(whole.read_bytes()[:30])
    whole.unlink()
    return path / "cut.flac"


def _silent(path: Path) -> Path:
    return _wav(path / "silent.wav", np.zeros(22050 * 8))


def _too_short(path: Path) -> Path:
    return _wav(path / "short.wav", 0.3 * np.sin(np.arange(22050 * 2) * 0.1))


def _noise_only(path: Path) -> Path:
    return _wav(path / "hiss.wav", np.random.default_rng(2).normal(0, 0.05, 22050 * 8))


@pytest.mark.parametrize(
    "make", [_missing, _empty, _not_audio, _truncated, _silent, _too_short, _noise_only]
)
def test_recordings_that_cannot_be_used(liltwright, tmp_path, make):
    """One sentence, exit code 1, no folder left behind."""
    source = make(tmp_path)
    code, _, err = liltwright("arrange", source, "--out", tmp_path / "out")
    assert code == 1
    assert_one_sentence(err)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("name", "content"),
    [("broken.abc", "no tune in here"), ("broken.mid", "MThd"), ("broken.musicxml", "<score"),
     ("broken.json", '{"format": "liltwright-tune"}'), ("empty.abc", "")],
)  # fmt: skip
def test_tune_files_that_cannot_be_read(liltwright, tmp_path, name, content):
    (tmp_path / name).write_text(content)
    code, _, err = liltwright("tunings", tmp_path / name)
    assert code == 1
    assert name in err
    assert_one_sentence(err)


def test_a_folder_with_the_users_own_things_is_left_alone(liltwright, jig, tmp_path):
    (tmp_path / "music").mkdir()
    (tmp_path / "music" / "tune.abc").write_text("mine")
    code, _, err = liltwright("arrange", jig, "--out", tmp_path / "music")
    assert code == 2
    assert "not empty (tune.abc)" in err
    assert (tmp_path / "music" / "tune.abc").read_text() == "mine"


def test_a_title_with_control_characters_is_written_without_them(liltwright, jig, tmp_path):
    quick = ("--no-sound", "--no-sheets", "--no-report")
    title = "A\x1b[31mB\nK:C\u202e\udcff"
    code, out, err = liltwright("arrange", jig, "--out", tmp_path / "o", "--title", title, *quick)
    assert code == 0
    assert not {"\x1b", "\u202e"} & set(out + err)
    for path in (tmp_path / "o").glob("tune.[ajm][bsu]*"):
        text = path.read_text(encoding="utf-8")
        assert not {"\x1b", "\u202e"} & set(text)
    lines = (tmp_path / "o" / "tune.abc").read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if line.startswith("T:")] == ["T:A [31mB K:C \ufffd"]


def test_ctrl_c_leaves_nothing_behind(tmp_path):
    """SIGINT while the tune is being heard: exit code 130, one line, no file."""
    rng = np.random.default_rng(3)
    steps = 60 + rng.integers(0, 12, 2000)
    tone = np.concatenate(
        [np.sin(np.arange(4410) * 2 * np.pi * 440 * 2 ** ((s - 69) / 12) / 22050) for s in steps]
    )
    source = _wav(tmp_path / "long.wav", 0.3 * tone)
    run = subprocess.Popen(
        [sys.executable, "-m", "liltwright.cli", "arrange", source, "--out", tmp_path / "out"],
        stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[1],
        # a shell ignores Ctrl-C for what it starts in the background, and that is inherited
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip
    assert run.stderr is not None
    run.stderr.readline()
    time.sleep(0.2)
    run.send_signal(signal.SIGINT)
    _, err = run.communicate(timeout=60)
    assert run.returncode == 130, err
    assert err.strip().splitlines()[-1] == "liltwright: stopped; nothing was written."
    assert not (tmp_path / "out").exists()


def test_every_tune_type_can_be_named(jig):
    from liltwright import options

    for name in TUNE_TYPES:
        assert options.tune_type(name.upper().replace(" ", "-")) == name
