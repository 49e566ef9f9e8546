"""The player's profile: asked for once, kept in the platform's usual place for settings.

Task: remember hand, guitar and habits, so that rankings fit one person.
In: profile.json in the user's settings folder. Out: a Player record.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Literal

from liltwright.errors import PipelineError, UsageError
from liltwright.guitar.hand import Hand
from liltwright.guitar.tension import string_sets
from liltwright.limits import check, check_regular
from liltwright.records import from_json
from liltwright.stopping import note_written, undisturbed

OpenStrings = Literal["like", "neutral", "avoid"]
LIMITS = {
    "scale_mm": (400.0, 760.0, "mm from nut to saddle"),
    "body_fret": (9, 20, "frets from the nut to the body"),
    "past_body": (0, 8, "frets beyond the body that can still be reached"),
    "highest_capo": (0, 11, "as a fret"),
    "comfort_mm": (60.0, 160.0, "mm from index to little finger"),
    "widest_mm": (80.0, 200.0, "mm from index to little finger"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Player:
    """One player and their guitar. Lengths in mm, frets counted from the nut.

    Tunings are names of the catalogue or six notes; `present_tuning` is what the guitar is in now.
    """

    scale_mm: float = 648.0
    body_fret: int = 14
    past_body: int = 2
    highest_capo: int = 9
    comfort_mm: float = 100.0
    widest_mm: float = 130.0
    tunings_used: tuple[str, ...] = ()
    tunings_avoided: tuple[str, ...] = ()
    tunings_never: tuple[str, ...] = ()
    present_tuning: str = "standard"
    open_strings: OpenStrings = "neutral"
    left_handed: bool = False
    string_set: str = "light"

    def __post_init__(self) -> None:
        """Refuse sizes that no guitar or hand has. Raises UsageError."""
        for name, (low, high, what) in LIMITS.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise UsageError(f"{name} is {value}; it must lie from {low} to {high} ({what}).")
        if self.string_set not in string_sets():
            known = ", ".join(string_sets())
            raise UsageError(f'"{self.string_set}" is no string set; choose {known}.')
        if self.widest_mm < self.comfort_mm:
            raise UsageError(
                f"widest_mm is {self.widest_mm}, less than the comfortable {self.comfort_mm} mm."
            )

    @property
    def hand(self) -> Hand:
        """The hand alone."""
        return Hand(self.scale_mm, self.comfort_mm, self.widest_mm)


def profile_path() -> Path:
    """Where the profile is kept on this platform."""
    import platformdirs

    return Path(platformdirs.user_config_dir("liltwright", appauthor=False)) / "profile.json"


def load_player(path: Path | None = None) -> Player:
    """The kept profile, or the default player when none was kept yet.

    Raises PipelineError that names the file and the field when it cannot be read.
    """
    path = path or profile_path()
    if not path.exists():
        return Player()
    try:
        check("json_bytes", check_regular(path), f"The profile {path}")
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as fault:
        raise PipelineError(f"The profile {path} cannot be read ({fault}).") from fault
    try:
        known = {field.name for field in fields(Player)}
        unknown = sorted(set(json.loads(text)) - known)
    except (ValueError, TypeError, RecursionError) as fault:
        raise PipelineError(f"The profile {path} is not JSON: {fault}.") from fault
    if unknown:
        raise PipelineError(f"The profile {path} has the unknown entry {unknown[0]!r}.")
    return from_json(text, Player, name=f"The profile {path}")


def save_player(player: Player, path: Path | None = None) -> Path:
    """Write the profile whole or not at all; returns where it lies."""
    path = path or profile_path()
    beside = path.with_suffix(".tmp")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        beside.write_text(json.dumps(asdict(player), indent=1) + "\n", encoding="utf-8")
        with undisturbed():
            beside.replace(path)
            note_written(path)
    except OSError as fault:
        raise PipelineError(f"The profile cannot be written to {path} ({fault}).") from fault
    return path
