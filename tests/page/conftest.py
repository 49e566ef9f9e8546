"""A shelf with the demo tune and a page over it."""

from pathlib import Path

import pytest

import liltwright
from tests.page.server import Page

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
