"""Layers under one another, stages of a finished tab, rounds by part, the recording read anew."""

import json

import pytest

import liltwright
from liltwright.arrange.layers import arrange_layers
from liltwright.guitar.setups import make_setup
from liltwright.write.formats.musicxml import layer_to_musicxml, tune_to_musicxml
from liltwright.write.formats.tablature import layer_to_text
from tests.page.conftest import DEMO
from tests.page.looking import (
    accessibility_faults,
    choose,
    click_button,
    go,
    settled,
    state,
    view,
)

IDLE = "!document.querySelector('[aria-busy]')"
UNDER = "Layer that stands under it, to compare"
STAFF_LINES = "document.querySelectorAll('.layer-music [data-written=\"1\"] .staff').length"


@pytest.fixture
def wide(browser):
    browser.size(1400, 900)
    browser.run("localStorage.clear()")
    yield browser
    browser.run("localStorage.clear()")


def test_two_layers_stand_bar_under_bar_and_that_is_remembered(wide, site):
    tune = view(wide, site, "lamp", "layers")
    wide.wait_for(IDLE, 30)
    assert wide.run(STAFF_LINES) == 2
    choose(wide, UNDER, "moving-bass")
    wide.wait_for(f"{IDLE} && {STAFF_LINES} === 4", 30)
    assert wide.run(f"document.activeElement.getAttribute('aria-label') === {UNDER!r}")
    assert "Moving bass under it" in wide.run("document.getElementById('said').textContent")
    # the same note of the tune stands twice, one under the other
    found = json.loads(wide.run(
        "JSON.stringify([...document.querySelectorAll('.layer-music [data-written=\"2\"] .staff')]"
        ".map((staff) => { const box = staff.querySelector('[data-note=\"1\"]')"
        ".getBoundingClientRect(); return [box.left + box.width / 2, box.top]; }))"
    ))  # fmt: skip
    assert len(found) == 4
    assert max(x for x, _ in found) - min(x for x, _ in found) < 4
    assert [y for _, y in found] == sorted(y for _, y in found)
    view(wide, site, "lamp", "tune")
    go(wide, f"#/t/{tune}/layers", "document.querySelector('.layer-music [data-note]')")
    wide.wait_for(f"{IDLE} && {STAFF_LINES} === 4", 30)
    click_button(wide, "Swap")
    wide.wait_for(f"{IDLE} && document.getElementById('tab-moving-bass')"
                  ".getAttribute('aria-selected') === 'true'", 30)  # fmt: skip
    assert wide.run("document.querySelector('.under select').value") == "plain-bass"
    assert accessibility_faults(wide) == []
    wide.size(390, 844)
    wide.wait_for(f"{IDLE} && {STAFF_LINES} === 2", 30)
    assert wide.run("document.querySelector('.under').hidden")
    assert wide.run("document.documentElement.scrollWidth") <= 390
    wide.size(1400, 900)
    wide.wait_for(f"{IDLE} && {STAFF_LINES} === 4", 30)
    wide.run("document.getElementById('tab-plain-bass').click()")
    wide.wait_for(IDLE, 30)


def test_a_note_is_pinned_while_two_layers_are_shown(wide, site):
    tune = view(wide, site, "lamp", "layers")
    choose(wide, UNDER, "moving-bass")
    wide.wait_for(f"{IDLE} && {STAFF_LINES} === 4", 30)
    before = state(site, tune)
    old = site.get(f"/api/tune/{tune}/layers").json()["layers"][2]["strings"][1][0][0]
    wide.run("document.querySelector('.layer-music').focus()")
    wide.run("document.querySelector('[data-written=\"1\"] [data-note=\"0\"]')"
             ".dispatchEvent(new MouseEvent('click', {bubbles: true, clientX: "
             "document.querySelector('[data-written=\"1\"] [data-note=\"0\"]')"
             ".getBoundingClientRect().x}))")  # fmt: skip
    wide.press(str(old + 1), f"Digit{old + 1}")
    settled(wide, site, tune, before["version"])
    wide.wait_for("document.querySelectorAll('.layer-music .pinned').length >= 4", 30)
    wide.press("u")
    settled(wide, site, tune, before["version"] + 1)


