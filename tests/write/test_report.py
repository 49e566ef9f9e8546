"""report.html in a headless Chromium: nothing fails, nothing is fetched, everything can be used."""

import json
from dataclasses import replace
from html.parser import HTMLParser
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from liltwright.doubts import doubtful_indices
from liltwright.tab import Chord, RankedSetup, Ranking
from liltwright.tune import KeyName, Tune
from liltwright.write.report.page import Recording, heard_numbers, report_html
from liltwright.write.report.picture import heard_picture, pitch_line, salience_of
from liltwright.write.sound.bank import PULSE_S, Bank
from liltwright.write.sound.pluck import SAMPLE_RATE
from liltwright.write.sound.synth import heard_melody_audio
from tests.tools import need
from tests.write.browser import Browser
from tests.write.hand_made import DADGAD, arrangement, heard_jig, jig

NASTY = '</script><script>alert(1)</script><img src=x onerror="alert(2)">&amp;\'"'
AXE = Path(find_spec("axe_playwright_python").origin).parent / "axe.min.js"
"""axe-core by Deque, from the package that carries it."""
D_MIX = KeyName("D", "mixolydian")


def ranking() -> Ranking:
    partial = {"flow": 0.8, "bass": 0.9, "retuning": 0.6}
    setups = tuple(
        RankedSetup(
            rank, tuning, strings, 0, -12, D_MIX, D_MIX, 90.0 - rank, partial,
            ("Sounds in D mixolydian.", "The root rings on the open sixth string."),
            ("The first string goes up a tone.",) if rank == 2 else (),
        )
        for rank, (tuning, strings) in enumerate(
            [("DADGAD", DADGAD), ("drop D", (38, 45, 50, 55, 59, 64))], start=1
        )
    )  # fmt: skip
    return Ranking(120, setups, lower=("standard: D is not an open bass string.",))


@pytest.fixture(scope="module")
def heard() -> Tune:
    return heard_jig()


@pytest.fixture(scope="module")
def page(heard: Tune, tmp_path_factory: pytest.TempPathFactory) -> Path:
    files = {"tune.abc": b"X:1\n", "tune.json": b"{}", "arrangement-1-drone.pdf": b"%PDF"}
    text = report_html(
        heard, ranking(), [arrangement(heard)],
        recording=Recording(heard_melody_audio(heard), SAMPLE_RATE), files=files,
    )  # fmt: skip
    path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def browser():
    need("chromium")
    with Browser() as opened:
        yield opened


class _Reader(HTMLParser):
    """Collects every element with its attributes, and all text outside scripts and styles."""

    def __init__(self) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self._inside = ""

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        self._inside = tag

    def handle_data(self, data):
        if self._inside not in ("script", "style"):
            self.text += data


def read(text: str) -> _Reader:
    reader = _Reader()
    reader.feed(text)
    return reader


def test_the_page_opens_without_an_error_and_fetches_nothing(browser, page):
    browser.open(page)
    browser.wait_for("!document.getElementById('recording') || "
                     "document.getElementById('recording').readyState >= 1")  # fmt: skip
    assert browser.errors == []
    others = [url for url in browser.requests if not url.startswith("data:")]
    assert others == [page.as_uri()]


def test_a_layer_plays_and_the_bar_is_shown(browser, page):
    browser.open(page)
    player = "document.querySelector('[data-score=\"1-plain-bass\"]')"
    browser.run(f"{player}.querySelector('.play').click()")
    browser.wait_for("window.guitarLevel() > 0.002")
    browser.wait_for("document.querySelectorAll('#music-1-plain-bass .now').length > 0")
    assert browser.run(f"{player}.querySelector('.play').textContent") == "Stop"
    browser.run(f"{player}.querySelector('.play').click()")
    browser.wait_for("window.guitarLevel() < 0.0005")
    assert browser.errors == []


