"""Records <-> JSON, by msgspec: exact fractions as strings, tuples as lists, None left out.

from_json checks every field against the record's types and says where the first fault lies.
"""

from __future__ import annotations

import json
import math
from fractions import Fraction
from typing import Any, TypeVar

import msgspec
import numpy as np

from liltwright.errors import PipelineError
from liltwright.limits import clean, ratio, short

Record = TypeVar("Record")


def to_json(record: object) -> str:
    """The record as indented JSON text with a final newline; the same record, the same text."""
    plain = _without_none(msgspec.to_builtins(record, enc_hook=_encode))
    if "format" in plain:
        plain = {"format": plain.pop("format"), "version": plain.pop("version"), **plain}
    return json.dumps(plain, indent=1, ensure_ascii=False) + "\n"


def from_json(text: str | bytes, kind: type[Record], *, name: str = "the file") -> Record:
    """Read a record of `kind`.

    Raises PipelineError that names the file, the field and the fault.
    """
    try:
        return msgspec.convert(
            _cleaned(json.loads(text, parse_constant=_refused, parse_float=_finite)),
            type=kind,
            dec_hook=_decode,
        )
    except (ValueError, OverflowError, msgspec.ValidationError, RecursionError) as fault:
        why = short(str(fault), 300)
        raise PipelineError(
            f"{name} is not a {kind.__name__.lower()} written by liltwright: {why}."
        ) from fault


def _encode(value: object) -> object:
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, np.generic):
        return value.item()
    raise TypeError(f"cannot write {type(value).__name__} as JSON")


def _decode(kind: type, value: Any) -> Any:
    if kind is Fraction:
        return ratio(str(value))
    raise TypeError(f"cannot read {kind.__name__} from JSON")


def _without_none(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_none(item) for key, item in value.items() if item is not None}
    if isinstance(value, list | tuple):
        return [_without_none(item) for item in value]
    return value


def _refused(word: str) -> float:
    raise ValueError(f"{word} is not a number")


def _finite(digits: str) -> float:
    value = float(digits)
    if not math.isfinite(value):
        raise ValueError(f"{short(digits)} is too large a number")
    return value


def _cleaned(value: Any) -> Any:
    """The same with every text fit to be printed and written."""
    if isinstance(value, str):
        return clean(value, 100_000)
    if isinstance(value, dict):
        return {clean(key): _cleaned(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_cleaned(item) for item in value]
    return value
