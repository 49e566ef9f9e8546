"""Task: put a set of files into one folder, whole or not at all, and lose nothing of the user's.

In: file names with their bytes, a folder. Out: the files written, and what was left as it is.
Method: what we wrote and is unchanged (ledger.py) may be renewed; it stays in the folder's history
until the next change. Anything else keeps its name and its bytes: the new version goes beside it,
`tune.new.abc` for `tune.abc`. All files change together (journal.py).
"""

from __future__ import annotations

import errno
import hashlib
import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from liltwright.errors import PipelineError, UsageError, to_type
from liltwright.stopping import note_written, undisturbed
from liltwright.write.folder.journal import (
    Change,
    alone,
    carry_out,
    check_rooms,
    earlier_files,
    finish,
    write_flushed,
)
from liltwright.write.folder.ledger import (
    LIST_NAME,
    OUR_NAMES,
    WRITING,
    Listed,
    edited_alone,
    free_name,
    is_own,
    list_is_damaged,
    read_list,
    sha256,
    some,
)
from liltwright.write.folder.leftovers import clear_leftovers, part_name


@dataclass(frozen=True, slots=True)
class Saved:
    """What became of the files of a run."""

    written: tuple[Path, ...]
    beside: Mapping[str, str]
    """Name of a file of the user's -> name that the new version got."""
    aside: Mapping[str, str]
    """Name that the new version took -> name that the user's file got."""
    stayed: tuple[str, ...]
    """Files of an earlier run that this one did not make and that stay."""
    replaced: int
    """How many files of an earlier run went into the history."""


def check_folder(folder: Path, *, replace: bool = False) -> tuple[Path, ...]:
    """Say early whether `save` could write into a folder: made if missing, writable, ours or empty.

    First finishes what a killed run left. Returns the folders that had to be made. Raises
    UsageError otherwise.
    """
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder} is a file, not a folder: choose another name{to_type('out')}.")
    try:
        made = _make(folder)
        with alone(folder):
            finish(folder)
            clear_leftovers(folder)
            (folder / WRITING).mkdir()
            (folder / WRITING).rmdir()
            if replace and list_is_damaged(folder):
                name = free_name(folder, "written.json", "damaged", {}, set())
                os.rename(folder / LIST_NAME, folder / name)
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise UsageError(
            f"cannot write into the folder {folder} ({reason}): choose another{to_type('out')}."
        ) from fault
    if not replace:
        _refuse_strangers(folder)
    return made


def remove_if_empty(folders: Iterable[Path]) -> None:
    """Take away folders that check_folder made, innermost first, when nothing was put there."""
    for folder in folders:
        try:
            folder.rmdir()
        except OSError:
            return


def save(
    files: Mapping[str, bytes],
    folder: Path,
    *,
    keep: Iterable[str] = (),
    stays: Callable[[str], bool] = lambda name: False,
    replace: bool = False,
) -> Saved:
    """Write all files or none; the user's files stay as they are.

    keep : names that get no new version, since the run was made from them.
    stays : which files of an earlier run stay though they are not written again; the others go.
    replace : the new version takes the name, and the user's file goes beside (`tune.yours.abc`).
    Raises PipelineError when the disk is full or the folder vanishes; nothing half-written stays.
    """
    try:
        with alone(folder):
            finish(folder)
            change, saved = _plan(files, folder, set(keep), stays, replace)
            if change.new or change.gone or change.listed != change.listed_before:
                with undisturbed():
                    carry_out(folder, change)
                    note_written(folder)
    except OSError as fault:
        raise PipelineError(_write_fault(folder, fault, files)) from fault
    return saved


def restore(folder: Path) -> Saved:
    """Bring back what a folder held before its last change; done twice, it is as it was.

    Raises UsageError when there is nothing to bring back.
    """
    if not folder.is_dir():
        raise UsageError(f"{folder} is no folder: name one that an earlier run wrote into.")
    try:
        with alone(folder):
            finish(folder)
        files = earlier_files(folder)[1]
    except OSError as fault:
        raise PipelineError(_write_fault(folder, fault, {})) from fault
    if not files:
        raise UsageError(f"{folder} holds no earlier state to bring back: no run replaced a file.")
    return save(files, folder)


