"""The page about the library, pipeline/LIBRARY.md, from its docstrings.

    python -m tests.library_page            # write it
    python -m tests.library_page --check    # exit code 1 when it is not what the code says

In: the names of liltwright.__all__. Out: Markdown: each function with its signature, each record
with its fields and what stands under them.
"""

from __future__ import annotations

import argparse
import ast
import inspect
import sys
from dataclasses import is_dataclass
from pathlib import Path
from textwrap import dedent

import liltwright
from liltwright import library

PAGE = Path(__file__).parents[1] / "pipeline" / "LIBRARY.md"
HEAD = """# liltwright as a library

This page is made of the docstrings: `python -m tests.library_page` renews it.
"""


def function(name: str) -> str:
    """One function: how it is called, and its docstring."""
    made = getattr(liltwright, name)
    node = ast.parse(inspect.getsource(made)).body[0]
    assert isinstance(node, ast.FunctionDef)
    given = [ast.unparse(node.args), ast.unparse(node.returns) if node.returns else "None"]
    call = f"{name}({given[0]}) -> {given[1]}"
    return f"### `{name}`\n\n```python\n{call}\n```\n\n{block(inspect.getdoc(made) or '')}"


def record(name: str) -> str:
    """One record: its docstring, then each field with its type and what is said of it."""
    made = getattr(liltwright, name)
    text = f"### `{name}`\n\n{block(inspect.getdoc(made) or '')}"
    rows = [f"- `{field}`" + (f": {words}" if words else "") for field, words in fields(made)]
    return text + ("\n" + "\n".join(rows) + "\n" if rows else "")


def fields(made: type) -> list[tuple[str, str]]:
    """Fields of a dataclass with type, default and the string under them."""
    if not is_dataclass(made):
        return []
    body = ast.parse(dedent(inspect.getsource(made))).body[0]
    assert isinstance(body, ast.ClassDef)
    found: list[tuple[str, str]] = []
    for node in body.body:
        if isinstance(node, ast.AnnAssign):
            found.append((ast.unparse(node), ""))
        elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and found:
            said = " ".join(inspect.cleandoc(str(node.value.value)).split())
            found[-1] = (found[-1][0], said)
    return found


def block(text: str) -> str:
    """A docstring as a block that keeps its lines."""
    return f"```text\n{text}\n```\n"


def page() -> str:
    """The whole page."""
    names = sorted(liltwright.__all__)
    functions = [name for name in names if inspect.isfunction(getattr(liltwright, name))]
    records = [name for name in names if is_dataclass(getattr(liltwright, name))]
    faults = [name for name in names if name not in functions and name not in records]
    parts = [HEAD, block(inspect.getdoc(library) or ""), "## Functions\n"]
    parts += [function(name) for name in functions]
    parts += ["## Records\n", *(record(name) for name in records)]
    parts += ["## Faults and names\n", *(record(name) for name in faults)]
    return "\n".join(part.rstrip() + "\n" for part in parts)


def main() -> int:
    """Write or check the page."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", action="store_true", help="compare only")
    text = page()
    if parser.parse_args().check:
        same = PAGE.is_file() and PAGE.read_text(encoding="utf-8") == text
        print("as the code says" if same else f"{PAGE.name} is out of date: write it again")
        return 0 if same else 1
    PAGE.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
