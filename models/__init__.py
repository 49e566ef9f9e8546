"""What is learned or catalogued. Each folder holds data, its recipe, CARD.md and a licence.

Nothing is parsed at import. Every data file is listed with its sha256 in registry.json (renewed
by `python -m liltwright.models.register`); a file that is missing or differs raises at once.
"""

import hashlib
import io
import json
from functools import cache
from importlib.resources import files
from typing import Any

_HERE = files(__name__)


@cache
def _registry() -> dict[str, str]:
    return json.loads(_HERE.joinpath("registry.json").read_text(encoding="utf-8"))


@cache
def read_bytes(name: str) -> bytes:
    """The content of a data file, e.g. "dances/dances.json".

    Raises KeyError when the file is not registered, FileNotFoundError when it is missing and
    ValueError when its checksum is wrong.
    """
    expected = _registry()[name]
    data = _HERE.joinpath(name).read_bytes()
    found = hashlib.sha256(data).hexdigest()
    if found != expected:
        raise ValueError(
            f"models/{name} has checksum {found[:12]}, registered is {expected[:12]}: "
            "reinstall the program or run `python -m liltwright.models.register`"
        )
    return data


@cache
def read_json(name: str) -> Any:
    """A JSON data file, parsed once. Callers must not change what they get."""
    return json.loads(read_bytes(name))


@cache
def read_lines(name: str) -> dict[str, float]:
    """The values of a JSON table of lines with name, value, unit and reason, by name."""
    return {row["name"]: float(row["value"]) for row in read_json(name)["lines"]}


def read_arrays(name: str) -> dict[str, Any]:
    """The arrays of a .npz data file by name; pickled objects are refused."""
    import numpy as np

    with np.load(io.BytesIO(read_bytes(name)), allow_pickle=False) as arrays:
        return {key: arrays[key] for key in arrays.files}
