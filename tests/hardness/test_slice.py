"""A slice of the full run (tests/hardness/run.py), and the same grammars driven by hypothesis."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.hardness.case import load, met
from tests.hardness.generate import FORMATS, Seeded, case

SLICE = 60
DRAWN = 25


@pytest.fixture(scope="module", autouse=True)
def _loaded():
    load()


@pytest.mark.parametrize("kind", FORMATS)
def test_generated_files_are_read_or_refused(tmp_path: Path, kind: str):
    for number in range(SLICE):
        name, data = case(kind, Seeded(f"slice/{kind}/{number}"))
        (tmp_path / name).write_bytes(data)
        outcome = met(tmp_path / name)
        assert outcome.fine, (number, outcome.kind, outcome.said)


class Drawn:
    """Choices that hypothesis makes and can shrink."""

    def __init__(self, draw: Any) -> None:
        self._draw = draw

    def whole(self, low: int, high: int) -> int:
        return self._draw(st.integers(low, high))

    def one(self, of: Any) -> Any:
        return self._draw(st.sampled_from(of))

    def raw(self, most: int) -> bytes:
        return self._draw(st.binary(max_size=most))


@pytest.mark.parametrize("kind", FORMATS)
def test_drawn_files_are_read_or_refused(tmp_path_factory: pytest.TempPathFactory, kind: str):
    folder = tmp_path_factory.mktemp(kind)

    @settings(max_examples=DRAWN, deadline=None, derandomize=True, database=None,
              suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(st.data())
    def holds(data: st.DataObject) -> None:
        name, content = case(kind, Drawn(data.draw))
        (folder / name).write_bytes(content)
        outcome = met(folder / name)
        assert outcome.fine, (outcome.kind, outcome.said)

    holds()
