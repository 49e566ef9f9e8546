"""The page in a headless Chromium: look, mend, choose, pin, play, print, practise, by keys."""

import base64
import json

import pytest

from tests.page.looking import accessibility_faults, click_button, go, settled, state, view
from tests.tools import need

VIEWS = ("tune", "tuning", "layers", "practice")
CTRL, SHIFT = 2, 8


def test_the_shelf_lists_and_finds_tunes(browser, site):
    go(browser, "#/", "document.querySelectorAll('.shelf li').length === 3")
    for words, count in (("lamp", 1), ("doubted jig", 1), ("FADCA", 2), ("zzz", 0)):
        browser.run(f"document.querySelector('input[type=search]').value = {words!r}")
        browser.run(
            "document.querySelector('input[type=search]').dispatchEvent(new Event('input'))"
        )
        assert browser.run("document.querySelectorAll('.shelf li').length") == count, words


def test_a_note_is_mended_by_keys_alone_and_undone(browser, site):
    tune = view(browser, site, "lamp", "tune")
    before = state(site, tune)
    browser.press("ArrowRight")
    browser.press("ArrowUp")
    after = settled(browser, site, tune, before["version"])
    scale = ["D4", "E4", "F♯4", "G4", "A4", "B4"]  # D mixolydian from D
    old, new = (one["bars"][1]["notes"][0]["name"] for one in (before, after))
    assert scale.index(new) == scale.index(old) + 1
    browser.wait_for(f"document.querySelector('.dock .name').textContent === {new!r}")
    assert browser.run("document.querySelectorAll('.music .chosen').length") >= 1
    browser.press("z", "KeyZ", modifiers=CTRL)
    undone = settled(browser, site, tune, after["version"])
    assert undone["bars"] == before["bars"]


def test_a_click_chooses_the_note_under_it(browser, site):
    view(browser, site, "lamp", "tune")
    box = browser.run(
        'JSON.stringify(document.querySelector(\'[data-written="3"] [data-note="2"]\')'
        ".getBoundingClientRect())"
    )
    at = json.loads(box)
    for kind in ("mousePressed", "mouseReleased"):
        browser.call("Input.dispatchMouseEvent", type=kind, x=at["x"] + at["width"] / 2,
                     y=at["y"] + at["height"] / 2, button="left", clickCount=1)  # fmt: skip
    chosen = "document.querySelector('.music .chosen')"
    browser.wait_for(f"{chosen} && {chosen}.dataset.note === '2'")
    assert browser.run(f"{chosen}.closest('[data-written]').dataset.written") == "3"


def test_doubts_are_stepped_through_and_taken_as_right(browser, site):
    tune = view(browser, site, "doubted", "tune")
    before = state(site, tune)
    count = len(before["doubts"])
    assert count > 0
    browser.press("n")
    browser.wait_for("!!document.querySelector('.doubts-card li.current')")
    browser.press("o")
    after = settled(browser, site, tune, before["version"])
    assert len(after["doubts"]) == count - 1
    browser.wait_for(f"document.querySelectorAll('.doubts-card li').length === {count - 1}")
    browser.press("u")
    assert len(settled(browser, site, tune, after["version"])["doubts"]) == count


def test_the_recordings_picture_is_beside_the_tune_and_plays(browser, site):
    view(browser, site, "hum", "tune")
    browser.wait_for("!!document.querySelector('.strip [data-heard]')", 30)
    browser.run("document.querySelectorAll('.strip [data-heard]')[1]"
                ".dispatchEvent(new MouseEvent('click', {bubbles: true}))")  # fmt: skip
    browser.wait_for("document.querySelectorAll('.music .now').length > 0")
    browser.press("Escape")


def test_the_tune_plays_with_a_cursor(browser, site):
    view(browser, site, "lamp", "tune")
    browser.press(" ", "Space")
    browser.wait_for("window.liltwrightLevel() > 0.002", 30)
    browser.wait_for("document.querySelectorAll('.music .now').length > 0")
    browser.wait_for("document.querySelectorAll('.music .sounding').length > 0")
    browser.press("Escape")
    browser.wait_for("window.liltwrightLevel() < 0.0005")