def test_a_part_of_a_round_takes_another_layer(browser, site):
    tune = view(browser, site, "lamp", "layers")
    browser.wait_for(IDLE, 30)
    before = state(site, tune)
    browser.run("document.querySelector('.rounds details summary').click()")
    choose(browser, "Layer of part B in round 1", "moving-bass")
    after = settled(browser, site, tune, before["version"])
    assert after["wishes"]["rounds"].split()[0] == "melody:mp/B=moving-bass:mp"
    label = "Loudness of part B in round 1"
    browser.wait_for(f"{IDLE} && !!document.querySelector('[aria-label=\"{label}\"]')", 30)
    browser.wait_for("document.activeElement.getAttribute('aria-label') === "
                     "'Layer of part B in round 1'")  # fmt: skip
    assert browser.run("document.querySelector('.rounds details').open")
    choose(browser, label, "f")
    last = settled(browser, site, tune, after["version"])
    assert last["wishes"]["rounds"].split()[0] == "melody:mp/B=moving-bass:f"
    rounds = site.get(f"/api/tune/{tune}/layers").json()["rounds"]
    assert rounds[0]["parts"] == [{"part": "B", "layer": "moving-bass", "dynamic": "f"}]
    notes = site.get(f"/api/tune/{tune}/sound").json()["scores"]["performance"]
    second = [bar for bar in notes["bars"] if bar[4] == 1 and bar[5] == 0]
    begin, end = second[0][1], second[-1][2]
    assert any(note[4] == "b" for note in notes["notes"] if begin <= note[0] < end)
    first = [note for note in notes["notes"] if note[0] < begin]
    assert not any(note[4] == "b" for note in first)
    assert accessibility_faults(browser) == []
    for version in (last["version"], last["version"] + 1):
        site.post(f"/api/tune/{tune}/edit", {"version": version, "undo": True})


def test_a_plan_goes_on_when_a_part_of_it_is_gone(page):
    tune = page.tune("lamp")
    address = f"/api/tune/{tune}/edit"
    bad = page.post(address, {"version": 1, "edit": {"op": "rounds", "to": "melody/Q=drone"}})
    assert "names part Q" in bad.json()["error"]
    for version, edit in enumerate(
        ({"op": "rounds", "to": "melody/B=drone fuller"}, {"op": "join-part", "part": 0}), start=1
    ):
        answer = page.post(address, {"version": version, "edit": edit})
        assert answer.status == 200, answer.text
    assert answer.json()["wishes"]["rounds"] == "melody:mp fuller:mf"
    assert page.get(f"/api/tune/{tune}/layers").status == 200


@pytest.fixture(scope="module")
def tab():
    tune = liltwright.read(DEMO / "tune.abc")
    made = arrange_layers(tune, make_setup(tune, tuning="DADGAD", capo=0))
    return tune, made


def test_a_dropped_tab_is_taken_apart_into_stages(browser, site, tab):
    go(browser, "#/", "document.querySelector('.drop')")
    xml = layer_to_musicxml(*tab, "fuller").decode()
    browser.run(
        "(() => { const data = new DataTransfer(); data.items.add(new File(["
        f"{json.dumps(xml)}], 'weir.musicxml')); document.querySelector('.drop').dispatchEvent("
        "new DragEvent('drop', {dataTransfer: data, bubbles: true, cancelable: true})); })()"
    )
    browser.wait_for("location.hash.endsWith('/stages')", 60)
    browser.wait_for("!!document.querySelector('.stage-music [data-note]')", 60)
    browser.wait_for(IDLE, 30)
    tune = browser.run("location.hash.split('/')[2]")
    made = site.get(f"/api/tune/{tune}/layers?of=stages").json()
    names = [one["name"] for one in made["layers"]]
    assert names == ["melody", "drone", "plain-bass", "finished-bass", "finished"]
    assert browser.run("document.querySelectorAll('.stages li').length") == len(names)
    assert "moving bass" in browser.run("document.querySelector('.made-of').textContent")
    for _ in names[1:]:  # by keys alone
        browser.run("document.querySelector('.tabs [aria-selected=true]').focus()")
        browser.press("ArrowRight")
    browser.wait_for(f"{IDLE} && document.querySelector('.stages .current b').textContent "
                     "=== 'Finished'", 30)  # fmt: skip
    assert browser.run("document.activeElement.id") == "tab-finished"
    page_notes = {(n.string, n.fret) for bar in tab[1].layer("fuller").bars for n in bar}
    drawn = browser.run("[...document.querySelectorAll('.stage-music .fret')].length")
    assert page_notes
    assert drawn > 100
    assert accessibility_faults(browser) == []
    click_button(browser, "Play")
    browser.wait_for("window.liltwrightLevel() > 0.002", 30)
    browser.wait_for("document.querySelectorAll('.stage-music .now').length > 0")
    browser.press("Escape")
    browser.wait_for("window.liltwrightLevel() < 0.0005")
    browser.size(390, 844)
    browser.wait_for(IDLE, 30)
    assert browser.run("document.documentElement.scrollWidth") <= 390
    assert accessibility_faults(browser) == []