def check_new(path: Path) -> None:
    """Raises UsageError when there is such a file already."""
    if os.path.lexists(path):
        raise UsageError(f"{path} is there already: choose another name{to_type('out')}.")


def save_one(path: Path, data: bytes) -> None:
    """Write one new file whole or not at all. Raises UsageError when it is there already."""
    check_new(path)
    temporary = path.with_name(part_name(path.name))
    try:
        with alone(path.parent), undisturbed():
            clear_leftovers(path.parent)
            try:
                write_flushed(temporary, data)
                check_new(path)
                os.replace(temporary, path)
                note_written(path)
            finally:
                temporary.unlink(missing_ok=True)
    except OSError as fault:
        raise PipelineError(_write_fault(path.parent, fault, {path.name: data})) from fault


def edited_by_user(path: Path) -> bool:
    """Whether a file lies in a folder of ours and is not just what we wrote there."""
    return edited_alone(path.parent, path.name)


def _plan(
    files: Mapping[str, bytes],
    folder: Path,
    keep: set[str],
    stays: Callable[[str], bool],
    replace: bool,
) -> tuple[Change, Saved]:
    before = read_list(folder)
    new: dict[str, bytes] = {}
    gone: Listed = {}
    after: Listed = {}
    beside: dict[str, str] = {}
    aside: dict[str, str] = {}
    for name, data in sorted(files.items()):
        if name in keep:
            continue
        place, sha = name, hashlib.sha256(data).hexdigest()
        if os.path.lexists(folder / name) and not is_own(folder, name, before):
            same = sha256(folder / name) == sha
            if same and not replace:
                continue  # the user's, and nothing new to say
            if replace and not same:
                aside[name] = free_name(folder, name, "yours", before, {*files, *aside.values()})
            elif not replace:
                place = free_name(folder, name, "new", before, {*files, *after})
                beside[name] = place
        after[place] = sha
        present = sha256(folder / place)
        if present == sha:
            continue
        new[place] = data
        if present and name not in aside:
            gone[place] = present
    stayed = []
    for name, sha in before.items():
        if name in after or name in keep or sha256(folder / name) != sha:
            continue
        if stays(name):
            after[name] = sha
            stayed.append(name)
        else:
            gone[name] = sha
    written = tuple(folder / name for name in after if name not in stayed)
    saved = Saved(written, beside, aside, tuple(sorted(stayed)), len(gone))
    return Change(new, gone, after, before, aside), saved


def _make(folder: Path) -> tuple[Path, ...]:
    missing = [path for path in (folder, *folder.parents) if not path.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    return tuple(missing)


def _refuse_strangers(folder: Path) -> None:
    check_rooms(folder)
    if list_is_damaged(folder):
        raise UsageError(
            f"{LIST_NAME} in {folder} is damaged, so that nothing tells whose files these are: "
            f"choose another folder{to_type('out')}{to_type('or replace')}."
        )
    others = sorted(path.name for path in folder.iterdir() if path.name not in OUR_NAMES)
    if others and not read_list(folder):
        raise UsageError(
            f"the folder {folder} is not empty ({some(others)}): choose another{to_type('out')}"
            f"{to_type('or replace strangers')}."
        )


def _write_fault(folder: Path, fault: OSError, staged: Mapping[str, bytes]) -> str:
    size = sum(len(data) for data in staged.values()) / 1e6
    if fault.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return (
            f"no room on the disk for the {size:.1f} MB that go into {folder}: "
            f"nothing was written; free some space or choose another folder{to_type('out')}."
        )
    return f"could not write into {folder} ({(fault.strerror or str(fault)).lower()})."
