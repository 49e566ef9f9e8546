"""Which files are meant, and what they hold.

Task     from the words of a command to files, each content once
In       folders (searched to the bottom), lists (.txt, a path a line), globs, single files
Out      `Item`s in the order of their content hash, with every name that the content has
Method   a folder gives the files whose ending is that of a recording or a tune; files whose name
         starts with a dot and the output folder are passed over. A content is worked on once
         however many names it has: under the first of them. A shard i/n holds the contents whose
         hash, as a number, leaves i-1 when divided by n, so that machines need not talk.
"""

from __future__ import annotations

import glob
import hashlib
import os
import re
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from liltwright.errors import PipelineError, UsageError
from liltwright.limits import clean, shown_path

SOUNDS = frozenset({
    ".wav", ".flac", ".mp3", ".ogg", ".oga", ".opus", ".m4a", ".m4b", ".aac", ".mp4", ".webm",
    ".mka", ".aif", ".aiff", ".wma",
})  # fmt: skip
TUNES = frozenset([".abc", ".musicxml", ".mxl", ".mid", ".midi"])


@dataclass(frozen=True, slots=True)
class Item:
    """One content to work on."""

    content: str
    """SHA-256 of the bytes, in hex."""
    path: Path
    name: str
    """Path below the folder that was named, or the path as it was given."""
    copies: tuple[str, ...] = ()
    """Further names of the same content."""


@dataclass(frozen=True, slots=True)
class Shard:
    """Part `number` of `count`, from 1."""

    number: int = 1
    count: int = 1

    def holds(self, content: str) -> bool:
        """Whether a content belongs to this part."""
        return int(content[:15], 16) % self.count == self.number - 1

    @property
    def stem(self) -> str:
        """What this part's files are called."""
        return "" if self.count == 1 else f"-{self.number}-of-{self.count}"


def parse_shard(text: str | None) -> Shard:
    """A part from words like 2/8. Raises UsageError."""
    if text is None:
        return Shard()
    found = re.fullmatch(r"(\d{1,6})/(\d{1,6})", text.strip())
    if not found or not 1 <= int(found[1]) <= int(found[2]):
        raise UsageError(f'--shard "{text}" is no part of a whole: write it like 2/8, from 1/8 on.')
    return Shard(int(found[1]), int(found[2]))


def named_files(inputs: Sequence[str], out: Path) -> list[tuple[str, Path]]:
    """(name, path) of every file that is meant, sorted. Raises UsageError when there is none."""
    found: dict[str, Path] = {}
    for text in inputs:
        for name, path in _files_of(text, out):
            if found.setdefault(name, path) != path:  # of two folders with a file of one name
                found[path.as_posix()] = path
    if not found:
        raise UsageError(
            f"no recording and no tune in {', '.join(map(clean, inputs))}: name a folder, a glob "
            "in quotes, or a .txt file with one path a line."
        )
    return sorted(found.items())


def _files_of(text: str, out: Path) -> Iterator[tuple[str, Path]]:
    path = Path(text)
    if path.is_dir():
        yield from _in_folder(path, out)
    elif path.is_file():
        yield from _in_list(path) if path.suffix.lower() == ".txt" else [(text, path)]
    elif glob.has_magic(text):
        for match in sorted(glob.glob(text, recursive=True)):
            if os.path.isfile(match):
                yield match, Path(match)
    else:
        raise UsageError(f"{shown_path(path)} does not exist: check the name and the folder.")


def _in_folder(folder: Path, out: Path) -> Iterator[tuple[str, Path]]:
    ours = out.resolve()
    for here, folders, names in os.walk(folder):
        folders[:] = sorted(
            name
            for name in folders
            if not name.startswith(".") and Path(here, name).resolve() != ours
        )
        for name in sorted(names):
            path = Path(here, name)
            if not name.startswith(".") and path.suffix.lower() in SOUNDS | TUNES:
                yield path.relative_to(folder).as_posix(), path


def _in_list(path: Path) -> Iterator[tuple[str, Path]]:
    """Paths of a list; a relative one counts from the list's folder. Lines with # are remarks."""
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as fault:
        raise UsageError(
            f"{shown_path(path)} is no list of paths, one a line, in UTF-8: "
            f"save it as that ({type(fault).__name__})."
        ) from fault
    for line in lines:
        if (text := line.strip()) and not text.startswith("#"):
            yield text, path.parent / text


def contents(
    files: Sequence[tuple[str, Path]],
    shard: Shard,
    known: Callable[[Path], str | None],
    learned: Callable[[Path, str], None],
) -> tuple[list[Item], dict[str, str]]:
    """The contents of a shard, sorted; and what is wrong with files that cannot be read, by name.

    known, learned : ask for and keep the hash of a file, so that it is made once.
    """
    names: dict[str, list[tuple[str, Path]]] = defaultdict(list)
    unread: dict[str, str] = {}
    for name, path in files:
        content = known(path)
        if content is None:
            try:
                content = hash_of(path)
            except PipelineError as fault:
                if shard.holds(hashlib.sha256(name.encode(errors="replace")).hexdigest()):
                    unread[name] = str(fault)
                continue
            learned(path, content)
        if shard.holds(content):
            names[content].append((name, path))
    items = [
        Item(content, these[0][1], these[0][0], tuple(name for name, _ in these[1:]))
        for content, these in sorted(names.items())
    ]
    return items, unread


def hash_of(path: Path) -> str:
    """SHA-256 of a file. Raises PipelineError when it cannot be read."""
    try:
        with open(path, "rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or str(fault)
        raise PipelineError(f"{shown_path(path)} cannot be read: {reason}.") from fault
