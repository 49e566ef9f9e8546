"""Task: what an arrangement keeps of an earlier one, and the same shapes with the capo moved.

In: options, the arrangement before. Out: options that hold it, or the Arrangement moved.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from liltwright.errors import PipelineError
from liltwright.options import LayerOptions
from liltwright.tab import Arrangement

if TYPE_CHECKING:
    from liltwright.guitar.player import Player


def unmoved(options: LayerOptions, player: Player) -> Arrangement:
    """The arrangement that bars are kept from, as it was before its capo was moved."""
    assert options.earlier is not None
    return moved(options.earlier, -options.move, player) if options.move else options.earlier


def with_earlier(options: LayerOptions, named: Path | None, folder: Path) -> LayerOptions:
    """The options with the arrangement that bars may be kept from: the one named, or the folder's.

    Raises PipelineError when the one named is none.
    """
    from liltwright.limits import check
    from liltwright.read.files import content
    from liltwright.records import from_json

    path = named or folder / "arrangement-1.json"
    if named is None and not path.is_file():
        return options
    try:
        data = content(path)
        check("json_bytes", len(data), path.name)
        return replace(options, earlier=from_json(data, Arrangement, name=path.name))
    except PipelineError:
        if named is not None:
            raise
        return options


def moved(arrangement: Arrangement, semitones: int, player: Player) -> Arrangement:
    """The same shapes with the capo moved, and a word on the room that leaves."""
    from liltwright.arrange.compare import move_with_capo

    shifted, room = move_with_capo(arrangement, semitones, player=player)
    return replace(shifted, cautions=(*shifted.cautions, room.sentence))
