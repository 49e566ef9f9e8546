"""Task: ask a player once for hand, guitar and habits.

In: the kept Player and a function that asks one question. Out: the Player as answered.
Method: one question a setting, the present value as the default; an answer that makes no sense
is explained and asked again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, replace

from liltwright.errors import UsageError
from liltwright.guitar.player import Player
from liltwright.guitar.tension import string_sets
from liltwright.guitar.tunings import parse_tuning

Ask = Callable[[str, str], str]
"""Called as ask(question, default); gives what the player typed, or the default."""

Setting = str | float | int | bool | tuple[str, ...]

QUESTIONS: tuple[tuple[str, str], ...] = (
    ("tunings_used", "Tunings you play in a lot, with commas between (or none)"),
    ("tunings_avoided", "Tunings you would rather avoid"),
    ("tunings_never", "Tunings you never want to see"),
    ("present_tuning", "The tuning your guitar is in now"),
    ("highest_capo", "Highest fret where you put a capo"),
    ("scale_mm", "Length of your strings from nut to saddle, in mm"),
    ("body_fret", "Frets from the nut to the body"),
    ("comfort_mm", "Comfortable stretch from index to little finger, in mm"),
    ("widest_mm", "Widest stretch, in mm"),
    ("open_strings", "Open strings: like, neutral or avoid"),
    ("left_handed", "Do you play left-handed, yes or no"),
    ("string_set", "Strings on the guitar: extra light, light or medium"),
)


def ask_player(player: Player, ask: Ask, say: Callable[[str], None]) -> Player:
    """Ask every question; says what is wrong with an answer and asks again."""
    for name, question in QUESTIONS:
        while True:
            try:
                player = with_answer(player, name, ask(question, shown(player, name)))
                break
            except UsageError as fault:
                say(str(fault))
    return player


def with_answer(player: Player, name: str, text: str) -> Player:
    """The player with one setting as typed. Raises UsageError when it makes no sense."""
    old = asdict(player)[name]
    return replace(player, **{name: _read(name, text.strip(), old)})  # type: ignore[arg-type]


def shown(player: Player, name: str) -> str:
    """A setting as it would be typed."""
    value = asdict(player)[name]
    if isinstance(value, tuple):
        return ", ".join(value) or "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _read(name: str, text: str, old: Setting) -> Setting:
    if isinstance(old, bool):
        return _one_of(name, text.lower(), ("yes", "no")) == "yes"
    if isinstance(old, int | float):
        return _number(name, text, whole=isinstance(old, int))
    if isinstance(old, tuple):
        return tuple(_tuning(word) for word in text.split(",") if word.strip(" ").lower() != "none")
    if name == "open_strings":
        return _one_of(name, text.lower(), ("like", "neutral", "avoid"))
    if name == "string_set":
        return _one_of(name, text.lower(), string_sets())
    return _tuning(text)


def _tuning(text: str) -> str:
    parse_tuning(text)
    return text.strip()


def _number(name: str, text: str, *, whole: bool) -> float:
    try:
        return int(text) if whole else float(text)
    except ValueError:
        raise UsageError(f'{name}: "{text}" is not a number; write one like 5 or 648.') from None


def _one_of(name: str, text: str, allowed: tuple[str, ...]) -> str:
    if text not in allowed:
        raise UsageError(f'{name}: "{text}" is not an answer; write {" or ".join(allowed)}.')
    return text