def test_sliders_move_the_ranking_while_they_are_dragged_as_the_program_would(browser, site):
    """While dragged by the parts' sum, with what arrangements moved kept; let go, the program's."""
    tune = view(browser, site, "lamp", "tuning")
    order = (
        "JSON.stringify([...document.querySelectorAll('.ranking li')].map((r) => r.dataset.setup))"
    )
    before = json.loads(browser.run(order))
    usual = site.get(f"/api/tune/{tune}/ranking").json()
    assert before == [one["id"] for one in usual["setups"][: len(before)]]
    version = state(site, tune)["version"]
    slider = "document.querySelector('[name=matters-retuning]')"
    browser.run(f"{slider}.value = 4; {slider}.dispatchEvent(new Event('input'))")
    moved = json.loads(browser.run(order))
    assert moved != before
    base = [part["weight"] for part in usual["parts"]]
    weighed = [p["weight"] * (4 if p["name"] == "retuning" else 1) for p in usual["parts"]]

    def mean(setup, weights):
        parts = zip(weights, setup["partial"], strict=False)
        return 100 * sum(w * p for w, p in parts) / sum(weights)

    assert all(abs(mean(s, base) + s["extra"] - s["score"]) < 0.1 for s in usual["setups"])
    expected = {s["id"]: mean(s, weighed) + s["extra"] for s in usual["setups"]}
    assert moved == sorted(expected, key=lambda name: -expected[name])[: len(moved)]
    assert state(site, tune)["version"] == version
    browser.run(f"{slider}.dispatchEvent(new Event('change'))")
    assert settled(browser, site, tune, version)["wishes"]["matters"] == {"retuning": 4}
    anew = site.get(f"/api/tune/{tune}/ranking?matters=retuning=4").json()["setups"]
    ids = [one["id"] for one in anew[: len(moved)]]
    browser.wait_for(f"{order} === JSON.stringify({json.dumps(ids)})", 30)
    site.post(f"/api/tune/{tune}/edit", {"version": version + 1, "undo": True})


def test_two_tunings_are_compared_bar_by_bar(browser, site):
    view(browser, site, "lamp", "tuning")
    browser.run("document.querySelectorAll('.ranking input[type=checkbox]')[0].click()")
    browser.run("document.querySelectorAll('.ranking input[type=checkbox]')[1].click()")
    browser.wait_for("document.querySelectorAll('.compared tbody tr').length >= 16", 40)


def test_a_note_is_pinned_to_a_string_by_a_key_and_stays_there(browser, site):
    tune = view(browser, site, "lamp", "layers")
    before = state(site, tune)
    layers = site.get(f"/api/tune/{tune}/layers").json()["layers"][2]
    old = layers["strings"][1][0][0]
    browser.run("document.querySelector('[data-written=\"1\"] [data-note=\"0\"]')"
                ".dispatchEvent(new MouseEvent('click', {bubbles: true, clientX: "
                "document.querySelector('[data-written=\"1\"] [data-note=\"0\"]')"
                ".getBoundingClientRect().x}))")  # fmt: skip
    browser.press(str(old + 1), f"Digit{old + 1}")
    settled(browser, site, tune, before["version"])
    browser.wait_for("document.querySelectorAll('.layer-music .pinned').length > 0", 30)
    layers = site.get(f"/api/tune/{tune}/layers").json()["layers"]
    assert [layer["strings"][1][0][0] for layer in layers] == [old + 1] * len(layers)
    version = state(site, tune)["version"]
    browser.press("u")
    settled(browser, site, tune, version)


