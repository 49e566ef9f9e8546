"""How quick the local page is, against the bounds of its issue.

Measures, with a headless Chromium where the person looks: page up after the command, first picture
of a dropped 60 s recording, an edit shown, its arrangement shown; with --soak also the growth of
memory over 1,000 edits.

    python -m tests.benchmark.page [--times 5] [--soak] [--keep FILE]
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import psutil
import soundfile

import liltwright
from tests.page.server import Page
from tests.write.browser import Browser

DEMO = Path(__file__).parents[2] / "fixtures" / "demo"
BOUNDS = {
    "page_up_s": 1.5, "first_picture_s": 6.0, "edit_shown_s": 0.3, "arrangement_shown_s": 1.5,
    "soak_growth_mb": 100.0,
}  # fmt: skip
SOAK = 1000


def main() -> int:
    """Print the figures; 1 where a median is beyond its bound."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--times", type=int, default=5)
    asked.add_argument("--soak", action="store_true")
    asked.add_argument("--keep", type=Path)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        found = measured(Path(folder), given.times, given.soak)
    figures = {name: [round(x, 3) for x in values] for name, values in found.items()}
    bad = 0
    for name, values in figures.items():
        middle = statistics.median(values)
        beyond = middle > BOUNDS[name]
        bad += beyond
        said = "BEYOND" if beyond else "within"
        print(f"{name:22} median {middle:7.3f}  most {max(values):7.3f}  {said} {BOUNDS[name]}")
    print(f"load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    if given.keep:
        given.keep.write_text(json.dumps({"bounds": BOUNDS, "figures": figures}, indent=1) + "\n")
    return int(bad > 0)


def measured(root: Path, times: int, soak: bool) -> dict[str, list[float]]:
    """Every figure, each so many times."""
    shelf = root / "tunes"
    liltwright.write(liltwright.read(DEMO / "tune.abc"), folder=shelf / "lamp")
    found: dict[str, list[float]] = {name: [] for name in BOUNDS}
    for _ in range(times):
        with Page(shelf, root / "settings") as page:
            found["page_up_s"].append(page.up_s)
    minute = _minute(root)
    with Page(shelf, root / "settings") as page, Browser() as browser:
        browser.open(page.address)
        browser.wait_for("!!document.querySelector('.shelf li')", 30)
        time.sleep(4)  # the person looks around, the program warms up
        for turn in range(min(times, 3)):
            found["first_picture_s"].append(_dropped(browser, minute, turn))
        tune = page.tune("lamp")
        for _ in range(times):
            found["edit_shown_s"].append(_edited(browser, tune))
        for _ in range(times):
            found["arrangement_shown_s"].append(_arranged(browser, page, tune))
        if soak:
            found["soak_growth_mb"].append(_soaked(page, tune))
    return {name: values for name, values in found.items() if values}


def _minute(root: Path) -> Path:
    """Sixty seconds of the demo recording as wav."""
    samples, rate = soundfile.read(DEMO / "hum.ogg")
    path = root / "minute.wav"
    soundfile.write(path, np.asarray(samples)[: 60 * rate], rate, "PCM_16")
    return path


def _dropped(browser: Browser, path: Path, turn: int) -> float:
    """From the file's choice to the picture on the screen; the task is stopped then."""
    browser.run("location.hash = '#/'")
    browser.wait_for("!!document.querySelector('.drop input[type=file]')", 30)
    document = browser.call("DOM.getDocument")["root"]["nodeId"]
    node = browser.call("DOM.querySelector", nodeId=document, selector=".drop input[type=file]")
    began = time.monotonic()
    browser.call("DOM.setFileInputFiles", files=[str(path)], nodeId=node["nodeId"])
    browser.wait_for(
        "(() => { const i = document.querySelector('.first-picture img');"
        " return !!i && i.complete && i.naturalWidth > 0; })()", 60,
    )  # fmt: skip
    took = time.monotonic() - began
    browser.run("document.querySelector('.task button').click()")
    browser.wait_for("!!document.querySelector('.task .wrong')", 120)
    browser.run("document.querySelector('.task button').click()")
    return took


def _edited(browser: Browser, tune: str) -> float:
    """From the key to the new music on the screen, as the page itself measures it."""
    address = f"#/t/{tune}/tune"
    if browser.run("location.hash") != address:
        browser.run(f"location.hash = {address!r}")
        browser.wait_for("!!document.querySelector('.music .chosen')", 30)
        time.sleep(1)
    browser.run("delete document.body.dataset.editMs")
    browser.press("ArrowRight")
    browser.press("ArrowUp")
    browser.wait_for("!!document.body.dataset.editMs", 30)
    return float(browser.run("document.body.dataset.editMs")) / 1000


def _arranged(browser: Browser, page: Page, tune: str) -> float:
    """From the edit to the layer on the screen: the edit, then what the layers' view waits for."""
    address = f"#/t/{tune}/layers"
    version = page.get(f"/api/tune/{tune}").json()["version"]
    edit = {"op": "pitch", "bar": 2, "note": version % 4, "steps": 1 if version % 2 else -1}
    page.post(f"/api/tune/{tune}/edit", {"version": version, "edit": edit})
    browser.run("delete document.body.dataset.arrangedMs; location.hash = '#/'")
    browser.wait_for("!!document.querySelector('.shelf')", 30)
    browser.run(f"location.hash = {address!r}")
    browser.wait_for("!!document.body.dataset.arrangedMs", 30)
    return float(browser.run("document.body.dataset.arrangedMs")) / 1000


def _soaked(page: Page, tune: str) -> float:
    """Growth of the program's memory in MB from the 50th to the last of 1,000 edits."""
    process = psutil.Process(page.process.pid)
    version, before = page.get(f"/api/tune/{tune}").json()["version"], 0.0
    for turn in range(SOAK):
        edit = {"op": "pitch", "bar": 1, "note": turn % 4, "steps": 1 if turn // 4 % 2 else -1}
        answer = page.post(f"/api/tune/{tune}/edit", {"version": version, "edit": edit})
        version = answer.json()["version"]
        if turn == 50:
            before = process.memory_info().rss / 1e6
    return process.memory_info().rss / 1e6 - before


if __name__ == "__main__":
    sys.exit(main())
