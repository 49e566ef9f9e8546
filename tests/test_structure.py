"""What keeps the project readable: boundaries between rooms, registered data, true documents."""

import ast
import importlib
import importlib.util
import io
import json
import re
import tokenize
import tomllib
from pathlib import Path

import pytest

from liltwright import models
from liltwright.cli_faults import TYPED
from liltwright.models.register import checksums
from liltwright.run import STAGES

ROOT = Path(__file__).parents[1]
MODULES = sorted((ROOT / "pipeline").rglob("*.py"))


HOME = ("liltwright.notate.key.rank", "liltwright.notate.key.evidence")
EDGE = (
    "cli", "cli_around", "cli_faults", "cli_says", "cli_words", "jobs", "jobs_around", "summary",
    "again",
)  # fmt: skip

# What a room may not know of: hearing knows no bars, notating no guitars, the guitar no audio.
# DEVELOPERS.md has the same as a table.
FORBIDDEN = {
    "hear": ("notate", "guitar", "arrange", "write"),
    "hear/audio": ("hear.ears", "hear.clean"),
    "notate": ("hear", "guitar", "arrange", "write"),
    "notate/key": ("notate.metre", "notate.bars", "notate.form", "notate.plain"),
    "notate/metre": ("notate.bars", "notate.form", "notate.key"),
    "notate/form": ("notate.metre", "notate.key"),
    "guitar": ("hear", "notate", "arrange"),
    "arrange": ("hear", "notate"),
    "unpick": ("hear", "write"),
    "read": ("hear", "arrange", "write", "run"),
    "write": ("notate", "read", "run", *EDGE),
    "write/sheet": (
        "write.formats",
        "write.engrave",
        "write.sound",
        "write.report",
        "write.folder",
    ),
    "write/sound": ("write.formats", "write.engrave", "write.report", "write.folder"),
    "write/formats": ("write.report", "write.folder"),
    "write/engrave": ("write.report", "write.folder"),
    "write/report": ("write.folder",),
    "write/folder": (
        *("hear", "notate", "guitar", "arrange", "unpick", "read", "gather", "page", "tune", "tab"),
        *(f"write.{one}" for one in ("sheet", "formats", "engrave", "sound", "report")),
    ),
}
DECIDES = ("notate/metre/reading.py",)
"""Lays out bars to choose between metres, so it may know of notate/bars."""


def imports_of(path: Path) -> set[str]:
    """Every module that a file imports, anywhere in it; with `from room import module` both."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return found


def is_in(name: str, room: str) -> bool:
    """Whether the name of a module is that of a room of the program or of something in it."""
    return f"{name}.".startswith(f"liltwright.{room}.")


@pytest.mark.parametrize("room", FORBIDDEN)
def test_a_room_knows_only_what_it_must(room):
    inside = sorted((ROOT / "pipeline" / room).rglob("*.py"))
    assert inside
    for path in inside:
        for name in imports_of(path):
            assert name.split(".")[0] not in ("typer", "rich"), f"{path.name} imports {name}"
            if not path.as_posix().endswith(DECIDES) or "/" not in room:
                wrong = [other for other in FORBIDDEN[room] if is_in(name, other)]
                assert not wrong, f"{path.name} imports {name}"


def test_no_module_imports_itself_in_a_circle():
    """Neither at its head nor inside a function, by any way round."""
    names = {}
    for folder, name in (("pipeline", "liltwright"), ("models", "liltwright.models")):
        for path in (ROOT / folder).rglob("*.py"):
            parts = path.relative_to(ROOT / folder).with_suffix("").parts
            names[".".join((name, *parts)).removesuffix(".__init__")] = path
    del names["liltwright"]  # its __init__ loads names from everywhere when they are first used
    uses = {name: imports_of(path) & names.keys() for name, path in names.items()}
    open_, done = [], set()

    def follow(name: str) -> None:
        assert name not in open_, " -> ".join((*open_[open_.index(name) :], name))
        if name not in done:
            open_.append(name)
            for other in sorted(uses[name] - {name}):
                follow(other)
            done.add(open_.pop())

    for name in sorted(names):
        follow(name)


DOCUMENTS = sorted(
    path.relative_to(ROOT).as_posix()
    for path in (ROOT / "DEVELOPERS.md", ROOT / "README.md", *ROOT.glob("models/*/CARD.md"))
)


@pytest.mark.parametrize("document", [*DOCUMENTS, *(f"pipeline/{room}" for room in FORBIDDEN)])
def test_every_module_that_a_document_or_a_docstring_names_exists(document):
    """Of `x/y.py` the end of a path, of a bare `y.py` the name."""
    known = [
        f"/{path.relative_to(ROOT)}"
        for folder in ("pipeline", "models", "tests", "fixtures")
        for path in (ROOT / folder).rglob("*.py")
    ]
    place = ROOT / document
    for path in place.rglob("*.py") if place.is_dir() else (place,):
        text = path.read_text(encoding="utf-8")
        for name in re.findall(r"(?<![\w./*-])(?:[\w-]+/)*[\w-]+\.py\b", text):
            assert any(one.endswith(f"/{name}") for one in known), f"{path.name} names {name}"


def test_every_module_that_a_document_runs_exists():
    for document in DOCUMENTS:
        for name in re.findall(
            r"-m ((?:tests|models|fixtures|liltwright)[\w.]+)", (ROOT / document).read_text()
        ):
            assert importlib.util.find_spec(name), f"{document}: {name}"


def test_reading_asks_the_notating_room_for_the_home_of_a_tune_alone():
    for path in (ROOT / "pipeline" / "read").rglob("*.py"):
        for name in imports_of(path):
            assert not is_in(name, "notate") or name.startswith(HOME)


def test_no_room_knows_of_the_page():
    """The page calls the library; nothing but the command line calls the page."""
    for path in MODULES:
        inside = path.parent.name == "page" or path.name == "cli_around.py"
        for name in imports_of(path):
            assert inside or not name.startswith("liltwright.page"), f"{path.name} imports {name}"
            web = name.split(".")[0] in ("starlette", "uvicorn")
            assert path.parent.name == "page" or not web, f"{path.name} imports {name}"


def test_models_hold_no_code_of_a_stage():
    for name in imports_of(ROOT / "models" / "__init__.py"):
        assert not name.startswith("pipeline")


def test_every_data_file_is_registered_with_its_checksum():
    assert json.loads((ROOT / "models" / "registry.json").read_text()) == checksums()


def test_the_wheel_carries_the_data_that_the_program_reads_and_no_other():
    """By the names of data files in the code; recipes and tests may read more."""
    tool = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]
    given, left = (
        {path for pattern in tool[table]["liltwright.models"] for path in models_at(pattern)}
        for table in ("package-data", "exclude-package-data")
    )
    said = {text for path in MODULES for text in strings_of(path)}
    data = {name for name in checksums() if not name.endswith(".md")}
    assert {name for name in given - left if name in data} == data & said


def models_at(pattern: str) -> list[str]:
    """Names below models/ that fit a pattern."""
    here = ROOT / "models"
    return [path.relative_to(here).as_posix() for path in here.glob(pattern)]


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
    """At most 370 lines, and a docstring that opens the module."""
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 370
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


def strings_of(path: Path) -> list[str]:
    """The texts in a module, without docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    said = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    texts = [node for node in ast.walk(tree) if isinstance(node, ast.Constant)]
    return [node.value for node in texts if isinstance(node.value, str) and id(node) not in said]


