"""An archive from end to end: files -> contents not done yet -> workers -> ledger -> table.

Task     one command that can be stopped, killed and given again until all is done
In       `Order`: inputs, output folder, shard, recipe, engine and limits
Out      a folder per tune in OUT/tunes, tunes.parquet, failed.txt; `Gathered` with what became of
         everything
Method   the ledger knows what is done; a tune whose folder has gone is made again. The table is
         made of the ledger's rows alone: it does not show how often the work was broken off.
"""

from __future__ import annotations

import os
from collections.abc import Generator, Sequence
from contextlib import closing
from dataclasses import asdict, dataclass
from pathlib import Path

from liltwright.errors import UsageError
from liltwright.gather.inputs import Item, Shard, contents, named_files
from liltwright.gather.ledger import Ledger, ledger_path
from liltwright.gather.local import work_locally
from liltwright.gather.order import Order
from liltwright.gather.pace import Pace
from liltwright.gather.results import complete
from liltwright.gather.table import NAME, merge, need_pyarrow, write_tunes
from liltwright.gather.work import Row, Task, folder_name


@dataclass(frozen=True, slots=True)
class Gathered:
    """What became of all files of an order."""

    rows: tuple[Row, ...]
    fresh: int
    """How many were worked on in this run."""
    table: Path
    missing: tuple[str, ...] = ()
    """Tables of shards that are not there yet, so that there is no table of all."""

    @property
    def failed(self) -> tuple[Row, ...]:
        """The rows of files that gave no tune."""
        return tuple(row for row in self.rows if row.get("error"))


def gather(order: Order, pace: Pace) -> Gathered:
    """Do what is not done yet and write the table.

    Raises PipelineError or UsageError when the order cannot be carried out; a file that fails is
    a row with its sentence.
    """
    need_pyarrow()
    if order.engine == "dask":
        from liltwright.gather.distributed import need_distributed

        need_distributed()
    _make(order.out)
    with closing(Ledger(ledger_path(order.out, order.shard.stem))) as ledger:
        pace.say("reading the files")
        files = named_files(order.inputs, order.out)
        items, unread = contents(files, order.shard, ledger.known_hash, ledger.learn_hash)
        ledger.commit()
        key = order.recipe.key
        known = ledger.rows(key, (item.content for item in items))
        away = complete(order.results) if order.results else None
        todo = [item for item in items if _is_open(known.get(item.content), order, away)]
        pace.start(len(items), len(todo), sum("error" in row for row in known.values()))
        with closing(_work([_task(item, order) for item in todo], order)) as working:
            for rows in working:
                ledger.keep(key, rows)
                known |= {row["content"]: row for row in rows}
                pace.done(rows)
    rows = [_finished(item, known[item.content], order) for item in items]
    rows += [_unreadable(name, why, order) for name, why in sorted(unread.items())]
    table = order.out / NAME.replace(".", f"{order.shard.stem}.")
    write_tunes(rows, table)
    _list_failed(rows, order.out / f"failed{order.shard.stem}.txt")
    return Gathered(tuple(rows), len(todo), *_whole(order, table))


def _make(out: Path) -> None:
    try:
        (out / "tunes").mkdir(parents=True, exist_ok=True)
        if not os.access(out / "tunes", os.W_OK):
            raise PermissionError(13, "permission denied")
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise UsageError(
            f"cannot write into the folder {out} ({reason}): choose another with --out."
        ) from fault


def _is_open(row: Row | None, order: Order, away: frozenset[str] | None) -> bool:
    """Whether a content is to be worked on; `away`: the folders that are whole at an address."""
    if row is None:
        return True
    if "error" in row:
        return order.retry
    if away is not None:
        return str(row["folder"]).rpartition("/")[2] not in away
    return not (order.out / row["folder"] / "tune.json").exists()


def _task(item: Item, order: Order) -> Task:
    root = order.results or str(order.out.resolve())
    folder = f"{root.rstrip('/')}/tunes/{folder_name(item.name, item.content)}"
    recipe = order.recipe
    return Task(
        item.content,
        str(item.path.resolve()),
        item.name,
        folder,
        recipe.level,
        recipe.ear,
        asdict(recipe.player),
    )


def _work(tasks: Sequence[Task], order: Order) -> Generator[list[Row], None, None]:
    if order.engine == "dask" and tasks:
        from liltwright.gather.distributed import work_on_dask

        yield from work_on_dask(tasks, order)
    elif tasks:
        with closing(work_locally(tasks, order.processes, order.limits)) as rows:
            for row in rows:
                yield [row]


def _finished(item: Item, row: Row, order: Order) -> Row:
    return row | {
        "file": item.name,
        "copies": list(item.copies),
        "level": order.recipe.level,
        "version": order.recipe.version,
    }


def _unreadable(name: str, why: str, order: Order) -> Row:
    return _finished(Item("", Path(), name), {"content": "", "error": why}, order)


def _list_failed(rows: Sequence[Row], path: Path) -> None:
    from liltwright.limits import clean

    lines = sorted(
        f"{clean(row['file'], 4096)}\t{row['error']}\n" for row in rows if row.get("error")
    )
    path.write_text("".join(lines), encoding="utf-8")


def _whole(order: Order, table: Path) -> tuple[Path, tuple[str, ...]]:
    """The table of all shards as soon as each has one, else what is missing."""
    count = order.shard.count
    if count == 1:
        return table, ()
    names = [NAME.replace(".", f"{Shard(number, count).stem}.") for number in range(1, count + 1)]
    missing = tuple(name for name in names if not (order.out / name).exists())
    if missing:
        return table, missing
    merge([order.out / name for name in names], order.out / NAME)
    return order.out / NAME, ()
