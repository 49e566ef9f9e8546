"""Records <-> JSON, by msgspec: exact fractions as strings, tuples as lists, None left out.

from_json checks every field against the record's types and says where the first fault lies.
"""

from __future__ import annotations

import json
from fractions import Fraction
from typing import Any, TypeVar

import msgspec
import numpy as np

from pipeline.errors import PipelineError

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
        return msgspec.convert(json.loads(text), type=kind, dec_hook=_decode)
    except (ValueError, msgspec.ValidationError, RecursionError) as fault:
        raise PipelineError(
            f"{name} is not a {kind.__name__.lower()} written by liltwright: {fault}."
        ) from fault


def _encode(value: object) -> object:
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, np.generic):
        return value.item()
    raise TypeError(f"cannot write {type(value).__name__} as JSON")


def _decode(kind: type, value: Any) -> Any:
    if kind is Fraction:
        return Fraction(value)
    raise TypeError(f"cannot read {kind.__name__} from JSON")


def _without_none(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_none(item) for key, item in value.items() if item is not None}
    if isinstance(value, list | tuple):
        return [_without_none(item) for item in value]
    return value
