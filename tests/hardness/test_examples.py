"""Every file that once broke the program is now read, or refused in one sentence."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.hardness.case import load, met
from tests.hardness.examples import TABLE, abc, wav

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module", autouse=True)
def _loaded():
    load()


@pytest.mark.parametrize(("name", "data", "says"), [row[1:] for row in TABLE],
                         ids=[row[0] for row in TABLE])  # fmt: skip
def test_a_file_is_read_or_refused_in_a_sentence(tmp_path: Path, name, data, says):
    path = tmp_path / (os.fsdecode(name) if isinstance(name, bytes) else name)
    path.write_bytes(data())
    outcome = met(path)
    assert outcome.fine, f"{outcome.kind}: {outcome.said}"
    assert outcome.kind == ("refused" if says else "read"), outcome.said
    assert says in outcome.said


def test_text_tablature_of_our_own_is_a_tune_whatever_its_name(tmp_path: Path):
    from liltwright.write.formats.tablature import layer_to_text
    from tests.write.hand_made import arrangement, jig

    for name in ("layer.txt", "layer.wav"):
        path = tmp_path / name
        path.write_text(layer_to_text(jig(), arrangement(), "drone"), encoding="utf-8")
        assert met(path).kind == "read"


def test_pipes_and_devices_are_refused(tmp_path: Path):
    os.mkfifo(tmp_path / "a.abc")
    (tmp_path / "b.abc").symlink_to("/dev/zero")
    (tmp_path / "c.wav").symlink_to("/dev/zero")
    (tmp_path / "loop.abc").symlink_to("loop.abc")
    for name in ("a.abc", "b.abc", "c.wav", "loop.abc", "a" * 300 + ".abc", "a" * 300 + ".wav"):
        outcome = met(tmp_path / name, seconds=3)
        assert outcome.kind == "refused", (name, outcome)


def test_a_list_does_not_open_another_recording(tmp_path: Path):
    (tmp_path / "other.wav").write_bytes(wav(44100, 400_000)())
    for text in (
        "ffconcat version 1.0\nfile other.wav\n",
        "#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:10,\nother.wav\n#EXT-X-ENDLIST\n",
    ):
        (tmp_path / "list.wav").write_text(text)
        assert met(tmp_path / "list.wav").kind == "refused"


def adts(layout: str) -> bytes:
    import av
    import numpy as np

    out = io.BytesIO()
    with av.open(out, "w", format="adts") as container:
        stream = container.add_stream("aac", rate=44100, layout=layout)
        for _ in range(300):
            samples = np.full((1 if layout == "mono" else 2, 1024), 0.2, dtype=np.float32)
            frame = av.AudioFrame.from_ndarray(samples, format="fltp", layout=layout)
            frame.sample_rate = 44100
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return out.getvalue()


def test_sound_that_changes_its_channels(tmp_path: Path):
    (tmp_path / "a.aac").write_bytes(adts("mono") + adts("stereo"))
    outcome = met(tmp_path / "a.aac")
    assert outcome.kind == "refused"
    assert "change in the middle" in outcome.said


def test_sixteen_channels_in_a_file_that_only_ffmpeg_opens(tmp_path: Path):
    data = bytearray(wav(8000, 8000 * 64)())
    data[22:24], data[40:44] = (16).to_bytes(2, "little"), bytes(4)
    (tmp_path / "a.wav").write_bytes(data)
    assert met(tmp_path / "a.wav").fine


def said(*words: str | bytes | Path, **more: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "liltwright.start", *words],
        cwd=ROOT, capture_output=True, timeout=60, check=False, env={**os.environ, **more},
    )  # fmt: skip


def test_out_into_a_link_to_itself(tmp_path: Path):
    (tmp_path / "loop").symlink_to("loop")
    (tmp_path / "a.abc").write_bytes(abc()())
    done = said("arrange", tmp_path / "a.abc", "--out", tmp_path / "loop")
    assert done.returncode in (1, 2)
    assert b"Traceback" not in done.stderr


def test_a_profile_of_brackets(tmp_path: Path):
    (tmp_path / "liltwright").mkdir()
    (tmp_path / "liltwright" / "profile.json").write_text("[" * 100_000)
    done = said("player", "--show", XDG_CONFIG_HOME=str(tmp_path))
    assert done.returncode == 1
    assert b"Traceback" not in done.stderr


def test_a_first_bar_after_the_end(tmp_path: Path):
    (tmp_path / "a.wav").write_bytes(wav(22050, 22050 * 6)())
    done = said("listen", tmp_path / "a.wav", "--first-bar", "900")
    assert done.returncode == 2
    assert b"out of range: the recording lasts 6.0 s" in done.stderr


def test_a_name_that_is_not_text_is_printed(tmp_path: Path):
    (tmp_path / os.fsdecode(b"Sl\xe1n.abc")).write_bytes(abc("A2Bc d2ef|g4 a4|")())
    done = said("tunings", os.fsencode(tmp_path) + b"/Sl\xe1n.abc")
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("seconds", [0.05, 0.2])
def test_ctrl_c_while_the_program_loads(tmp_path: Path, seconds: float):
    code = (
        "import _thread, threading; "
        f"threading.Timer({seconds}, _thread.interrupt_main).start(); "
        "import sys; sys.argv = ['liltwright', 'listen', 'fixtures/demo/hum.ogg']; "
        "from liltwright.start import main; main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, timeout=60, check=False
    )
    assert done.returncode == 130
    assert b"stopped; nothing was written" in done.stderr
    assert b"Traceback" not in done.stderr