def test_melody_and_bass_can_be_turned_down_apart(browser, page):
    """With melody and bass both turned down nothing is heard; with the melody up it is."""
    browser.open(page)
    measured = {}
    for loud in (100, 0):
        drone = "document.querySelector('[data-score=\"1-drone\"]')"
        browser.run(f"{drone}.querySelector('[name=melody]').value = {loud}")
        browser.run(f"{drone}.querySelector('[name=bass]').value = 0")
        browser.run(f"{drone}.querySelector('.play').click()")
        levels = []
        for _ in range(12):
            browser.run("new Promise((done) => setTimeout(done, 60))")
            levels.append(browser.run("window.guitarLevel()"))
        measured[loud] = max(levels)
        browser.run(f"{drone}.querySelector('.play').click()")
        browser.wait_for("window.guitarLevel() < 0.0005")
    assert measured[100] > 0.002 > measured[0]


def test_a_bar_of_the_recording_plays_by_mouse_and_by_keyboard(browser, page, heard):
    browser.open(page)
    audio = "document.getElementById('recording')"
    bar = heard.bars_heard[3]
    browser.run("document.querySelector('.hbar[data-heard=\"3\"]')"
                ".dispatchEvent(new MouseEvent('click', {bubbles: true}))")  # fmt: skip
    browser.wait_for(f"!{audio}.paused && {audio}.currentTime > {bar.start_s}")
    browser.wait_for(f"{audio}.paused")
    assert browser.run(f"{audio}.currentTime") == pytest.approx(bar.end_s, abs=0.12)
    assert browser.run(f"{audio}.preservesPitch") is True
    browser.run("document.querySelector('.hbar[tabindex=\"0\"]').focus()")
    key = {"key": "ArrowRight", "code": "ArrowRight", "windowsVirtualKeyCode": 39}
    browser.call("Input.dispatchKeyEvent", type="keyDown", **key)
    assert browser.run("document.activeElement.dataset.heard") == "4"
    enter = {"key": "Enter", "code": "Enter", "windowsVirtualKeyCode": 13, "text": "\r"}
    browser.call("Input.dispatchKeyEvent", type="keyDown", **enter)
    browser.wait_for(f"!{audio}.paused && {audio}.currentTime > {heard.bars_heard[4].start_s}")
    assert browser.errors == []


def test_a_part_of_the_recording_plays_in_a_loop(browser, page, heard):
    """The last part as played, from half a second before its end: the sound starts over."""
    browser.open(page)
    audio = "document.getElementById('recording')"
    browser.run("document.getElementById('heard-part').selectedIndex = 3")
    browser.run("document.getElementById('heard-loop').click()")
    browser.run("document.getElementById('heard-part-play').click()")
    begin, end = heard.bars_heard[25].start_s, heard.bars_heard[32].end_s
    browser.wait_for(f"!{audio}.paused && {audio}.currentTime > {begin + 0.1}")
    browser.run(f"{audio}.currentTime = {end - 0.5}")
    browser.wait_for(f"{audio}.currentTime < {begin + 1.0}")
    assert browser.run(f"{audio}.paused") is False
    browser.run("document.getElementById('heard-stop').click()")
    browser.wait_for(f"{audio}.paused")
    assert browser.errors == []


def test_recording_and_tune_can_be_heard_together(browser, page):
    browser.open(page)
    audio = "document.getElementById('recording')"
    browser.run("document.querySelector('[name=listen][value=both]').click()")
    browser.run("document.querySelector('.hbar[data-heard=\"7\"]')"
                ".dispatchEvent(new MouseEvent('click', {bubbles: true}))")  # fmt: skip
    browser.wait_for(f"!{audio}.paused && window.guitarLevel() > 0.002")
    browser.run("document.getElementById('heard-stop').click()")
    browser.wait_for(f"{audio}.paused && window.guitarLevel() < 0.0005")
    assert browser.errors == []


def test_the_tune_as_written_can_be_heard_bar_by_bar(browser, page):
    browser.open(page)
    browser.run("document.querySelector('[name=listen][value=tune]').click()")
    browser.run("document.querySelector('.hbar[data-heard=\"5\"]')"
                ".dispatchEvent(new MouseEvent('click', {bubbles: true}))")  # fmt: skip
    browser.wait_for("window.guitarLevel() > 0.002")
    assert browser.run("document.getElementById('recording').paused") is True


