"""One file of an archive: its folder, and its row of the table.

Task     everything that is done with one recording or tune, in a process that may be killed
In       a `Task`: the file, the folder to write into, the level, the player
Out      a row as a dict of plain values; a file that cannot be used gives a row with `error`
Method   the same stages as a single run (pipeline/run.py), saved by the same code, which is whole
         or not at all; so a row exists only when its folder is complete, and a second run after a
         kill writes the same bytes.
"""

from __future__ import annotations

import errno
import hashlib
import json
import re
import traceback
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, cast, get_args

from liltwright.errors import PipelineError, UsageError
from liltwright.options import Ear, GuitarOptions, LayerOptions, OutputOptions, TuneOptions

if TYPE_CHECKING:
    from liltwright.guitar.player import Player

Level = Literal["tune", "tunings", "everything"]
Row = dict[str, Any]

OUT_OF_MEMORY = ("bad_alloc", "cannot allocate memory", "failed to map segment", "out of memory")
"""Words of native libraries and of the loader when memory runs out."""


@dataclass(frozen=True, slots=True)
class Recipe:
    """What is done with every file; its key is part of what makes work the same work."""

    level: Level
    ear: Ear
    player: Player
    version: str

    @property
    def key(self) -> str:
        """Options and program version as one hash."""
        parts = [self.level, self.ear, self.version]
        if self.level != "tune":
            parts.append(json.dumps(asdict(self.player), sort_keys=True))
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:32]


@dataclass(frozen=True, slots=True)
class Task:
    """One file to work on. Paths as text, so that a task can be written as JSON."""

    content: str
    path: str
    name: str
    folder: str
    """The folder of the tune, or its fsspec address."""
    level: Level
    ear: Ear
    player: dict[str, Any]

    @property
    def words(self) -> dict[str, Any]:
        """As JSON."""
        return asdict(self)


def level_named(text: str) -> Level:
    """A level by name. Raises UsageError."""
    if text not in get_args(Level):
        raise UsageError(f'--level "{text}" is not known: use tune, tunings or everything.')
    return cast(Level, text)


def program_version() -> str:
    """The version of the program with a hash of the models that it carries."""
    from importlib import metadata

    from liltwright import models

    registry = Path(models.__file__).with_name("registry.json").read_bytes()
    try:
        number = metadata.version("liltwright")
    except metadata.PackageNotFoundError:
        number = "0"
    return f"{number}+models.{hashlib.sha256(registry).hexdigest()[:8]}"


def folder_name(name: str, content: str) -> str:
    """The folder of a tune: the file's name made plain, and the start of its hash."""
    plain = re.sub(r"[^a-z0-9]+", "-", Path(name).stem.lower()).strip("-")[:48].strip("-")
    return f"{plain or 'tune'}-{content[:12]}"


def work_on(task: Task) -> Row:
    """The row of one file; its folder is complete when this returns."""
    from liltwright.limits import clean

    row: Row = {"content": task.content}
    try:
        return row | _made(task)
    except PipelineError as fault:
        return row | {"error": clean(str(fault), 1000)}
    except Exception as fault:  # a fault of ours in one file must not end the work on the others
        if _wants_memory(fault):
            return row | {
                "error": f"{clean(task.name)} needs more memory than a file may have: "
                "allow more with --memory."
            }
        return row | {"error": _fault_words(fault)}


def _wants_memory(fault: Exception) -> bool:
    """Whether Python, the system or a native library says that memory ran out."""
    out = isinstance(fault, MemoryError) or getattr(fault, "errno", None) == errno.ENOMEM
    return out or any(words in str(fault).lower() for words in OUT_OF_MEMORY)


def failed_row(content: str, sentence: str, *, again: bool = False) -> Row:
    """The row of a file that could not be worked on; `again`: the next run shall try it unasked."""
    return {"content": content, "error": sentence} | ({"again": True} if again else {})


def _made(task: Task) -> Row:
    from liltwright import run
    from liltwright.gather.results import is_address, save_at
    from liltwright.gather.row import row_of
    from liltwright.guitar.player import Player
    from liltwright.write.files import is_left_out, render, tune_files
    from liltwright.write.folder.save import check_folder, save

    player = Player(**{**task.player, **_tuples(task.player)})
    output = OutputOptions()
    wanted = GuitarOptions()
    away = is_address(task.folder)
    folder = Path(task.folder)
    found = run.find_tune(Path(task.path), TuneOptions(ear=task.ear))
    tune, ranking = found.tune, None
    if task.level != "tune":
        ranking = run.rank(tune, player, wanted)
    if not away:
        check_folder(folder)
    if task.level == "everything" and ranking is not None:
        setups = run.choose_setups(tune, player, wanted, ranking)
        made = tuple(run.arrange_on(tune, setup, player, LayerOptions()) for setup in setups)
        files = render(tune, ranking, made, found.audio, output, player)
        if not away:
            save(files, folder, stays=lambda name: is_left_out(name, output))
    else:
        from liltwright.records import to_json

        files = tune_files(tune)
        if ranking is not None:
            files["tunings.json"] = to_json(ranking).encode()
        if not away:
            save(files, folder, stays=lambda name: name not in files)
    if away:
        save_at(files, task.folder)
    return {"folder": f"tunes/{folder.name}", **row_of(tune, ranking)}


def _tuples(values: dict[str, Any]) -> dict[str, Any]:
    """JSON knows no tuples."""
    return {name: tuple(value) for name, value in values.items() if isinstance(value, list)}


def _fault_words(fault: Exception) -> str:
    from liltwright.limits import clean

    last = traceback.extract_tb(fault.__traceback__)[-1]
    where = f"{Path(last.filename).name}:{last.lineno}"
    return clean(
        f"a fault of the program, {type(fault).__name__} in {where} ({fault}): please report it.",
        1000,
    )
