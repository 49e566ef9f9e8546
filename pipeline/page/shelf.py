"""The folder of tunes: what is in it, and the one way from a name in a request to a place on disk.

Task: list tunes by title, type, key and first bars; find a tune's folder; make new folders.
In: the root folder. Out: Entry for each folder with a tune.json, Loose for files not yet taken in.
Method: a tune is asked for by an identifier, the checksum of its folder's name, and found in the
listing; no path is ever made of what a request says. Links that lead out of the root are not
listed. What is known of a tune is read again only when its files changed.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import threading
from dataclasses import dataclass
from pathlib import Path

from liltwright import keys
from liltwright.errors import PipelineError, UsageError
from liltwright.limits import clean
from liltwright.read.files import TUNE_SUFFIXES
from liltwright.tune import Tune
from liltwright.write.folder.ledger import EDITS, is_plain_file, parse_json

SOUND_SUFFIXES = (".wav", ".flac", ".mp3", ".ogg", ".oga", ".opus", ".m4a", ".aac", ".mp4", ".webm")
SETS = "sets.json"
MOST_TUNES = 5000  # listed of a folder
MOST_SETS, MOST_IN_A_SET = 200, 12  # kept, and tunes in each


@dataclass(frozen=True, slots=True)
class Entry:
    """A tune on the shelf."""

    id: str
    name: str
    """The folder's name."""
    title: str
    tune_type: str
    key: str
    meter: str
    form: str
    first: str
    """The notes of the first two full bars by their letters."""
    doubts: int
    heard: bool
    changed: float


@dataclass(frozen=True, slots=True)
class Loose:
    """A file in the folder that could be taken in."""

    id: str
    name: str
    recording: bool


def identifier(name: str) -> str:
    """What a tune is called in addresses."""
    return hashlib.sha256(name.encode("utf-8", "surrogateescape")).hexdigest()[:12]


