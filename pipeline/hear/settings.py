"""How to listen: the one settings record of the hear stage."""

from __future__ import annotations

from dataclasses import dataclass
from typing import get_args

from liltwright.errors import UsageError
from liltwright.options import Ear

EARS: tuple[Ear, ...] = get_args(Ear)


@dataclass(frozen=True, slots=True, kw_only=True)
class HearSettings:
    """ear: which tracker finds the notes. "own" is the program's own network."""

    ear: Ear = "own"

    def __post_init__(self) -> None:
        """Refuse an ear that does not exist."""
        if self.ear not in EARS:
            raise UsageError(f'There is no ear "{self.ear}": choose one of {", ".join(EARS)}.')
