"""Task: change many files of a folder at once, so that a kill at any moment loses nothing.

In: a Change: new bytes by name, files of ours that go, files of the user's that step aside.
Out: the folder changed, what it replaced kept in `.liltwright-earlier`.
Method: new files, copies of the old and the new list are put into `.liltwright-writing` and flushed
to disk; then the plan of it all, with checksums, gets its name. Without a plan a kill means that
nothing happened: the room is thrown away. With one the rest is done by `finish`, now or at the
start of the next run; each step looks whether it was taken already and touches only bytes that the
plan knows. Only renames come after the plan, so a full disk stops a change before it begins.
References: rename(2), atomic within one file system (POSIX.1-2017).
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from liltwright.errors import UsageError
from liltwright.write.folder.ledger import (
    EARLIER,
    LIST_NAME,
    WRITING,
    Listed,
    good_entries,
    is_plain_name,
    parse_json,
    parse_list,
    sha256,
)

PLAN = "plan.json"


@dataclass(frozen=True, slots=True)
class Change:
    """What is to happen to a folder."""

    new: Mapping[str, bytes]
    gone: Listed
    """Files of ours that are replaced or go, with the checksum they have now."""
    listed: Listed
    """The list of our files afterwards."""
    listed_before: Listed
    aside: Mapping[str, str] = field(default_factory=dict)
    """Files of the user's that get another name first."""


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Wait until no other run writes into the folder; a killed one waits for nobody."""
    try:
        import fcntl
    except ImportError:  # a system without such locks
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        with suppress(OSError):  # a network disk without locks
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def check_rooms(folder: Path) -> None:
    """Raises UsageError when something else stands where our hidden folders go."""
    for name in (WRITING, EARLIER):
        path = folder / name
        if os.path.lexists(path) and (path.is_symlink() or not path.is_dir()):
            raise UsageError(
                f"{path} is not the folder that the program keeps under this name: move it away."
            )


def carry_out(folder: Path, change: Change) -> None:
    """Make a change whole. Before the plan stands, an error leaves the folder as it was."""
    finish(folder)
    room = folder / WRITING
    try:
        _prepare(folder, room, change)
    except BaseException:
        if not (room / PLAN).exists():
            shutil.rmtree(room, ignore_errors=True)
        raise
    finish(folder)


def finish(folder: Path) -> None:
    """Do what is left of a change that was planned; throw away one that was not."""
    check_rooms(folder)
    room = folder / WRITING
    if not room.is_dir():
        return
    plan = parse_json(room / PLAN)
    if plan is not None:
        _apply(folder, room, plan)
        _flush_folder(folder)
        (room / PLAN).unlink()
    shutil.rmtree(room)


def earlier_files(folder: Path) -> tuple[Listed, dict[str, bytes]]:
    """What the folder held before its last change: the list, and the files that can be had."""
    check_rooms(folder)
    listed = parse_list(folder / EARLIER / LIST_NAME) or {}
    files = {}
    for name, sha in listed.items():
        for path in (folder / EARLIER / "files" / name, folder / name):
            if sha256(path) == sha:
                files[name] = path.read_bytes()
                break
    return listed, files


def write_flushed(path: Path, data: bytes) -> None:
    """Write a new file and wait until the disk has it. Never follows or overwrites anything."""
    with open(path, "xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _prepare(folder: Path, room: Path, change: Change) -> None:
    (room / "new").mkdir(parents=True)
    for name, data in change.new.items():
        write_flushed(room / "new" / name, data)
    if change.gone:
        (room / "old" / "files").mkdir(parents=True)
        write_flushed(room / "old" / LIST_NAME, as_json(change.listed_before))
        for name in change.gone:
            _copy(folder / name, room / "old" / "files" / name)
    write_flushed(room / LIST_NAME, as_json(change.listed))
    plan = {
        "new": {name: hashlib.sha256(data).hexdigest() for name, data in change.new.items()},
        "gone": change.gone,
        "aside": dict(change.aside),
    }
    write_flushed(room / "draft", as_json(plan))
    _flush_folder(room)
    os.replace(room / "draft", room / PLAN)
    _flush_folder(room)


def _apply(folder: Path, room: Path, plan: Mapping[str, object]) -> None:
    new, gone = good_entries(plan.get("new")), good_entries(plan.get("gone"))
    aside = plan.get("aside")
    for name, other in aside.items() if isinstance(aside, dict) else ():
        waiting = is_plain_name(name) and is_plain_name(other) and name in new
        if waiting and sha256(room / "new" / name) and not os.path.lexists(folder / other):
            with suppress(FileNotFoundError):
                os.rename(folder / name, folder / other)
    kept = room / "old" / "files"
    for name, sha in new.items():
        target, staged = folder / name, room / "new" / name
        if sha256(staged) != sha:
            continue
        if not os.path.lexists(target) or _is_kept(target, kept, gone.get(name)):
            os.replace(staged, target)
    for name, sha in gone.items():
        if name not in new and _is_kept(folder / name, kept, sha):
            (folder / name).unlink()
    if (room / "old").is_dir() and not (room / "old").is_symlink():
        with suppress(FileNotFoundError):
            shutil.rmtree(folder / EARLIER)
        os.rename(room / "old", folder / EARLIER)
    if parse_list(room / LIST_NAME) is not None:
        os.replace(room / LIST_NAME, folder / LIST_NAME)


def _is_kept(target: Path, kept: Path, sha: str | None) -> bool:
    """Whether a file is still the one that the plan knows, and its copy is there."""
    return bool(sha) and sha256(target) == sha and sha256(kept / target.name) == sha


def _copy(source: Path, target: Path) -> None:
    """A second name for the same bytes where the file system has that, else a copy."""
    try:
        os.link(source, target, follow_symlinks=False)
    except OSError:
        write_flushed(target, source.read_bytes())


def as_json(value: Mapping[str, object]) -> bytes:
    """A mapping as JSON, in the order of its names."""
    return (json.dumps(dict(sorted(value.items())), indent=1) + "\n").encode()


def _flush_folder(folder: Path) -> None:
    with suppress(OSError):  # some systems flush no folders
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
