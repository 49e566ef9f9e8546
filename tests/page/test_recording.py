"""Chromium really records: its microphone is fed from a wav; the tune comes out on the shelf."""

import subprocess

import numpy as np
import pytest
import soundfile

from tests.page.conftest import DEMO
from tests.page.server import Page
from tests.tools import need
from tests.write.browser import Browser

SECONDS = 16


@pytest.fixture(scope="module")
def hummed(tmp_path_factory):
    """The first seconds of the demo recording as wav, 48 kHz, mono."""
    import soxr

    samples, rate = soundfile.read(DEMO / "hum.ogg", frames=44_100 * SECONDS)
    path = tmp_path_factory.mktemp("mic") / "hum.wav"
    soundfile.write(path, soxr.resample(np.asarray(samples), rate, 48_000) * 0.7, 48_000, "PCM_16")
    return path


@pytest.mark.slow
def test_a_tune_is_recorded_heard_again_and_written_down(tmp_path, hummed):
    need("chromium")
    flags = (
        "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-audio-capture={hummed}%noloop",
    )  # fmt: skip
    with Page(tmp_path / "tunes", tmp_path / "settings") as page, Browser(*flags) as browser:
        browser.open(page.address)
        browser.wait_for("!!document.querySelector('.recorder .record')")
        count = "document.querySelector('.recorder input[type=checkbox]')"
        browser.run(f"{count}.click()")
        browser.run("document.querySelector('.recorder input[type=text]').value = 'Hummed'")
        browser.run("document.querySelector('.recorder .record').click()")
        browser.wait_for("document.querySelector('.recorder meter').value > 0.05", 20)
        browser.wait_for(
            f"document.querySelector('.recorder .time').textContent >= '0:{SECONDS - 2}'", 40
        )
        browser.run("document.querySelector('.recorder .record').click()")
        button = (
            "[...document.querySelectorAll('.recorder button')].find((b) => b.textContent === {!r})"
        )
        browser.wait_for(f"!{button.format('Listen')}.hidden")
        browser.run(f"{button.format('Listen')}.click()")
        browser.wait_for(f"!!{button.format('Stop listening')}")
        browser.run(f"{button.format('Stop listening')}.click()")
        browser.run(f"{button.format('Write this down')}.click()")
        browser.wait_for("document.body.dataset.view === 'tune'", 120)
        browser.wait_for("!!document.querySelector('.music [data-note]')", 30)
        assert browser.run("document.getElementById('title').textContent") == "Hummed"
        assert browser.errors == []
        entry = page.get("/api/shelf").json()["tunes"][0]
        assert entry["tune_type"] == "jig"
        assert entry["heard"]
        assert entry["key"].startswith("D")
        recorded = next((tmp_path / "tunes" / entry["name"]).glob("*.wav"))
        info = soundfile.info(recorded)
        assert info.duration == pytest.approx(SECONDS - 1.5, abs=2.5)
        assert browser.run("!!document.querySelector('.strip')")


def test_what_is_dropped_is_taken_in_or_refused_in_a_sentence(page):
    abc = (DEMO / "tune.abc").read_bytes()
    done = page.finished(page.post("/api/upload?name=second.abc", abc).json())
    assert done["error"] == ""
    assert len(page.get("/api/shelf").json()["tunes"]) == 2
    for name, data in (
        ("noise.wav", b"RIFF" + b"\0" * 40),
        ("text.abc", b"hello"),
        ("a.mid", b"MThd"),
    ):
        failed = page.finished(page.post(f"/api/upload?name={name}", data).json())
        assert failed["error"].endswith("."), failed
        assert failed["tune"] == ""
    assert page.post("/api/upload?name=nothing.wav", b"").status == 400
    assert len(page.get("/api/shelf").json()["tunes"]) == 2


@pytest.mark.parametrize("name", ["../../evil.abc", "..", ".hidden.abc", "a/b\\c.abc", "tune.json",
                                  "%00.abc", "x" * 400 + ".abc", ".liltwright-edits"])  # fmt: skip