class Shelf:
    """The tunes of one root folder. Not frozen: it remembers what it read."""

    def __init__(self, root: Path) -> None:
        """A shelf over a folder, which is made when it is missing. Raises UsageError."""
        try:
            root.mkdir(parents=True, exist_ok=True)
            self.root = root.resolve()
            if not os.access(self.root, os.W_OK):
                raise PermissionError(13, "no right to write")
        except (OSError, RuntimeError) as fault:
            reason = (getattr(fault, "strerror", None) or str(fault)).lower()
            raise UsageError(
                f"The page cannot use the folder {root} ({reason}): name another."
            ) from fault
        self._known: dict[str, tuple[tuple[int, ...], Entry]] = {}
        self._lock = threading.Lock()

    def folders(self) -> dict[str, Path]:
        """Identifier -> folder of every tune; the root itself when it holds one."""
        found: dict[str, Path] = {}
        if is_plain_file(self.root / "tune.json"):
            found[identifier(".")] = self.root
        for path in sorted(self.root.iterdir(), key=lambda path: path.name.lower()):
            if len(found) >= MOST_TUNES or path.name.startswith("."):
                continue
            if path.is_dir() and self._inside(path) and is_plain_file(path / "tune.json"):
                found[identifier(path.name)] = path
        return found

    def folder(self, wanted: str) -> Path:
        """The folder of a tune. Raises PipelineError when there is none."""
        found = self.folders().get(wanted)
        if found is None:
            raise PipelineError("This tune is not on the shelf any more: go back to the list.")
        return found

    def loose(self) -> dict[str, Path]:
        """Identifier -> recordings and tune files right in the root that can be taken in."""
        if is_plain_file(self.root / "tune.json"):
            return {}
        found: dict[str, Path] = {}
        for path in sorted(self.root.iterdir(), key=lambda path: path.name.lower()):
            ours = path.name == SETS or path.name.startswith(".")
            kind = path.suffix.lower() in (*SOUND_SUFFIXES, *TUNE_SUFFIXES)
            if kind and not ours and is_plain_file(path) and len(found) < MOST_TUNES:
                found[identifier(path.name)] = path
        return found

    def entries(self) -> list[Entry]:
        """Every tune, in the order of the folders' names."""
        return [entry for id_, path in self.folders().items() if (entry := self._entry(id_, path))]

    def loose_entries(self) -> list[Loose]:
        """Every file that can be taken in."""
        return [Loose(id_, path.name, path.suffix.lower() in SOUND_SUFFIXES)
                for id_, path in self.loose().items()]  # fmt: skip

    def new_folder(self, title: str) -> Path:
        """A new empty folder named after a title."""
        plain = re.sub(r"[^\w]+", "-", title.lower(), flags=re.ASCII).strip("-_")[:60] or "tune"
        for number in range(1, 10_000):
            path = self.root / (plain if number == 1 else f"{plain}-{number}")
            try:
                path.mkdir()
            except FileExistsError:
                continue
            except OSError as fault:
                reason = (fault.strerror or str(fault)).lower()
                raise PipelineError(f"No folder could be made for the tune ({reason}).") from fault
            return path
        raise PipelineError(f'There are too many tunes named "{plain}": give it another title.')

    def _inside(self, path: Path) -> bool:
        try:
            return path.resolve().is_relative_to(self.root)
        except (OSError, RuntimeError):
            return False

    def _entry(self, id_: str, folder: Path) -> Entry | None:
        try:
            stamps = [(folder / name).stat() for name in ("tune.json", EDITS)
                      if (folder / name).exists()]  # fmt: skip
        except OSError:
            return None
        stamp = tuple(one.st_mtime_ns for one in stamps)
        with self._lock:
            known = self._known.get(id_)
        if known and known[0] == stamp:
            return known[1]
        changed = max(one.st_mtime for one in stamps)
        entry = None
        if len(stamps) == 2 and stamps[1].st_mtime_ns > stamps[0].st_mtime_ns:
            entry = self._from_journal(id_, folder, changed)
        entry = entry or entry_of_json(id_, folder, changed)
        if entry is None:
            return None
        with self._lock:
            self._known[id_] = (stamp, entry)
        return entry

    def _from_journal(self, id_: str, folder: Path, changed: float) -> Entry | None:
        """What the journal says, where it is ahead of tune.json."""
        from liltwright.page.changes import Journal

        try:
            return entry_of(id_, folder.name, Journal(folder).state.tune, changed)
        except (PipelineError, OSError):
            return None

    # ------------------------------------------------------------ sets

    def sets(self) -> list[dict[str, object]]:
        """The sets that were made: a name and folder names of tunes."""
        found = parse_json(self.root / SETS) or {}
        listed = found.get("sets")
        return [one for one in listed if isinstance(one, dict)] if isinstance(listed, list) else []

    def save_sets(self, given: object) -> None:
        """Keep the sets: a list of {"name", "tunes": folder names}. Raises UsageError."""
        names = {path.name for path in self.folders().values()}
        if not isinstance(given, list) or len(given) > MOST_SETS:
            raise UsageError(f"At most {MOST_SETS} sets are kept: delete one first.")
        kept = []
        for one in given:
            tunes = one.get("tunes") if isinstance(one, dict) else None
            name = one.get("name") if isinstance(one, dict) else None
            if not isinstance(tunes, list) or not isinstance(name, str):
                raise UsageError("A set has a name and tunes.")
            if len(tunes) > MOST_IN_A_SET:
                raise UsageError(f"A set has at most {MOST_IN_A_SET} tunes.")
            kept.append({"name": name[:200], "tunes": [t for t in tunes if t in names]})
        data = json.dumps({"sets": kept}, indent=1, ensure_ascii=False) + "\n"
        beside = self.root / f".{SETS}.part"
        try:
            beside.write_text(data, encoding="utf-8")
            os.replace(beside, self.root / SETS)
        except OSError as fault:
            reason = (fault.strerror or str(fault)).lower()
            raise PipelineError(f"The sets could not be kept ({reason}).") from fault


def entry_of(id_: str, name: str, tune: Tune, changed: float) -> Entry:
    """What the list says of a tune."""
    return Entry(
        id_, name, tune.title or name, tune.tune_type, f"{tune.tonic} {tune.mode}", tune.meter,
        tune.form, first_bars(tune), len(tune.doubts), bool(tune.heard), changed,
    )  # fmt: skip


def entry_of_json(id_: str, folder: Path, changed: float) -> Entry | None:
    """The same from tune.json, read lightly, for folders of thousands of tunes."""
    try:
        found = json.loads((folder / "tune.json").read_bytes())
        parts = found["parts"]
        bars = [parts[0].get("pickup") or [], *parts[0]["bars"][:2]] if parts else []
        letters = " ".join(
            "".join(keys.note_name(int(note["midi"]), int(found["signature"]))[0] for note in bar)
            for bar in bars if bar
        )  # fmt: skip
        return Entry(
            id_, folder.name, clean(str(found.get("title") or folder.name)),
            str(found["tune_type"]), f"{found['tonic']} {found['mode']}", str(found["meter"]),
            str(found["form"]), letters, len(found.get("doubts", ())), bool(found.get("heard")),
            changed,
        )  # fmt: skip
    except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return None


def first_bars(tune: Tune) -> str:
    """The letters of the pick-up and the first two bars."""
    bars: list[str] = []
    for bar in tune.written_bars()[:3]:
        bars.append("".join(keys.note_name(note.midi, tune.signature)[0] for note in bar.notes))
        if sum(1 for one in tune.written_bars()[: len(bars)] if one.kind != "pickup") == 2:
            break
    return " ".join(bars)