@pytest.mark.parametrize(("scheme", "width"), [("light", 1100), ("dark", 1100), ("dark", 400)])
def test_no_serious_accessibility_fault(browser, page, scheme, width):
    """axe-core, WCAG 2.2 rules; a picture of the page must also fit the width of a phone."""
    media = [{"name": "prefers-color-scheme", "value": scheme}]
    browser.call("Emulation.setEmulatedMedia", features=media)
    browser.size(width, 900)
    browser.open(page)
    browser.run(AXE.read_text(encoding="utf-8") + "; true")
    found = browser.run(
        "axe.run().then((r) => JSON.stringify({passes: r.passes.length, faults: "
        "r.violations.map((v) => [v.id, v.impact, v.nodes[0].html.slice(0, 200)])}))"
    )
    report = json.loads(found)
    assert report["passes"] > 20
    assert [fault for fault in report["faults"] if fault[1] in ("serious", "critical")] == []
    assert browser.run("document.documentElement.scrollWidth") <= width


def test_the_contents_are_whole_on_a_phone(browser, page):
    browser.size(390, 844)
    browser.open(page)
    last = "[...document.querySelectorAll('nav.contents a')].map((a) => "
    assert browser.run(f"Math.max(...{last}a.getBoundingClientRect().right))") <= 390
    assert browser.run(f"{last}a.textContent).join()").endswith("Files")


def test_text_from_outside_stays_text():
    """Titles, file names, reasons, doubts and chord names that look like markup."""
    tune = heard_jig()
    doubts = (replace(tune.doubts[0], why=NASTY),)
    tune = replace(tune, title=NASTY, doubts=doubts, warnings=(NASTY,), remarks=(NASTY,),
                   source=replace(tune.source, file=NASTY))  # fmt: skip
    ranked = ranking()
    first = replace(ranked.setups[0], tuning=NASTY, reasons=(NASTY,), cautions=(NASTY,))
    plan = arrangement(tune)
    layer = replace(plan.layers[1], remarks=(NASTY,))
    plan = replace(plan, layers=(plan.layers[0], layer), rounds=plan.rounds[:2], cautions=(NASTY,))
    text = report_html(tune, replace(ranked, setups=(first,)), [plan], files={NASTY + ".abc": b"x"})
    reader = read(text)
    assert [tag for tag, _ in reader.elements].count("script") == 2
    assert "img" not in [tag for tag, _ in reader.elements]
    assert not any(
        name.startswith("on") for _, attributes in reader.elements for name in attributes
    )
    assert reader.text.count(NASTY) >= 8


def test_every_address_in_the_page_is_data_a_fragment_or_a_sibling(page):
    reader = read(page.read_text(encoding="utf-8"))
    for tag, attributes in reader.elements:
        for name in ("src", "href", "action", "poster", "srcset"):
            value = attributes.get(name)
            if value is not None:
                assert value.startswith(("data:", "#")) or "/" not in value, (tag, value)


def test_every_section_is_there_and_downloads_are_linked(page):
    reader = read(page.read_text(encoding="utf-8"))
    identifiers = {attributes.get("id") for _, attributes in reader.elements}
    assert {"tune", "heard", "tunings", "layers-1", "files"} <= identifiers
    links = [attributes for tag, attributes in reader.elements if tag == "a"]
    assert {"tune.abc", "tune.json", "arrangement-1-drone.pdf"} <= {a.get("href") for a in links}
    saved = [a for a in links if a.get("download")]
    assert [a["download"] for a in saved] == ["tune.abc"]
    assert saved[0]["href"].endswith("base64,WDoxCg==")
    for words in ("The first string goes up a tone.", "The third note may be C sharp.",
                  "Practise first", "standard: D is not an open bass string."):  # fmt: skip
        assert words in reader.text


def test_a_written_tune_without_a_recording_has_a_report_too():
    text = report_html(jig(), Ranking(0, ()), [])
    identifiers = {attributes.get("id") for _, attributes in read(text).elements}
    assert "tune" in identifiers
    assert "heard" not in identifiers
    assert "tunings" not in identifiers


