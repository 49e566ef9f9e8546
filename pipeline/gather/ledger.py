"""What is done already: the memory of a gathering, in SQLite on a local disk.

Task     let no work be done twice, whatever was killed when
In       contents (SHA-256) and recipes (options and program version, hashed) with their rows
Out      the rows that are known, as dicts
Method   one row is one transaction, written when its tune's folder is complete. Only the process
         that gathers opens the ledger, never a worker. It lies in the output folder, or, where
         that is on a network disk, whose locks SQLite must not trust, in the user's state folder.
References: https://sqlite.org/howtocorrupt.html#_filesystems_with_broken_or_missing_lock_implementations
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

from liltwright.errors import PipelineError

Row = dict[str, Any]
NETWORK = frozenset({
    "nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "afs", "ceph", "lustre", "gpfs", "beegfs",
    "fuse.sshfs", "fuse.glusterfs", "fuse.s3fs", "virtiofs",
})  # fmt: skip
"""Kinds of file systems whose locks span machines."""
LEARNED_AT_ONCE = 100  # hashes of files put into one transaction
_TABLES = """
create table if not exists work (
    content text, recipe text, failed integer, row text, primary key (content, recipe)
) without rowid;
create table if not exists files (
    path text primary key, size integer, changed integer, content text
) without rowid;
"""


class Ledger:
    """The memory of one gathering (or one shard of it)."""

    def __init__(self, path: Path) -> None:
        """Open it or start a new one. Raises PipelineError when it is in use or damaged."""
        self.path = path
        self._lock = _locked(path)
        self._learned = 0
        try:
            self._base = sqlite3.connect(path)
            self._base.executescript(_TABLES)
        except sqlite3.Error as fault:
            raise PipelineError(
                f"the ledger {path} cannot be used ({fault}): move it away, then the work is "
                "done again."
            ) from fault

    def close(self) -> None:
        """Let go of it."""
        self._base.close()
        if self._lock is not None:
            self._lock.close()

    def rows(self, recipe: str, contents: Iterable[str]) -> dict[str, Row]:
        """What is known of these contents, by content."""
        wanted = set(contents)
        known = self._base.execute("select content, row from work where recipe = ?", (recipe,))
        return {content: json.loads(row) for content, row in known if content in wanted}

    def keep(self, recipe: str, rows: Iterable[Row]) -> None:
        """Keep rows that are complete; a row without `error` is a tune that is done.

        A row that says `again`, of a file whose workers died, is not kept: it may not be to blame.
        """
        with self._base:
            self._base.executemany(
                "insert or replace into work values (?, ?, ?, ?)",
                [
                    (row["content"], recipe, int("error" in row), json.dumps(row, sort_keys=True))
                    for row in rows
                    if "again" not in row
                ],
            )

    def known_hash(self, path: Path) -> str | None:
        """The hash of a file whose size and time of change are as they were."""
        with suppress(OSError):
            found = path.stat()
            row = self._base.execute(
                "select content from files where path = ? and size = ? and changed = ?",
                (_text(path), found.st_size, found.st_mtime_ns),
            ).fetchone()
            return row[0] if row else None
        return None

    def learn_hash(self, path: Path, content: str) -> None:
        """Keep the hash of a file; `now and then, and by `commit`, it is made to last."""
        with suppress(OSError):
            found = path.stat()
            self._base.execute(
                "insert or replace into files values (?, ?, ?, ?)",
                (_text(path), found.st_size, found.st_mtime_ns, content),
            )
            self._learned += 1
            if self._learned % LEARNED_AT_ONCE == 0:
                self.commit()

    def commit(self) -> None:
        """Make what was learned last."""
        self._base.commit()


def ledger_path(out: Path, stem: str) -> Path:
    """Where the ledger of an output folder lies; the folder is made."""
    folder = out / ".gather"
    if file_system(out) in NETWORK:
        import platformdirs

        state = platformdirs.user_state_path("liltwright", appauthor=False)
        folder = state / "gather" / hashlib.sha256(_text(out).encode()).hexdigest()[:16]
    folder.mkdir(parents=True, exist_ok=True)
    return folder / f"ledger{stem}.sqlite3"


def file_system(path: Path) -> str:
    """The kind of file system a folder lies on, "" where the system does not tell."""
    try:
        mounts = [line.split()[1:3] for line in Path("/proc/mounts").read_text().splitlines()]
    except OSError:
        return ""
    here = path.resolve()
    holding = [(len(at), kind) for at, kind in mounts if here.is_relative_to(at)]
    return max(holding)[1] if holding else ""


def _text(path: Path) -> str:
    return str(path.resolve()).encode(errors="surrogateescape").decode(errors="replace")


def _locked(path: Path) -> Any:
    """The lock of a ledger: one gathering at a time; a killed one holds nothing."""
    try:
        import fcntl
    except ImportError:  # a system without such locks
        return None
    lock = open(path.with_suffix(".lock"), "w")  # noqa: SIM115
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as fault:
        lock.close()
        raise PipelineError(
            f"another gathering is at work with the ledger {path}: wait until it ends."
        ) from fault
    return lock
