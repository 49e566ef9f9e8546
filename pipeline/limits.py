"""How much of a file is read, and how its numbers and words are.

Task     keep every reader within bounds of memory and time, whatever a file holds
In       values and words of a file; the table models/limits/limits.json
Out      the values, or PipelineError with one sentence: fault, value, limit, what to do
Method   numbers are looked at as text before they are made: a power such as 1e99999999 is never
         worked out. Words lose control characters and halves of surrogate pairs, which no writer
         and no terminal can take.
"""

from __future__ import annotations

import os
import re
import stat
import unicodedata
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from liltwright import models
from liltwright.errors import PipelineError

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)")
_RATIO = re.compile(r"[+-]?\d+(?:/\d+)?")
_BAD_CATEGORIES = ("Cc", "Cf", "Cs", "Zl", "Zp")
_JOINERS = "\u200c\u200d"
"""Signs without a width that some scripts are spelled with."""


@cache
def _rows() -> dict[str, dict[str, Any]]:
    return {row["name"]: row for row in models.read_json("limits/limits.json")["lines"]}


@cache
def limit(name: str) -> int:
    """The value of one line of the table."""
    return int(_rows()[name]["value"])


def check(name: str, value: float | Fraction, which: str) -> None:
    """Raise PipelineError when `value` is above the line `name` of the table."""
    row = _rows()[name]
    if not value <= row["value"]:
        raise PipelineError(
            f"{which} has {shown(value)} {row['what']}, above the limit of {row['value']:,}: "
            f"{row['advice']}."
        )


def check_between(low: str, high: str, value: float, which: str) -> None:
    """Raise PipelineError when `value` is not a number between two lines of the table."""
    lowest, highest = _rows()[low], _rows()[high]
    if not lowest["value"] <= value <= highest["value"]:
        raise PipelineError(
            f"{which} has {shown(value)} {lowest['what']}, outside the limits of "
            f"{lowest['value']:,} to {highest['value']:,}: {lowest['advice']}."
        )


def shown(value: float | Fraction) -> str:
    """A number short enough for a sentence."""
    if isinstance(value, Fraction):
        value = value.numerator // value.denominator if value.denominator > 10_000 else value
    if isinstance(value, int) and abs(value) >= 10**12:
        return "more than 10^12"
    return f"{value:,}" if isinstance(value, int) else f"{value}"


def whole(text: str) -> int:
    """A whole number of bounded length. Raises ValueError, with the text cut short."""
    plain = text.strip()
    if not re.fullmatch(r"[+-]?[0-9]+", plain):
        raise ValueError(f'"{short(plain)}" is not a whole number')
    _check_digits(plain)
    return int(plain)


def number(text: str) -> Fraction:
    """A decimal number without a power of ten, exactly. Raises ValueError."""
    plain = text.strip()
    if not plain.isascii() or not _NUMBER.fullmatch(plain):
        raise ValueError(f'"{short(plain)}" is not a plain number such as 1.5')
    _check_digits(plain)
    return Fraction(plain)


def ratio(text: str) -> Fraction:
    """A whole number or a quotient of two such as 3/8. Raises ValueError."""
    if not text.isascii() or not _RATIO.fullmatch(text):
        raise ValueError(f'"{short(text)}" is not a fraction such as 3/8')
    _check_digits(text)
    upper, _, lower = text.partition("/")
    if lower and not int(lower):
        raise ValueError(f'"{short(text)}" divides by nothing')
    return Fraction(int(upper), int(lower or 1))


def _check_digits(text: str) -> None:
    longest = max(len(digits.lstrip("0")) for digits in re.split(r"\D+", text))
    if longest > limit("digits"):
        raise ValueError(
            f'the number "{short(text)}" has {longest} digits, above the limit of {limit("digits")}'
        )


def short(text: str, most: int = 24) -> str:
    """Text cut to fit a sentence, without signs that a terminal cannot show."""
    plain = clean(text)
    return plain if len(plain) <= most else plain[:most] + "..."


def clean(text: str, most: int | None = None) -> str:
    """Words without control characters and surrogates, as long as a title may be."""
    most = limit("name_characters") if most is None else most
    text = text[:most]
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        ("\ufffd" if unicodedata.category(sign) == "Cs" else " ")
        if (unicodedata.category(sign) in _BAD_CATEGORIES and sign not in _JOINERS)
        or ord(sign) & 0xFFFE == 0xFFFE
        else sign
        for sign in text
    )


def shown_path(path: Path) -> str:
    """A path as it can be printed, also one that is not UTF-8."""
    return clean(str(path), 4096)


def check_regular(path: Path, *, what: str = "file") -> int:
    """The size of a regular file in bytes.

    Raises PipelineError when there is none, or when it is a folder, a pipe or a device.
    """
    name = shown_path(path)
    try:
        found = os.stat(path)
    except FileNotFoundError:
        raise PipelineError(f"{name} does not exist: check the name and the folder.") from None
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or str(fault)
        raise PipelineError(f"{short(name, 120)} cannot be read: {reason}.") from fault
    if stat.S_ISDIR(found.st_mode):
        raise PipelineError(f"{name} is a folder: name the {what} in it.")
    if not stat.S_ISREG(found.st_mode):
        raise PipelineError(
            f"{name} is a pipe or a device, not a file: save what it gives and name that."
        )
    return found.st_size
