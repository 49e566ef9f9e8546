"""All tunes in one table, as Parquet.

Task     one file that a spreadsheet, a notebook or a database opens, the same whatever was killed
In       rows as dicts, in any order; tables of shards
Out      tunes.parquet: a row for each content, sorted by file name and hash; failed files too
Method   one schema (COLUMNS), no dates and no times taken in it, one writer with fixed settings: so
         the same rows are the same bytes. The schema's metadata says what each column means.
References: https://parquet.apache.org/docs/file-format/
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from liltwright.errors import PipelineError, UsageError
from liltwright.gather.work import Row

NAME = "tunes.parquet"


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its name, its type as pyarrow writes it, what it means."""

    name: str
    kind: str
    means: str


COLUMNS = (
    Column("file", "text", "name below the folder that was named, or as given"),
    Column("copies", "texts", "further names of files with the same bytes"),
    Column("content", "text", "SHA-256 of the file"),
    Column("error", "text", "why there is no tune; empty where there is one"),
    Column("folder", "text", "where its files are, below the output folder"),
    Column("title", "text", "title of the tune"),
    Column("duration_s", "number", "length of the recording in seconds, 0 of a written tune"),
    Column("tune_type", "text", "reel, jig ..."),
    Column("type_probability", "number", "how sure the type is, 0 to 1; empty when written"),
    Column("meter", "text", "such as 6/8"),
    Column("tonic", "text", "tonic of the key"),
    Column("mode", "text", "mode of the key"),
    Column("signature", "whole", "sharps above 0, flats below"),
    Column("form", "text", "such as AABB"),
    Column("rounds", "whole", "how often it is played"),
    Column("beats_per_minute", "number", "tempo in beats"),
    Column("bars", "whole", "printed bars, repeats not counted"),
    Column("bars_heard", "whole", "bars performed"),
    Column("doubtful_bars", "whole", "performed bars to check by ear"),
    Column("doubts", "texts", "which bars, and why"),
    Column("tuning_offset_cents", "number", "concert pitch above A = 440 Hz, in cents"),
    Column("warnings", "texts", "what is odd about the recording"),
    Column("incipit", "text", "first four bars in ABC"),
    Column("melody", "bars", "pitch at each place of each printed bar, MIDI; -1 rest"),
    Column("setups", "setups", "up to three best tunings and capos"),
    Column("level", "text", "tune, tunings or everything"),
    Column("version", "text", "program and models that made the row"),
)


def need_pyarrow() -> Any:
    """The library of tables. Raises UsageError when it is not installed."""
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise UsageError(
            'the table of tunes needs pyarrow: install it with pip install "liltwright[gather]".'
        ) from None
    return pyarrow


def schema() -> Any:
    """The columns as pyarrow wants them."""
    pa = need_pyarrow()
    kinds = {
        "text": pa.string(),
        "texts": pa.list_(pa.string()),
        "number": pa.float64(),
        "whole": pa.int32(),
        "bars": pa.list_(pa.list_(pa.int16())),
        "setups": pa.list_(
            pa.struct(
                [
                    ("tuning", pa.string()),
                    ("capo", pa.int32()),
                    ("sounds_in", pa.string()),
                    ("score", pa.float64()),
                ]
            )
        ),
    }
    return pa.schema(
        [
            pa.field(column.name, kinds[column.kind], metadata={"means": column.means})
            for column in COLUMNS
        ]
    )


def write_tunes(rows: Iterable[Row], path: Path) -> int:
    """Write the table whole or not at all; how many rows it has."""
    pa = need_pyarrow()
    ordered = sorted(rows, key=lambda row: (row["file"], row["content"]))
    write_table(pa.Table.from_pylist(ordered, schema=schema()), path)
    return len(ordered)


def write_table(table: Any, path: Path) -> None:
    """Write any table with fixed settings, whole or not at all."""
    from liltwright.write.folder.journal import write_flushed

    pa = need_pyarrow()
    sink = pa.BufferOutputStream()
    pa.parquet.write_table(table, sink, compression="zstd", row_group_size=65_536)
    part = path.with_name(f".{path.name}.part")
    try:
        part.unlink(missing_ok=True)
        write_flushed(part, sink.getvalue().to_pybytes())
        part.replace(path)
    except OSError as fault:
        raise PipelineError(
            f"could not write {path} ({(fault.strerror or str(fault)).lower()})."
        ) from fault


def read_tunes(path: Path) -> list[Row]:
    """The rows of a table. Raises PipelineError when it is none of ours."""
    pa = need_pyarrow()
    try:
        table = pa.parquet.read_table(path)
        if table.schema != schema():
            raise ValueError("other columns")
    except (OSError, ValueError, pa.ArrowException) as fault:
        raise PipelineError(
            f"{path} is no table of this version of liltwright ({str(fault).splitlines()[0]}): "
            "gather again into its folder."
        ) from fault
    return list(table.to_pylist())


def merge(paths: Sequence[Path], path: Path) -> int:
    """The tables of shards as one; a content that is in several is taken once, without an error.

    Which one is taken does not depend on the order of `paths`.
    """
    best: dict[tuple[str, str], Row] = {}
    for row in (row for part in paths for row in read_tunes(part)):
        key = row["file"], row["content"]
        before = best.get(key)
        if before is None or _order(row) < _order(before):
            best[key] = row
    return write_tunes(best.values(), path)


def _order(row: Row) -> tuple[bool, str]:
    return bool(row["error"]), repr(sorted(row.items(), key=lambda pair: pair[0]))
