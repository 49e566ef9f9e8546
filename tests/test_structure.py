"""What keeps the project readable: boundaries between rooms, registered data, true documents."""

import ast
import importlib
import json
import re
from pathlib import Path

import pytest

from liltwright import models
from liltwright.models.register import checksums
from liltwright.run import STAGES

ROOT = Path(__file__).parents[1]
MODULES = sorted((ROOT / "pipeline").rglob("*.py"))
ROOMS = ("hear", "notate", "guitar", "arrange", "unpick", "read", "write")

HOME = ("liltwright.notate.key.rank", "liltwright.notate.key.evidence")
EDGE = ("liltwright.cli", "liltwright.jobs", "liltwright.summary", "liltwright.again")

# What a room may not know of: hearing knows no bars, notating no guitars, the guitar no audio.
FORBIDDEN = {
    "hear": ("liltwright.notate", "liltwright.guitar", "liltwright.arrange", "liltwright.write"),
    "notate": ("liltwright.guitar", "liltwright.arrange", "liltwright.write", "liltwright.hear"),
    "guitar": ("liltwright.hear", "liltwright.notate", "liltwright.arrange"),
    "arrange": ("liltwright.hear", "liltwright.notate"),
    "unpick": ("liltwright.hear", "liltwright.write"),
    "read": ("liltwright.hear", "liltwright.arrange", "liltwright.write", "liltwright.run"),
    "write": ("liltwright.notate", "liltwright.read", "liltwright.run", *EDGE),
}


def imports_of(path: Path) -> set[str]:
    """Every module that a file imports, anywhere in it."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
    return found


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_knows_only_what_it_must(room):
    for path in (ROOT / "pipeline" / room).rglob("*.py"):
        for name in imports_of(path):
            assert not name.startswith(FORBIDDEN[room]), f"{path.name} imports {name}"
            assert name.split(".")[0] not in ("typer", "rich"), f"{path.name} imports {name}"


def test_reading_asks_the_notating_room_for_the_home_of_a_tune_alone():
    for path in (ROOT / "pipeline" / "read").rglob("*.py"):
        for name in imports_of(path):
            assert not name.startswith("liltwright.notate") or name in HOME


def test_no_room_knows_of_the_page():
    """The page calls the library; nothing but the command line calls the page."""
    for path in MODULES:
        inside = path.parent.name == "page" or path.name == "cli.py"
        for name in imports_of(path):
            assert inside or not name.startswith("liltwright.page"), f"{path.name} imports {name}"
            web = name.split(".")[0] in ("starlette", "uvicorn")
            assert path.parent.name == "page" or not web, f"{path.name} imports {name}"


def test_models_hold_no_code_of_a_stage():
    for name in imports_of(ROOT / "models" / "__init__.py"):
        assert not name.startswith("pipeline")


def test_every_data_file_is_registered_with_its_checksum():
    assert json.loads((ROOT / "models" / "registry.json").read_text()) == checksums()


def test_every_model_folder_has_a_card():
    for folder in (ROOT / "models").iterdir():
        if folder.is_dir() and any(folder.glob("*.*")) and folder.name != "__pycache__":
            assert (folder / "CARD.md").is_file(), folder.name


def test_a_changed_data_file_is_noticed(monkeypatch):
    registry = {**models._registry(), "modes/modes.json": "0" * 64}
    monkeypatch.setattr(models, "_registry", lambda: registry)
    models.read_bytes.cache_clear()
    with pytest.raises(ValueError, match=r"models/modes/modes\.json has checksum"):
        models.read_bytes("modes/modes.json")
    models.read_bytes.cache_clear()


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_modules_can_be_seen_whole(path):
    """At most 400 lines, and a docstring that opens the module."""
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 400
    assert ast.get_docstring(ast.parse(text))


def test_every_stage_function_exists():
    for stage in STAGES:
        module, _, name = stage.function.rpartition(".")
        assert callable(getattr(importlib.import_module(module), name))


def test_the_readme_shows_the_stages_in_order():
    rows = re.findall(r"^\| `(\w+)` \|", (ROOT / "README.md").read_text(), flags=re.M)
    assert rows == [stage.name for stage in STAGES]


def test_the_ci_runs_the_readmes_test_command():
    commands = re.findall(r"^(python3 .*)$", (ROOT / "README.md").read_text(), flags=re.M)
    assert len(commands) == 2
    assert commands[1].endswith("uv run pytest")
    assert commands[1] in (ROOT / ".ci" / "run").read_text()


def test_concert_pitch_lives_in_units_alone():
    for path in MODULES:
        numbers = {
            node.value
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Constant) and isinstance(node.value, int | float)
        }
        if path.name != "units.py":
            assert not numbers & {440, 69}, path
