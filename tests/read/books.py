"""Public-domain tunes for the tests: Ryan's Mammoth Collection, Aird's Airs and O'Neill's Music of
Ireland (1850 tunes), in ABC, as music21 packages them."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from functools import cache
from pathlib import Path

from liltwright.read.abc import AbcBook, read_abc_book
from liltwright.tune import Bar, Part, Tune

BOOKS = ("oneills1850/0501-0550.abc", "oneills1850/0951-0981.abc", "airdsAirs/book2.abc")
EVERY_NTH_OF_RYAN = 20


def folder() -> Path:
    """music21's folder of collections, found without importing music21."""
    spec = importlib.util.find_spec("music21")
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "corpus"


def read_book(path: Path) -> AbcBook:
    """A file of the collections, some of which are in Latin-1."""
    data = path.read_bytes()
    try:
        text = data.decode()
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    return read_abc_book(text, name=path.name)


@cache
def tunes() -> tuple[Tune, ...]:
    """Some 250 tunes of all kinds, always the same."""
    ryan = sorted((folder() / "ryansMammoth").glob("*.abc"))[::EVERY_NTH_OF_RYAN]
    paths = [folder() / name for name in BOOKS if (folder() / name).is_file()] + ryan
    return tuple(tune for path in paths for tune in read_book(path))


def some(count: int) -> tuple[Tune, ...]:
    """`count` of them, spread over the books."""
    everything = tunes()
    return everything[:: max(1, len(everything) // count)][:count]


def plain_parts(tune: Tune) -> tuple[Part, ...]:
    """The parts without ornaments, which the plain tune does not write."""
    return tuple(_plain(part) for part in tune.parts)


def _plain(part: Part) -> Part:
    endings = tuple(replace(e, bars=tuple(map(_bare, e.bars))) for e in part.endings)
    return replace(
        part, pickup=_bare(part.pickup), bars=tuple(map(_bare, part.bars)), endings=endings
    )


def _bare(bar: Bar) -> Bar:
    return tuple(replace(note, ornament=None, graces=()) for note in bar)
