"""The table of relatives: which tunes of tunes.parquet are the same under another name.

In: tunes.parquet. Out: relatives.parquet beside it, a row a pair, the likest first.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from liltwright.gather.relatives import melodies_of, relatives
from liltwright.gather.table import Column, need_pyarrow, read_tunes, write_table

NAME = "relatives.parquet"

COLUMNS = (
    Column("file", "text", "one tune, by the column file of tunes.parquet"),
    Column("title", "text", "its title"),
    Column("content", "text", "SHA-256 of its file"),
    Column("other_file", "text", "the other tune"),
    Column("other_title", "text", "its title"),
    Column("other_content", "text", "SHA-256 of its file"),
    Column("likeness", "number", "0 to 1: how far the bars agree beyond half"),
    Column("semitones", "whole", "up from the one to the other, octaves apart, -5 to 6"),
    Column("bars", "whole", "bars that agree for the most part"),
)


def write_relatives(tunes: Path) -> int:
    """Find the relatives in a table and write them beside it; how many pairs there are."""
    pa = need_pyarrow()
    rows = read_tunes(tunes)
    pairs = [
        _names(rows[pair.one], "")
        | _names(rows[pair.other], "other_")
        | {"likeness": pair.likeness, "semitones": pair.semitones, "bars": pair.bars}
        for pair in relatives(list(melodies_of(rows)))
    ]
    kinds = {"text": pa.string(), "number": pa.float64(), "whole": pa.int32()}
    schema = pa.schema(
        [
            pa.field(column.name, kinds[column.kind], metadata={"means": column.means})
            for column in COLUMNS
        ]
    )
    write_table(pa.Table.from_pylist(pairs, schema=schema), tunes.with_name(NAME))
    return len(pairs)


def _names(row: dict[str, Any], prefix: str) -> dict[str, Any]:
    return {f"{prefix}{name}": row[name] for name in ("file", "title", "content")}