def test_no_sentence_below_the_edge_names_an_option():
    """gather's work is started by its command alone, and its rows are read beside that."""
    for path in MODULES:
        edge = path.stem in EDGE or path.parent.name == "gather"
        wrong = [text for text in strings_of(path) if re.search(r"(^|[^\w-])--[a-z]", text)]
        assert edge or not wrong, f"{path.name}: {wrong}"


def is_numeric(value: ast.expr | None) -> bool:
    """Whether an expression is made of numbers alone."""
    if isinstance(value, ast.Constant):
        return isinstance(value.value, int | float) and not isinstance(value.value, bool)
    if isinstance(value, ast.UnaryOp):
        return is_numeric(value.operand)
    if isinstance(value, ast.BinOp):
        return is_numeric(value.left) and is_numeric(value.right)
    parts = {ast.Tuple: "elts", ast.List: "elts", ast.Dict: "values", ast.Call: "args"}
    inner = getattr(value, parts.get(type(value), ""), None)
    return bool(inner) and all(map(is_numeric, inner))


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_a_number_at_the_head_of_a_module_has_a_word_on_it(path):
    """Its unit, and why it is what it is: in a docstring under it or a comment beside or above."""
    text = path.read_text(encoding="utf-8")
    tokens = tokenize.generate_tokens(io.StringIO(text).readline)
    said = [token for token in tokens if token.type == tokenize.COMMENT]
    lines = {token.start[0] for token in said if not re.match(r"# (fmt|noqa|type):", token.string)}
    body = ast.parse(text).body
    for node, after in zip(body, [*body[1:], None], strict=True):
        if isinstance(node, ast.Assign | ast.AnnAssign) and is_numeric(node.value):
            below = isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant)
            beside = lines & set(range(node.lineno - 1, node.end_lineno + 1))
            assert below or beside, f"{path.name}:{node.lineno}: {ast.unparse(node)}"


def test_no_two_records_have_one_name():
    """But private ones, and the page's script, which lives on its own."""
    names: dict[str, Path] = {}
    for path in MODULES:
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                assert node.name not in names, f"{path} and {names[node.name]}: {node.name}"
                assert node.name != "Path", path
                names[node.name] = path


def test_every_place_for_what_is_typed_has_its_words():
    """Of errors.to_type, called with plain texts only."""
    used = set()
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "to_type":
                used.add(ast.literal_eval(node.args[0]))
    assert used == TYPED.keys()


def test_concert_pitch_lives_in_units_alone():
    for path in MODULES:
        numbers = {
            node.value
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Constant) and isinstance(node.value, int | float)
        }
        if path.name != "units.py":
            assert not numbers & {440, 69}, path
