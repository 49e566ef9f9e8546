"""Task: tell the program's own files in a folder from those of the user.

In: a folder. Out: names with the sha256 of what was written under them; whose a file is.
Method: `.written.json` lists name -> sha256. A file is ours only while it is a plain file with just
the bytes that are listed; everything else is the user's, links and folders too. The list may come
from anywhere, so a name in it counts only when it is a plain name of a visible file.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import stat
from collections.abc import Mapping
from pathlib import Path

LIST_NAME = ".written.json"
WRITING = ".liltwright-writing"
EARLIER = ".liltwright-earlier"
EDITS = ".liltwright-edits"
"""The journal of changes that the local page keeps."""
OUR_NAMES = (LIST_NAME, WRITING, EARLIER, EDITS)

MOST_BYTES = 1_000_000
"""A longer list is not ours: 31 files take 3 kB."""

MOST_NAME_BYTES = 255
"""The longest file name on common file systems."""

Listed = dict[str, str]


def read_list(folder: Path) -> Listed:
    """What was written into a folder: name -> sha256; empty when there is no list to go by."""
    return parse_list(folder / LIST_NAME) or {}


def list_is_damaged(folder: Path) -> bool:
    """Whether there is something under the name of the list that is no list."""
    path = folder / LIST_NAME
    return os.path.lexists(path) and parse_list(path) is None


def parse_list(path: Path) -> Listed | None:
    """The good entries of a list of names with checksums; None when the file is no such list."""
    found = parse_json(path)
    return good_entries(found) if found is not None else None


def parse_json(path: Path) -> dict[str, object] | None:
    """A JSON object from a plain file of moderate size, else None."""
    try:
        if not is_plain_file(path) or path.stat().st_size > MOST_BYTES:
            return None
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


def good_entries(found: object) -> Listed:
    """Only the entries that name a plain visible file and a sha256."""
    if not isinstance(found, Mapping):
        return {}
    return {
        name: sha for name, sha in found.items()
        if is_plain_name(name) and isinstance(sha, str) and re.fullmatch("[0-9a-f]{64}", sha)
    }  # fmt: skip


def is_plain_name(name: object) -> bool:
    """Whether this names a visible file right in a folder, on any system."""
    if not isinstance(name, str) or not name or name.startswith("."):
        return False
    if any(letter in "/\\:" or ord(letter) < 32 for letter in name):
        return False
    try:
        return len(name.encode("utf-8")) <= MOST_NAME_BYTES
    except UnicodeEncodeError:
        return False


def is_plain_file(path: Path) -> bool:
    """Whether a path is a regular file itself, not a link to one."""
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except (OSError, ValueError):
        return False


def sha256(path: Path) -> str:
    """The checksum of a plain file; empty for anything else."""
    if not is_plain_file(path):
        return ""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def beside(name: str, word: str, number: int = 1) -> str:
    """The name for another version: tune.abc -> tune.new.abc, then tune.new-2.abc."""
    stem, dot, suffix = name.rpartition(".")
    added = f".{word}" if number == 1 else f".{word}-{number}"
    return f"{stem}{added}.{suffix}" if dot else f"{name}{added}"


def is_own(folder: Path, name: str, listed: Listed) -> bool:
    """Whether the file of this name is just what we wrote, also when the user took a new version.

    Taking a new version means to rename `tune.new.abc` to `tune.abc`.
    """
    known = {listed.get(name), listed.get(beside(name, "new"))} - {None}
    return bool(known) and sha256(folder / name) in known


def edited_alone(folder: Path, name: str) -> bool:
    """Whether a file lies in a folder of ours and is not just what we wrote there."""
    listed = read_list(folder)
    return bool(listed) and os.path.lexists(folder / name) and not is_own(folder, name, listed)


def versions_beside(name: str, listed: Listed) -> list[str]:
    """Names that the last run gave to its own version since the user's file kept `name`."""
    stem, dot, suffix = (re.escape(piece) for piece in name.rpartition("."))
    pattern = re.compile(rf"{stem}\.new(?:-\d+)?{dot}{suffix}")
    return sorted(other for other in listed if pattern.fullmatch(other))


def is_of_last_run(folder: Path, name: str) -> bool | None:
    """Whether a file is what the last run wrote, or was made from, or an edit of it.

    None where the folder does not tell: there is no list, or the version beside is gone.
    """
    listed = read_list(folder)
    if not listed:
        return None
    if is_own(folder, name, listed):
        return True
    beside_it = versions_beside(name, listed)
    if any(is_own(folder, other, listed) for other in beside_it):
        return False
    return None if beside_it else True


def free_name(folder: Path, name: str, word: str, listed: Listed, taken: set[str]) -> str:
    """A name beside `name` that is free or holds only what we wrote."""
    number = 1
    while True:
        candidate = beside(name, word, number)
        free = not os.path.lexists(folder / candidate) or (
            word == "new" and is_own(folder, candidate, listed)
        )
        if free and candidate not in taken:
            return candidate
        number += 1


def some(names: list[str]) -> str:
    """The first three names and how many more."""
    shown = ", ".join(names[:3])
    return f"{shown} and {len(names) - 3} more" if len(names) > 3 else shown