def test_a_minute_stays_below_six_megabytes():
    """Twice through, 69 s of noise, which an mp3 encoder likes least."""
    tune = heard_jig()
    bars = tuple(
        replace(bar, start_s=bar.start_s + shift, end_s=bar.end_s + shift)
        for shift in (0.0, tune.bars_heard[-1].end_s) for bar in tune.bars_heard
    )  # fmt: skip
    tune = replace(tune, bars_heard=bars, rounds=2)
    noise = np.random.default_rng(1).uniform(-0.5, 0.5, 60 * 44_100).astype(np.float32)
    text = report_html(tune, ranking(), [arrangement(tune)], recording=Recording(noise, 44_100))
    assert len(text.encode()) < 6_000_000


def test_the_same_run_gives_the_same_page(heard):
    pages = [report_html(heard, ranking(), [arrangement(heard)]) for _ in range(2)]
    assert pages[0] == pages[1]


def test_doubts_count_performed_bars_and_mark_written_ones(heard):
    """Bar 12 as played is bar 4 of part A the second time; bar 0 is the pick-up."""
    doubts = tuple(replace(heard.doubts[0], bar=bar) for bar in (0, 12))
    written = heard.written_bars()
    found = doubtful_indices(replace(heard, doubts=doubts))
    assert sorted((written[i].kind, written[i].number) for i in found) == [
        ("bar", 4),
        ("pickup", 0),
    ]
    assert heard_numbers(heard)[:3] == [0, 1, 2]


def test_the_pitch_line_follows_the_sound():
    """A tone that glides from A3 to B3: the line is within a fifth of a semitone of it."""
    seconds = np.arange(2 * SAMPLE_RATE) / SAMPLE_RATE
    midi = 57.0 + seconds
    phase = np.cumsum(2 * np.pi * 440.0 * 2 ** ((midi - 69) / 12) / SAMPLE_RATE)
    tone = sum(np.sin(k * phase) / k for k in (1, 2, 3))
    salience = salience_of(np.asarray(tone), SAMPLE_RATE, 50.0, 65.0)
    note = replace(heard_jig().heard[0], onset_s=0.2, offset_s=1.8, midi=58.0)
    line = pitch_line(salience, note)
    assert len(line) > 60
    assert max(abs(57.0 + at - pitch) for at, pitch in line if 0.3 < at < 1.7) < 0.2


def test_the_picture_shows_every_note_and_bar_once_a_row(heard):
    rows = heard_picture(heard, None, 1, heard_numbers(heard))
    assert [bar for row in rows for bar in row.bars] == list(range(len(heard.bars_heard)))
    text = "".join(row.svg for row in rows)
    assert text.count('class="note"') >= len(heard.heard)
    assert text.count('role="button"') == len(heard.bars_heard)


def test_the_bank_holds_each_tone_once_behind_a_pulse(heard):
    import io

    import soundfile

    from liltwright.write.sound.synth import heard_melody_notes

    bank = Bank()
    notes = heard_melody_notes(heard)
    score = bank.score(notes, [])
    tones = bank.tones()
    assert len(tones) == len({note.midi for note in notes})
    assert len(score["notes"]) == len(notes)
    samples, rate = soundfile.read(io.BytesIO(bank.recording()))
    assert abs(np.argmax(np.abs(samples[: int(0.38 * rate)])) / rate - PULSE_S) < 0.002
    begin, length = tones[3]
    piece = samples[int((begin - 0.02) * rate) : int((begin + length) * rate)]
    loud = np.abs(piece)
    assert loud[: int(0.015 * rate)].max() < 0.1 * loud.max()


def test_chord_names_reach_the_page_as_text(heard):
    plan = arrangement(heard)
    chord = Chord(1, plan.layers[1].chords[1].start, "D7/F#", "D")
    layers = (plan.layers[0], replace(plan.layers[1], chords=(chord,)))
    text = report_html(heard, ranking(), [replace(plan, layers=layers, rounds=plan.rounds[:1])])
    assert "7/F" in read(text).text
