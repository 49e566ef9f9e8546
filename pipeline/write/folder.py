"""Task: put a set of files into one folder, whole or not at all, and lose nothing of the user's.

In: file names with their bytes, a folder. Out: the files written.
Method: everything is written under temporary names in the same folder and flushed to disk; only
when all of it is there are the files renamed into place. A small list of what we wrote
(`.written.json`, name -> sha256) tells our own files of an earlier run, which may be renewed,
from files that the user made or edited, which may not.
References: rename(2), atomic within one file system (POSIX.1-2017).
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
from collections.abc import Iterable, Mapping
from pathlib import Path

from pipeline.errors import PipelineError, UsageError

LIST_NAME = ".written.json"


def check_folder(
    folder: Path, *, replace: bool = False, keep: Iterable[str] = ()
) -> tuple[Path, ...]:
    """Say early whether `save` could write into a folder: made if missing, writable, ours or empty.

    keep : names in the folder that the user edited and that `save` will leave alone.
    Returns the folders that had to be made. Raises UsageError otherwise.
    """
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder} is a file, not a folder: choose another name with --out.")
    try:
        made = _make(folder)
        probe = folder / f".liltwright-{os.getpid()}"
        probe.write_bytes(b"")
        probe.unlink()
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise UsageError(
            f"cannot write into the folder {folder} ({reason}): choose another with --out."
        ) from fault
    if not replace:
        _refuse_strangers(folder, set(keep))
    return made


def remove_if_empty(folders: Iterable[Path]) -> None:
    """Take away folders that check_folder made, innermost first, when nothing was put there."""
    for folder in folders:
        try:
            folder.rmdir()
        except OSError:
            return


def save(files: Mapping[str, bytes], folder: Path, *, keep: Iterable[str] = ()) -> tuple[Path, ...]:
    """Write all files or none. Files of an earlier run that are not written again are removed.

    Raises PipelineError when the disk is full or the folder vanishes; nothing half-written stays.
    """
    kept = set(keep)
    wanted = {name: data for name, data in sorted(files.items()) if name not in kept}
    stale = [
        name for name, sha in _written(folder).items()
        if name not in wanted and name not in kept and _sha256(folder / name) == sha
    ]  # fmt: skip
    listed = {name: hashlib.sha256(data).hexdigest() for name, data in wanted.items()}
    staged = {**wanted, LIST_NAME: (json.dumps(listed, indent=1) + "\n").encode()}
    temporary = {name: folder / f".{name}.{os.getpid()}.part" for name in staged}
    try:
        for name, data in staged.items():
            _write_flushed(temporary[name], data)
        for name in staged:
            os.replace(temporary[name], folder / name)
    except OSError as fault:
        raise PipelineError(_write_fault(folder, fault, staged)) from fault
    finally:
        for path in temporary.values():
            path.unlink(missing_ok=True)
    for name in stale:
        (folder / name).unlink(missing_ok=True)
    return tuple(folder / name for name in wanted)


def check_new(path: Path) -> None:
    """Raises UsageError when there is such a file already."""
    if path.exists():
        raise UsageError(f"{path} is there already: choose another name with --out.")


def save_one(path: Path, data: bytes) -> None:
    """Write one new file whole or not at all. Raises UsageError when it is there already."""
    check_new(path)
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        _write_flushed(temporary, data)
        os.replace(temporary, path)
    except OSError as fault:
        raise PipelineError(_write_fault(path.parent, fault, {path.name: data})) from fault
    finally:
        temporary.unlink(missing_ok=True)


def edited_by_user(path: Path) -> bool:
    """Whether a file lies in a folder of ours and differs from what we wrote there."""
    expected = _written(path.parent).get(path.name)
    return expected is not None and _sha256(path) != expected


def is_ours(folder: Path) -> bool:
    """Whether an earlier run wrote into this folder."""
    return bool(_written(folder))


def _make(folder: Path) -> tuple[Path, ...]:
    missing = [path for path in (folder, *folder.parents) if not path.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    return tuple(missing)


def _refuse_strangers(folder: Path, keep: set[str]) -> None:
    written = _written(folder)
    others = sorted(
        path.name for path in folder.iterdir()
        if path.name not in keep and path.name not in written and path.name != LIST_NAME
    )  # fmt: skip
    if others and not written:
        raise UsageError(
            f"the folder {folder} is not empty ({_some(others)}): choose another with --out, "
            "or say --replace to write into it all the same."
        )
    edited = sorted(
        name for name, sha in written.items()
        if name not in keep and (folder / name).exists() and _sha256(folder / name) != sha
    )  # fmt: skip
    if edited:
        raise UsageError(
            f"{_some(edited)} in {folder} was edited since it was written: choose another folder "
            "with --out, or say --replace to write over it."
        )


def _written(folder: Path) -> dict[str, str]:
    try:
        listed = json.loads((folder / LIST_NAME).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return listed if isinstance(listed, dict) else {}


def _sha256(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""


def _write_flushed(path: Path, data: bytes) -> None:
    with open(path, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _write_fault(folder: Path, fault: OSError, staged: Mapping[str, bytes]) -> str:
    size = sum(len(data) for data in staged.values()) / 1e6
    if fault.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return (
            f"no room on the disk for the {size:.1f} MB that go into {folder}: "
            "nothing was written; free some space or choose another folder with --out."
        )
    return f"could not write into {folder} ({(fault.strerror or str(fault)).lower()})."


def _some(names: list[str]) -> str:
    shown = ", ".join(names[:3])
    return f"{shown} and {len(names) - 3} more" if len(names) > 3 else shown
