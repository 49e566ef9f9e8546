"""Counts in words: one thing, several things, none."""

from __future__ import annotations

from collections.abc import Iterable


def count(number: int, thing: str) -> str:
    """ "no strings", "1 string", "3 strings"."""
    return f"{number or 'no'} {thing}{'' if number == 1 else 's'}"


def listed(things: Iterable[str]) -> str:
    """ "a, b or c"."""
    *first, last = things
    return f"{', '.join(first)} or {last}" if first else last
