"""The command `gather`: check the words, do the work, say what became of it.

In: the words of the command line. Out: lines on stdout; PipelineError when files failed.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import cast

from liltwright.counting import count
from liltwright.errors import PipelineError, UsageError
from liltwright.gather.gather import Gathered, gather
from liltwright.gather.inputs import parse_shard
from liltwright.gather.local import Limits
from liltwright.gather.order import Engine, Order
from liltwright.gather.pace import Pace
from liltwright.gather.results import is_address, opened
from liltwright.gather.table import NAME, merge
from liltwright.gather.work import Recipe, level_named, program_version
from liltwright.options import Ear

SHOWN = 20  # failed files that are named on the screen; failed.txt has all


class StoppedError(PipelineError):
    """Ctrl-C; exit code 130."""

    exit_code = 130


def run(
    inputs: list[str],
    out: Path,
    *,
    shard: str | None = None,
    engine: str = "local",
    scheduler: str | None = None,
    level: str = "everything",
    ear: Ear = "own",
    processes: int | None = None,
    seconds: float = 900.0,
    memory: float = 6.0,
    batch: int = 50,
    retry: bool = False,
    relatives: bool = False,
    results: str | None = None,
) -> None:
    """Gather, and say what became of it. Raises PipelineError when a file failed."""
    if all(text.endswith(".parquet") for text in inputs):
        _merge(inputs, out, relatives=relatives)
    else:
        from liltwright.guitar.player import load_player

        order = Order(
            inputs=tuple(inputs),
            out=out,
            recipe=Recipe(level_named(level), ear, load_player(), program_version()),
            shard=parse_shard(shard),
            engine=_engine(engine, scheduler),
            scheduler=scheduler,
            processes=processes or _cores(),
            limits=Limits(seconds, int(memory * 2**30)),
            batch=batch,
            retry=retry,
            results=_address(results),
        )
        _gather(order, relatives=relatives)


def _gather(order: Order, *, relatives: bool) -> None:
    pace = Pace()
    try:
        made = gather(order, pace)
    except KeyboardInterrupt:
        raise StoppedError(
            f"stopped; {pace.now} of this run's files are done and kept: "
            "the same command goes on from there."
        ) from None
    _say(made, order)
    if relatives and not made.missing:
        _relatives(made.table)
    if made.failed:
        raise PipelineError(
            f"{len(made.failed)} of {count(len(made.rows), 'file')} failed; "
            "--retry tries them again."
        )


def _say(made: Gathered, order: Order) -> None:
    tunes = len(made.rows) - len(made.failed)
    before = len(made.rows) - made.fresh
    print(f"{count(tunes, 'tune')} of {count(len(made.rows), 'file')}", end="")
    print(f", {before} done before" if before else "")
    for row in made.failed[:SHOWN]:
        print(f"  {row['file']}: {row['error']}")
    if len(made.failed) > SHOWN:
        print(f"  and {len(made.failed) - SHOWN} more in {order.out}/failed{order.shard.stem}.txt")
    print(f"{made.table} has a row for each")
    if made.missing:
        print(f"no table of all shards yet: {count(len(made.missing), 'shard')} to come")


def _relatives(table: Path) -> None:
    from liltwright.gather.kin import NAME as KIN
    from liltwright.gather.kin import write_relatives

    pairs = write_relatives(table)
    print(f"{count(pairs, 'pair')} of relatives in {table.with_name(KIN)}")


def _merge(inputs: list[str], out: Path, *, relatives: bool) -> None:
    out.mkdir(parents=True, exist_ok=True)
    rows = merge([Path(text) for text in inputs], out / NAME)
    print(f"{count(rows, 'row')} of {count(len(inputs), 'table')} in {out / NAME}")
    if relatives:
        _relatives(out / NAME)


def _engine(engine: str, scheduler: str | None) -> Engine:
    if engine not in ("local", "dask"):
        raise UsageError(f'--engine "{engine}" is not known: use local or dask.')
    if (engine == "dask") != (scheduler is not None):
        raise UsageError(
            "--engine dask and --scheduler ADDRESS go together: start `dask scheduler` and name "
            "the address it prints, like tcp://10.0.0.1:8786."
        )
    return cast(Engine, engine)


def _address(results: str | None) -> str | None:
    """The address with its file system tried, before any work."""
    if results is None:
        return None
    if not is_address(results):
        raise UsageError(
            f"--results {results} is no address: write one with ://, like s3://bucket/folder, "
            "or name a folder with --out alone."
        )
    opened(results)
    return results


def _cores() -> int:
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # a system that does not tell
        return os.cpu_count() or 1
