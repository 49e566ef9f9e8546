"""The finished tab that a tune was taken from, and the stages to learn it by.

Task: show on the page what `unpick` makes of a finished tab, whoever took it apart.
In: the folder of a tune. Out: Stages: the tune as it was taken out, its stages, words on the page.
Method: the tab lies in the folder as `page-NAME`, and is taken apart again when it is asked for:
so the stages stay what they are, however the tune is edited afterwards. A folder of the command
line holds no tab; there the stages are the first arrangement, as long as its bars are the tune's.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from liltwright.errors import PipelineError
from liltwright.guitar.player import Player
from liltwright.limits import check
from liltwright.read.files import content, kind_of
from liltwright.tab import Arrangement
from liltwright.tune import Tune
from liltwright.write.folder.ledger import is_plain_file

PREFIX = "page-"
RECORD, FIRST = "unpicked.json", "arrangement-1.json"
TYPED = ("tablature", "typed")


@dataclass(frozen=True, slots=True)
class Stages:
    """A finished tab taken apart."""

    tune: Tune
    """As it was taken out of the page."""
    arrangement: Arrangement
    words: tuple[str, ...]
    """What the page is made of."""


def page_in(folder: Path) -> Path | None:
    """The finished tab of a folder, or the record of it; None when there is neither."""
    pages = [path for path in sorted(folder.glob(f"{PREFIX}*")) if is_plain_file(path)]
    return next((path for path in (*pages, folder / RECORD) if is_plain_file(path)), None)


def stages_of(path: Path, player: Player) -> Stages:
    """The stages of a finished tab or of its record. Raises PipelineError."""
    from liltwright.options import TuneOptions
    from liltwright.run import title_of
    from liltwright.unpicking import PageOptions, page_lines, unpicked_of

    if path.name == RECORD:
        return _recorded(path)
    known = TuneOptions(title=title_of(Path(path.name.removeprefix(PREFIX))))
    found = unpicked_of(path, player=player, known=known, page=PageOptions())
    return Stages(found.tune, found.stages, tuple(page_lines(found)))


def _recorded(path: Path) -> Stages:
    """What a run of the command line left in the folder."""
    from liltwright.again import read_again
    from liltwright.records import from_json

    first = path.parent / FIRST
    data = content(first)
    check("json_bytes", len(data), first.name)
    made = from_json(data, Arrangement, name=first.name)
    tune, _ = read_again(path.parent / "tune.json")
    bars = {len(layer.bars) for layer in made.layers}
    whole = made.layers[-1].name == "finished" or len(made.layers) == 1
    if not whole or bars != {len(tune.written_bars())}:
        raise PipelineError(
            "The stages in this folder are no longer those of the tune: take the finished tab "
            "apart again."
        )
    return Stages(tune, made, ())


def is_finished_tab(path: Path) -> bool:
    """Whether a tune file is a finished tab: text tablature, or notes that all have a string."""
    from liltwright.read.finished import finished_from_bytes

    try:
        data = content(path)
        kind = kind_of(data, path.name)
        if kind != "musicxml":
            return kind in TYPED
        return finished_from_bytes(data, name=path.name).has_strings
    except PipelineError:
        return False
