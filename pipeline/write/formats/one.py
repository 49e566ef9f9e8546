"""One layer, or the performance, as one file of the kind that its name asks for.

In:  Tune, Arrangement, layer name, the file's name. Out: file name -> content; an SVG of several
     pages is several files.
"""

from __future__ import annotations

from pathlib import Path

from liltwright.counting import listed
from liltwright.errors import UsageError
from liltwright.options import Paper
from liltwright.tab import Arrangement
from liltwright.tune import Tune
from liltwright.write.formats.table import LAYER_ENDINGS, Format, format_of


def layer_file(
    tune: Tune,
    arrangement: Arrangement,
    layer: str,
    target: Path,
    *,
    paper: Paper = "a4",
    hands: bool = False,
) -> dict[Path, bytes]:
    """The file or files of a layer; hands : see layer_to_text.

    Raises UsageError when there is no such layer.
    """
    kind = check_kind(target)
    if kind.ending == ".svg":
        from liltwright.write.engrave.sheets import layer_pages_svg

        pages = layer_pages_svg(tune, arrangement, layer, paper=paper)
        many = len(pages) > 1
        return {
            target.with_stem(f"{target.stem}-{number}") if many else target: page.encode()
            for number, page in enumerate(pages, start=1)
        }
    if kind.layer is None:
        from liltwright.write.engrave.sheets import layer_pdf

        return {target: layer_pdf(tune, arrangement, layer, paper=paper)}
    if hands and kind.ending == ".txt":
        from liltwright.write.formats.tablature import layer_to_text

        return {target: layer_to_text(tune, arrangement, layer, hands=True).encode()}
    return {target: kind.layer(tune, arrangement, layer)}


def check_kind(target: Path) -> Format:
    """The kind of file a layer is written as. Raises UsageError for one it cannot be."""
    if target.suffix.lower() in LAYER_ENDINGS:
        return format_of(target.name)
    raise UsageError(f"{target} must end in {listed(LAYER_ENDINGS)}.")
