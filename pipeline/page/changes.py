"""The journal of a tune: every change of the page, on disk before it is answered.

Task: lose no change, whatever closes the page or kills the program; let two tabs and two programs
work on one tune.
In: the folder of a tune. Out: its State, and versions that count up with each change.
Method: `.liltwright-edits` holds one line of JSON for each change, the first with the tune that it
began with; a line counts when it ends with a line break, and is flushed to the disk (fsync) under
a lock of the file before the change is answered. Undo and redo are lines too, so nothing is ever
taken away. A change names the version that it was made on: another version is refused, with what
there is now. A tune.json or tune.abc that came from outside since is a change like any other.
References: write-ahead journals; flock(2).
"""

from __future__ import annotations

import hashlib
import json
import os
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from liltwright.again import read_again
from liltwright.errors import PipelineError, UsageError
from liltwright.page.desk import WORDS, StaleError, State, applied, fitting
from liltwright.page.notes import Edit
from liltwright.records import from_json, to_json
from liltwright.tune import Tune
from liltwright.write.folder.ledger import EDITS, edited_alone, is_plain_file


class Journal:
    """The changes of one tune. Not frozen: it grows. Safe for several threads.

    Hold `lock` to read several things of one version.
    """

    def __init__(self, folder: Path) -> None:
        """Read the journal of a folder that holds a tune, or begin one."""
        self.folder = folder
        self.path = folder / EDITS
        self.lock = threading.RLock()
        self._forget()
        with self._locked():
            self._catch_up()
            if not self._states:
                self._append({"base": _plain(_tune_of(folder))})
            self._take_outside()

    def _forget(self) -> None:
        self._states: list[tuple[State, str]] = []
        self._at = -1
        self._read = 0
        self._seen: dict[str, tuple[int, int, int]] = {}
        self._known: set[str] = set()
        self._marks: dict[str, str] = {}
        self.version = 0

    @property
    def state(self) -> State:
        """The tune as it is now."""
        with self.lock:
            return self._states[self._at][0]

    @property
    def marks(self) -> dict[str, str]:
        """What was marked for practice: bar -> word."""
        return dict(self._marks)

    @property
    def undoes(self) -> str:
        """What undo would take back; empty when there is nothing."""
        with self.lock:
            return self._states[self._at][1] if self._at > 0 else ""

    @property
    def redoes(self) -> str:
        """What redo would bring again; empty when there is nothing."""
        with self.lock:
            after = self._states[self._at + 1 : self._at + 2]
            return after[0][1] if after else ""

    def refresh(self) -> None:
        """Take in what other programs did since."""
        with self._locked():
            self._catch_up()
            self._take_outside()

    def do(self, edit: Edit, version: int) -> None:
        """Make a change. Raises StaleError, or UsageError when it makes no sense."""
        with self._locked():
            self._expect(version)
            done = applied(self.state, edit)
            if done != self.state:
                self._append({"do": dict(edit)}, done)

    def expected(self, version: int) -> State:
        """The state that a change was asked for on. Raises StaleError when there is a later one."""
        with self._locked():
            self._expect(version)
            return self.state

    def take_anew(self, tune: Tune, version: int) -> None:
        """The tune as it was read anew. Kept whole, as a later program might read it otherwise."""
        with self._locked():
            self._expect(version)
            self._append({"anew": _plain(tune)})

    @property
    def edits(self) -> list[str]:
        """What was done since the tune was read last, as far as it was not taken back."""
        with self.lock:
            done = [words for _, words in self._states[1 : self._at + 1]]
        anew = [place for place, words in enumerate(done) if words == WORDS["anew"]]
        return done[anew[-1] + 1 :] if anew else done

    def undo(self, version: int) -> None:
        """Take the last change back. Raises UsageError when there is none."""
        with self._locked():
            self._expect(version)
            if not self.undoes:
                raise UsageError("There is nothing to undo: this is how the tune began.")
            self._append({"undo": True})

    def redo(self, version: int) -> None:
        """Make the change again that was taken back last. Raises UsageError when there is none."""
        with self._locked():
            self._expect(version)
            if not self.redoes:
                raise UsageError("There is nothing to redo: no change was taken back.")
            self._append({"redo": True})

    def mark(self, bar: str, word: str) -> None:
        """Mark a bar for practice; an empty word takes the mark away. No part of undo."""
        with self._locked():
            self._catch_up()
            self._append({"mark": [bar, word]})

    def wrote(self, sha: str) -> None:
        """Remember that a file in the folder with this checksum is ours."""
        with self._locked():
            self._catch_up()
            if sha not in self._known:
                self._append({"wrote": sha})

    # ------------------------------------------------------------ lines

    def _expect(self, version: int) -> None:
        self._catch_up()
        self._take_outside()
        if version != self.version:
            raise StaleError("The tune was changed elsewhere meanwhile; the page has it now.")

    def _append(self, line: Mapping[str, Any], done: State | None = None) -> None:
        """Put a line on the disk, then count it."""
        data = json.dumps(line, separators=(",", ":"), ensure_ascii=False).encode() + b"\n"
        try:
            with open(self.path, "r+b") as file:
                file.seek(self._read)
                file.truncate()  # the torn line of a killed program, if any
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
        except OSError as fault:
            with suppress(OSError):
                os.truncate(self.path, self._read)
            raise PipelineError(
                f"The change could not be kept ({(fault.strerror or str(fault)).lower()}): "
                "it was not made; free some space or choose another folder."
            ) from fault
        self._read += len(data)
        self._count(line, done)

    def _catch_up(self) -> None:
        """Count the whole lines that were added since."""
        size = self.path.stat().st_size
        if size < self._read:
            self._forget()
        if size == self._read:
            return
        with open(self.path, "rb") as file:
            file.seek(self._read)
            data = file.read()
        for piece in data.splitlines(keepends=True):
            if not piece.endswith(b"\n"):
                return
            try:
                line = json.loads(piece)
                self._count(line)
            except (ValueError, KeyError, TypeError, PipelineError) as fault:
                raise PipelineError(
                    f"{EDITS} in {self.folder.name} is damaged after {self._read:,} bytes "
                    f"({fault}): move it away; the tune itself is in tune.json."
                ) from fault
            self._read += len(piece)

    def _count(self, line: Mapping[str, Any], done: State | None = None) -> None:
        if "base" in line:
            self._states, self._at = [(State(_from_plain(line["base"])), "")], 0
        elif "undo" in line:
            self._at = max(self._at - 1, 0)
        elif "redo" in line:
            self._at = min(self._at + 1, len(self._states) - 1)
        elif "do" in line:
            words = WORDS.get(line["do"].get("op"), "change")
            self._push(done or applied(self.state, line["do"]), words)
        elif "outside" in line:
            tune = _from_plain(line["outside"])
            self._push(State(tune, self.state.wishes), WORDS["outside"])
        elif "anew" in line:
            tune = _from_plain(line["anew"])
            self._push(State(tune, fitting(self.state.wishes, tune)), WORDS["anew"])
        elif "mark" in line:
            bar, word = line["mark"]
            self._marks.pop(bar, None)
            if word:
                self._marks[str(bar)] = str(word)
            return
        elif "wrote" in line:
            self._known.add(line["wrote"])
            return
        self.version += 1

    def _push(self, state: State, words: str) -> None:
        self._states = [*self._states[: self._at + 1], (state, words)]
        self._at += 1

    # ------------------------------------------------------------ what came from outside

    def _take_outside(self) -> None:
        """A tune.json of another run, or a tune.abc edited by hand, becomes a change."""
        for name in ("tune.json", "tune.abc"):
            path = self.folder / name
            if not is_plain_file(path):
                continue
            now = path.stat()
            stamp = (now.st_mtime_ns, now.st_size, now.st_ino)
            if self._seen.get(name) == stamp:
                continue
            data = path.read_bytes()
            sha = hashlib.sha256(data).hexdigest()
            if name == "tune.json":
                foreign = self._is_foreign_json(sha, data)
            else:
                foreign = sha not in self._known and edited_alone(self.folder, name)
            if foreign:
                with suppress(PipelineError):  # a file that is no tune stays where it is
                    tune, _ = read_again(path)
                    self._append({"outside": _plain(tune)})
            if sha not in self._known:
                self._append({"wrote": sha})
            self._seen[name] = stamp

    def _is_foreign_json(self, sha: str, data: bytes) -> bool:
        if sha in self._known:
            return False
        if any(state.tune == _from_plain_or_none(data) for state, _ in self._states[-3:]):
            return False
        return to_json(self.state.tune).encode() != data

    @contextmanager
    def _locked(self) -> Iterator[None]:
        """Alone with the journal, among threads and among programs."""
        with self.lock:
            handle = os.open(self.path, os.O_RDWR | os.O_CREAT | _NO_FOLLOW, 0o644)
            try:
                with suppress(ImportError, OSError):  # a system or a disk without locks
                    import fcntl

                    fcntl.flock(handle, fcntl.LOCK_EX)
                yield
            finally:
                os.close(handle)


_NO_FOLLOW = getattr(os, "O_NOFOLLOW", 0)


def _tune_of(folder: Path) -> Tune:
    for name in ("tune.json", "tune.abc"):
        if is_plain_file(folder / name):
            return read_again(folder / name)[0]
    raise PipelineError(f"{folder.name} holds no tune.json: take a recording or a tune in first.")


def _plain(tune: Tune) -> Any:
    return json.loads(to_json(tune))


def _from_plain(value: Any) -> Tune:
    return from_json(json.dumps(value), Tune, name="the journal")


def _from_plain_or_none(data: bytes) -> Tune | None:
    try:
        return from_json(data, Tune)
    except PipelineError:
        return None