def test_stages_stay_as_the_tab_has_them_when_the_tune_is_edited(page, tab):
    """Also on the second page: what is written into the folder does not take them away."""
    text = layer_to_text(*tab, "moving-bass").encode()
    done = page.finished(page.post("/api/upload?name=weir.txt", text).json())
    assert (done["error"], done["step"]) == ("", "stages")
    address = f"/api/tune/{done['tune']}"
    stages = page.get(f"{address}/layers?of=stages").json()
    version = page.get(address).json()["version"]
    page.post(f"{address}/edit", {"version": version, "edit": {"op": "drop-bar", "bar": 2}})
    page.finished(page.post(f"{address}/write", {"sound": False}).json())
    again = page.get(f"{address}/layers?of=stages").json()
    assert {**again, "version": 0} == {**stages, "version": 0}
    assert page.get(f"{address}/layer?of=stages&name=finished&under=melody").status == 200
    plain = page.tune("lamp")
    answer = page.get(f"/api/tune/{plain}/layers?of=stages")
    assert "no stages" in answer.json()["error"]


def test_a_plain_tune_is_not_taken_for_a_tab(page, tab):
    data = tune_to_musicxml(tab[0])
    done = page.finished(page.post("/api/upload?name=plain.musicxml", data).json())
    assert (done["error"], done["step"]) == ("", "tune")


def test_the_recording_is_read_anew_and_undo_brings_the_edits_back(browser, site):
    tune = view(browser, site, "hum", "tune")
    before = state(site, tune)
    assert before["anew"] == {"heard": True, "lost": []}
    browser.press("ArrowRight")
    browser.press("ArrowUp")
    edited = settled(browser, site, tune, before["version"])
    assert edited["anew"]["lost"] == ["pitch"]
    browser.wait_for("!document.querySelector('.history button').disabled")
    browser.run("document.querySelector('.again summary').click()")
    choose(browser, "Metre to read the recording in", "3/4")
    click_button(browser, "Read it anew")
    browser.wait_for("!!document.querySelector('dialog[open]')")
    said = browser.run("document.querySelector('dialog[open]').textContent")
    assert "pitch" in said
    assert "Undo brings everything back" in said
    assert accessibility_faults(browser) == []
    assert browser.run("document.activeElement.textContent") == "Leave it as it is"
    browser.press("Escape")
    browser.wait_for("!document.querySelector('dialog[open]')")
    assert state(site, tune)["version"] == edited["version"]
    click_button(browser, "Read it anew")
    click_button(browser, "Read it anew all the same")
    anew = settled(browser, site, tune, edited["version"])
    assert anew["metre"] == "3/4"
    assert anew["undo"] == "recording read anew"
    assert anew["anew"]["lost"] == []
    browser.wait_for(IDLE, 30)
    browser.run("document.querySelector('.music').focus()")
    browser.press("u")
    back = settled(browser, site, tune, anew["version"])
    assert (back["metre"], back["bars"]) == (edited["metre"], edited["bars"])
    browser.wait_for(f"{IDLE} && document.querySelector('[aria-label=Metre]').value === '6/8'", 30)
    site.post(f"/api/tune/{tune}/edit", {"version": back["version"], "undo": True})


def test_a_reading_anew_is_the_programs_own_and_is_kept_in_the_journal(shelf, page, tmp_path):
    from liltwright.notate.notate import notate
    from liltwright.notate.settings import NotateSettings
    from liltwright.page.changes import Journal
    from liltwright.tune import Heard

    done = page.finished(
        page.post("/api/upload?name=hum.ogg", (DEMO / "hum.ogg").read_bytes()).json()
    )
    address = f"/api/tune/{done['tune']}"
    heard = Journal(shelf / "hum").state.tune
    for version, edit in enumerate(({"op": "key", "to": "E:dorian"}, {"op": "tempo", "to": 90})):
        page.post(f"{address}/edit", {"version": version + 1, "edit": edit})
    stale = page.post(f"{address}/anew", {"version": 1, "type": "reel"})
    assert stale.status == 409
    wrong = page.post(f"{address}/anew", {"version": 3, "type": "tango"})
    assert wrong.status == 400
    found = page.post(f"{address}/anew", {"version": 3, "type": "reel"}).json()
    assert (found["type"], found["key"]["words"]) == ("reel", "E dorian")
    page.kill()
    own = notate(
        Heard(heard.source, heard.heard, heard.tuning_offset_cents, heard.left_out, heard.warnings),
        settings=NotateSettings(tune_type="reel"),
    )
    kept = Journal(shelf / "hum").state.tune
    assert [bar.notes for bar in kept.written_bars()] == [bar.notes for bar in own.written_bars()]
    assert kept.beats_per_minute == own.beats_per_minute
    assert (kept.tonic, kept.title) == ("E", heard.title)


def test_a_written_tune_cannot_be_read_anew(page):
    tune = page.tune("lamp")
    assert page.get(f"/api/tune/{tune}").json()["anew"]["heard"] is False
    answer = page.post(f"/api/tune/{tune}/anew", {"version": 1, "type": "reel"})
    assert "nothing to read anew" in answer.json()["error"]
