"""Where workers put what they made: a folder that all machines see, or an fsspec address.

Task     write, read, list and remove small files by name, at "/mnt/archive" or "s3://archive"
In       the place as text; file names and bytes
Out      files there; UsageError for an address of no known kind
Method   an address is one with "://" in it, and belongs to fsspec and what is installed for its
         protocol. A folder of results is complete when its tune.json is there, so that is
         written last. `.written.json` there lists what the program wrote, as in every folder of
         this program: a file with other bytes is the user's and keeps its name.
References: https://filesystem-spec.readthedocs.io
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Any

from liltwright.errors import UsageError
from liltwright.write.folder.journal import write_flushed
from liltwright.write.folder.ledger import LIST_NAME

LAST = "tune.json"


def is_address(place: str) -> bool:
    """Whether a place is an fsspec address and no folder."""
    return "://" in place


def opened(place: str) -> tuple[Any, str]:
    """The file system of an address, and the path in it. Raises UsageError."""
    try:
        import fsspec

        return fsspec.core.url_to_fs(place)
    except (ImportError, ValueError) as fault:
        raise UsageError(
            f"--results {place} cannot be used ({fault}): name an fsspec address such as "
            "s3://bucket/folder, and install what fsspec needs for it."
        ) from fault


def complete(results: str) -> frozenset[str]:
    """The folders of tunes that are whole at an address, by name."""
    system, root = opened(results)
    with suppress(FileNotFoundError):
        found = system.find(f"{root}/tunes")
        return frozenset(path.split("/")[-2] for path in found if path.endswith(f"/{LAST}"))
    return frozenset()


def save_at(files: Mapping[str, bytes], address: str) -> None:
    """Put the files of a tune at an address; what the user changed there stays."""
    system, root = opened(address)
    system.makedirs(root, exist_ok=True)
    listed = _listed(system, root)
    for name in sorted(files, key=lambda name: name == LAST):
        path = f"{root}/{name}"
        if system.exists(path):
            there = sha256(system.cat_file(path)).hexdigest()
            if there not in (listed.get(name), sha256(files[name]).hexdigest()):
                path = f"{root}/{name.replace('.', '.new.', 1)}"
        if path.endswith(f"/{LAST}"):
            digests = {one: sha256(data).hexdigest() for one, data in files.items()}
            system.pipe_file(f"{root}/{LIST_NAME}", json.dumps(digests, sort_keys=True).encode())
        system.pipe_file(path, files[name])


def _listed(system: Any, root: str) -> dict[str, str]:
    with suppress(FileNotFoundError, ValueError):
        found = json.loads(system.cat_file(f"{root}/{LIST_NAME}"))
        return found if isinstance(found, dict) else {}
    return {}


# ---------------------------------------------------------------- rows of batches


def put(shelf: str, name: str, data: bytes, own: str) -> None:
    """A file on the shelf, whole or not at all; `own` is no other process' word."""
    if is_address(shelf):
        system, root = opened(shelf)
        system.makedirs(root, exist_ok=True)
        system.pipe_file(f"{root}/{name}", data)
        return
    part = Path(shelf) / f"{name}.{own}.part"
    write_flushed(part, data)
    part.replace(Path(shelf) / name)


def take(shelf: str, name: str) -> bytes:
    """What a file on the shelf holds. Raises OSError when it is not there."""
    if is_address(shelf):
        system, root = opened(shelf)
        system.invalidate_cache()
        return bytes(system.cat_file(f"{root}/{name}"))
    return (Path(shelf) / name).read_bytes()


def drop(shelf: str, name: str) -> None:
    """Take a file off the shelf, if it is there."""
    if is_address(shelf):
        system, root = opened(shelf)
        with suppress(FileNotFoundError):
            system.rm_file(f"{root}/{name}")
        return
    (Path(shelf) / name).unlink(missing_ok=True)


def names(shelf: str) -> list[str]:
    """The rows' files on the shelf."""
    if is_address(shelf):
        system, root = opened(shelf)
        with suppress(FileNotFoundError):
            found = (path.rsplit("/", 1)[-1] for path in system.find(root))
            return sorted(name for name in found if name.endswith(".json"))
        return []
    return sorted(path.name for path in Path(shelf).glob("*.json"))