def test_a_layer_plays_round_its_part(browser, site):
    view(browser, site, "lamp", "layers")
    browser.wait_for("document.querySelectorAll('#bar select option').length > 2", 30)
    browser.run("document.querySelector('#bar select').selectedIndex = 1")
    click_button(browser, "Play")
    browser.wait_for("window.liltwrightLevel() > 0.002", 30)
    browser.wait_for("document.querySelectorAll('.layer-music .now').length > 0")
    click_button(browser, "Stop")
    browser.wait_for("window.liltwrightLevel() < 0.0005")


def test_every_layer_has_its_tab_and_the_keys_walk_through_the_tabs(browser, site):
    view(browser, site, "lamp", "layers")
    for name in ("melody", "drone", "moving-bass", "fuller"):
        browser.run(f"document.getElementById('tab-{name}').click()")
        browser.wait_for(
            f"document.getElementById('tab-{name}').getAttribute('aria-selected') === 'true' && "
            "!document.querySelector('[aria-busy]')", 30,
        )  # fmt: skip
        assert browser.run("document.querySelectorAll('.layer-music svg.line').length") > 2
    browser.run("document.getElementById('tab-plain-bass').click()")
    browser.wait_for("!document.querySelector('[aria-busy]')", 30)


def test_a_bar_is_practised_and_marked_for_tomorrow(browser, site):
    tune = view(browser, site, "hum", "practice")
    browser.run("document.querySelector('[data-written=\"4\"] .bar')"
                ".dispatchEvent(new MouseEvent('click', {bubbles: true}))")  # fmt: skip
    browser.wait_for("document.querySelectorAll('.music .looped').length > 0")
    browser.press("m")
    browser.wait_for("document.querySelectorAll('.marks button.link').length === 1")
    browser.press("Escape")
    assert list(state(site, tune)["marks"]) == ["4"]
    view(browser, site, "hum", "practice")
    assert browser.run("document.querySelectorAll('.music .marked').length") > 0


def test_the_print_shows_the_music_and_nothing_to_press(browser, site):
    need("pdftotext")
    view(browser, site, "lamp", "layers")
    data = base64.b64decode(browser.call("Page.printToPDF", preferCSSPageSize=True)["data"])
    assert data.startswith(b"%PDF")
    import subprocess

    found = subprocess.run(["pdftotext", "-", "-"], input=data, capture_output=True, check=True)
    text = found.stdout.decode()
    assert "The Lamp at Drumsallow" in text
    assert "drop D" in text
    for words in ("Print this layer", "Count in", "Rounds", "Practice"):
        assert words not in text


def test_two_tabs_do_not_lose_each_others_changes(browser, site):
    """The page is one version behind; its edit is refused, the page reloads and makes it again."""
    tune = view(browser, site, "lamp", "tune")
    before = state(site, tune)
    other = site.post(
        f"/api/tune/{tune}/edit",
        {"version": before["version"], "edit": {"op": "tempo", "to": 101}},
    ).json()
    browser.press("ArrowRight")
    browser.press("ArrowUp")
    after = settled(browser, site, tune, other["version"])
    assert after["tempo"] == 101
    assert after["bars"][1]["notes"][0]["name"] != before["bars"][1]["notes"][0]["name"]
    # the console tells of the refused write
    browser.errors = [error for error in browser.errors if "409" not in error]
    for _ in range(2):
        now = state(site, tune)["version"]
        site.post(f"/api/tune/{tune}/edit", {"version": now, "undo": True})


@pytest.mark.parametrize(("scheme", "width"), [("light", 1280), ("dark", 1280), ("light", 390)])
def test_no_serious_accessibility_fault(browser, site, scheme, width):
    browser.call(
        "Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}]
    )
    browser.size(width, 900)
    hum = site.tune("hum")
    for address in ("#/", *(f"#/t/{hum}/{step}" for step in VIEWS), "#/player"):
        go(browser, address)
        browser.wait_for("!document.querySelector('.wait')", 30)
        assert accessibility_faults(browser) == [], address
        assert browser.run("document.documentElement.scrollWidth") <= width, address
