"""How to listen: the one settings record of the hear stage."""

from __future__ import annotations

from dataclasses import dataclass
from typing import get_args

from liltwright.errors import UsageError, to_type
from liltwright.options import Ear, Players

EARS: tuple[Ear, ...] = get_args(Ear)


@dataclass(frozen=True, slots=True, kw_only=True)
class HearSettings:
    """How to listen.

    ear     : which tracker finds the notes. "own" is the program's own network.
    players : one player alone, the lead of a band, or whichever the recording is
    """

    ear: Ear = "own"
    players: Players = "find out"

    def __post_init__(self) -> None:
        """Refuse an ear that does not exist."""
        if self.ear not in EARS:
            raise UsageError(f'There is no ear "{self.ear}": choose one of {", ".join(EARS)}.')
        if self.players == "band" and self.ear != "own":
            raise UsageError(
                f'Only the program\'s own ear follows the lead of a band, not "{self.ear}": '
                f"{to_type('its own ear', 'take its own')} or listen to one player."
            )
