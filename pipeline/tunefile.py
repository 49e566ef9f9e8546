"""The tune of a tune file: read, and written down first where it is a performance.

In:  a path, or the bytes of such a file. Out: Tune.
"""

from __future__ import annotations

from collections.abc import Collection
from fractions import Fraction
from pathlib import Path

from liltwright.limits import clean
from liltwright.read.files import content, from_bytes
from liltwright.tune import Tune


def read_tune(path: Path, *, known_odd: Collection[tuple[int, Fraction]] = ()) -> Tune:
    """Read the tune of a file; the first one of an ABC book.

    known_odd : bars, as number and length, whose odd length in ABC is meant.
    Raises PipelineError when the file is missing, empty, of another kind or broken.
    """
    return tune_from_bytes(content(path), name=clean(path.name), known_odd=known_odd)


def tune_from_bytes(
    data: bytes, *, name: str, known_odd: Collection[tuple[int, Fraction]] = ()
) -> Tune:
    """Read the tune that the bytes of a file hold.

    Raises PipelineError when they are empty, of another kind or broken.
    """
    found = from_bytes(data, name=name, known_odd=known_odd)
    if isinstance(found, Tune):
        return found
    from liltwright.notate.notate import notate
    from liltwright.notate.settings import NotateSettings

    return notate(found, settings=NotateSettings())
