"""A shelf with the demo tune and a page over it; the same in a browser."""

from dataclasses import replace
from pathlib import Path

import pytest

import liltwright
from tests.page.server import Page
from tests.tools import need
from tests.write.browser import Browser
from tests.write.hand_made import heard_jig

DEMO = Path(__file__).parents[2] / "fixtures" / "demo"


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    folder = tmp_path / "tunes"
    liltwright.write(liltwright.read(DEMO / "tune.abc"), folder=folder / "lamp")
    return folder


@pytest.fixture
def page(shelf: Path, tmp_path: Path):
    with Page(shelf, tmp_path / "settings") as running:
        yield running


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """A shelf with the hummed jig, its recording beside it, and a written tune."""
    need("chromium")
    root = tmp_path_factory.mktemp("browser")
    liltwright.write(liltwright.read(DEMO / "tune.abc"), folder=root / "tunes" / "lamp")
    liltwright.write(replace(heard_jig(), title="Doubted"), folder=root / "tunes" / "doubted")
    with Page(root / "tunes", root / "settings") as page:
        task = page.post("/api/upload?name=hum.ogg", (DEMO / "hum.ogg").read_bytes()).json()
        assert page.finished(task)["error"] == ""
        yield page


@pytest.fixture(scope="module")
def opened(site):
    with Browser() as browser:
        browser.open(site.address)
        browser.wait_for("document.body.dataset.ready === '#/'")
        yield browser


@pytest.fixture
def browser(site, opened):
    opened.size(1280, 900)
    opened.call("Emulation.setEmulatedMedia", features=[], media="")
    opened.errors = []
    yield opened
    ours = f"http://{site.host}/"
    away = [u for u in opened.requests if not u.startswith((ours, "data:", "blob:"))]
    assert away == []
    assert opened.errors == []
