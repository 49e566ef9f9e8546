"""Counts in words: one thing, several things, none."""

from __future__ import annotations


def count(number: int, thing: str) -> str:
    """ "no strings", "1 string", "3 strings"."""
    return f"{number or 'no'} {thing}{'' if number == 1 else 's'}"