def test_a_name_from_outside_never_leads_anywhere(page, tmp_path, name):
    from urllib.parse import quote

    before = {path for path in tmp_path.rglob("*") if "tunes" not in path.parts}
    answer = page.post(f"/api/upload?name={quote(name)}", (DEMO / "tune.abc").read_bytes())
    assert answer.status == 200
    assert page.finished(answer.json())["error"] == ""
    assert {path for path in tmp_path.rglob("*") if "tunes" not in path.parts} == before
    assert not (tmp_path / "evil.abc").exists()


def test_taking_in_can_be_stopped_and_leaves_nothing(page, shelf):
    import time

    before = sorted(path.name for path in shelf.iterdir())
    task = page.post("/api/upload?name=hum.ogg", (DEMO / "hum.ogg").read_bytes()).json()
    time.sleep(0.5)
    assert page.post(f"/api/tasks/{task['id']}/stop").status == 200
    done = page.finished(task)
    assert done["error"] == "Stopped; nothing was kept."
    assert sorted(path.name for path in shelf.iterdir()) == before


def test_a_finished_tab_is_taken_apart(page):
    tune = page.tune("lamp")
    task = page.post(f"/api/tune/{tune}/write", {"sound": False}).json()
    assert page.finished(task)["error"] == ""
    sheet = page.get(f"/api/tune/{tune}/file?name=arrangement-1-plain-bass.musicxml").data
    task = page.post("/api/upload?name=page.musicxml&as=page", sheet).json()
    done = page.finished(task)
    assert done["error"] == ""
    assert page.get(f"/api/tune/{done['tune']}").json()["form"] == "AABB"


def test_the_recording_is_given_back_whole_and_in_pieces(page):
    task = page.post("/api/upload?name=hum.ogg", (DEMO / "hum.ogg").read_bytes()).json()
    tune = page.finished(task)["tune"]
    data = (DEMO / "hum.ogg").read_bytes()
    assert page.get(f"/api/tune/{tune}/recording").data == data
    piece = page.get(f"/api/tune/{tune}/recording", Range="bytes=1000-1999")
    assert piece.status == 206
    assert piece.data == data[1000:2000]


def test_the_profile_is_the_one_of_the_command_line(page, tmp_path):
    assert page.post("/api/player", {"highest_capo": "5", "tunings_used": "DADGAD"}).status == 200
    assert page.post("/api/player", {"highest_capo": "99"}).status == 400
    assert page.post("/api/player", {"nonsense": "1"}).status == 400
    import os
    import sys

    shown = subprocess.run(
        [sys.executable, "-m", "liltwright.start", "player", "--show"], capture_output=True,
        text=True, check=True, env={**os.environ, "XDG_CONFIG_HOME": str(tmp_path / "settings")},
    ).stdout  # fmt: skip
    assert "DADGAD" in shown
    tune = page.tune("lamp")
    setups = page.get(f"/api/tune/{tune}/ranking").json()["setups"]
    assert max(one["capo"] for one in setups) <= 5


def test_a_set_is_kept_and_planned(page):
    abc = (DEMO / "tune.abc").read_bytes().replace(b"K:Dmix", b"K:G")
    other = page.finished(page.post("/api/upload?name=other.abc", abc).json())["tune"]
    first = page.tune("lamp")
    names = {t["id"]: t["name"] for t in page.get("/api/shelf").json()["tunes"]}
    made = {"name": "Two", "tunes": [names[first], names[other], "../etc"]}
    kept = page.post("/api/sets", {"sets": [made]}).json()["sets"]
    assert kept == [{"name": "Two", "tunes": [names[first], names[other]]}]
    plans = page.get(f"/api/plan?ids={first},{other}").json()["plans"]
    assert plans[0]["lines"][0].startswith("Plan 1")
    assert page.get(f"/api/plan?ids={first}").status == 400
