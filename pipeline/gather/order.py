"""What is to be gathered, and how: the one record that the edge hands to the work."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from liltwright.gather.inputs import Shard
from liltwright.gather.local import Limits
from liltwright.gather.work import Recipe

Engine = Literal["local", "dask"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What is to be gathered, and how."""

    inputs: tuple[str, ...]
    out: Path
    recipe: Recipe
    shard: Shard = field(default_factory=Shard)
    engine: Engine = "local"
    scheduler: str | None = None
    processes: int = 1
    limits: Limits = field(default_factory=Limits)
    batch: int = 50
    retry: bool = False
    results: str | None = None
    """An fsspec address for the tunes' folders, in place of `out`."""
