"""What the tests of the page in a browser share: going somewhere, pressing, judging.

Accessibility is judged by axe-core (Deque), from the package that carries it.
"""

import json
import time
from importlib.util import find_spec
from pathlib import Path

AXE = Path(find_spec("axe_playwright_python").origin).parent / "axe.min.js"


def go(browser, address: str, until: str = "true") -> None:
    if browser.run("location.hash") == address:
        browser.run("location.hash = '#/'")
        browser.wait_for("document.body.dataset.ready === '#/'")
    browser.run(f"location.hash = {address!r}")
    browser.wait_for(f"document.body.dataset.ready === {address!r}", 40)
    browser.wait_for(f"!!({until})", 40)


def view(browser, site, name: str, step: str) -> str:
    tune = site.tune(name)
    ready = {
        "tune": "document.querySelector('.music [data-note]')",
        "tuning": "document.querySelector('.strings tbody tr')",
        "layers": "document.querySelector('.layer-music [data-note]')",
        "practice": "document.querySelector('.music [data-note]')",
        "stages": "document.querySelector('.stage-music [data-note]')",
    }[step]
    go(browser, f"#/t/{tune}/{step}", ready)
    return tune


def state(site, tune: str) -> dict:
    return site.get(f"/api/tune/{tune}").json()


def click_button(browser, words: str) -> None:
    found = browser.run(
        f"(() => {{ const b = [...document.querySelectorAll('button')].find((one) => "
        f"one.textContent === {words!r} && !one.disabled); if (b) b.click(); return !!b; }})()"
    )
    assert found, words


def settled(browser, site, tune: str, version: int) -> dict:
    for _ in range(200):
        now = state(site, tune)
        if now["version"] > version:
            return now
        time.sleep(0.05)
    raise AssertionError("no change arrived")


def choose(browser, label: str, value: str) -> None:
    """Choose in the list with this label, as a user does."""
    found = browser.run(
        f"(() => {{ const one = document.querySelector('select[aria-label=\"{label}\"]'); "
        f"if (!one) return false; one.focus(); one.value = {value!r}; "
        "one.dispatchEvent(new Event('change')); return true; })()"
    )
    assert found, label


def accessibility_faults(browser) -> list:
    """The serious faults of what is shown."""
    browser.run(AXE.read_text(encoding="utf-8") + "; true")
    found = browser.run(
        "axe.run().then((r) => JSON.stringify({passes: r.passes.length, faults: "
        "r.violations.map((v) => [v.id, v.impact, v.nodes[0].html.slice(0, 200)])}))"
    )
    report = json.loads(found)
    assert report["passes"] > 15
    return [fault for fault in report["faults"] if fault[1] in ("serious", "critical")]
