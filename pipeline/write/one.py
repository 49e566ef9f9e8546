"""One layer, or the performance, as one file of the kind that its name asks for.

In:  Tune, Arrangement, layer name, the file's name. Out: file name -> content; an SVG of several
     pages is several files.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import cast

from liltwright.errors import UsageError
from liltwright.tab import Arrangement
from liltwright.tune import Tune
from liltwright.write.encode import AudioKind
from liltwright.write.pages import Paper

Writer = Callable[[Tune, Arrangement, str], bytes]


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
    if kind == ".svg":
        from liltwright.write.sheets import layer_pages_svg

        pages = layer_pages_svg(tune, arrangement, layer, paper=paper)
        many = len(pages) > 1
        return {
            target.with_stem(f"{target.stem}-{number}") if many else target: page.encode()
            for number, page in enumerate(pages, start=1)
        }
    if kind == ".pdf":
        from liltwright.write.sheets import layer_pdf

        return {target: layer_pdf(tune, arrangement, layer, paper=paper)}
    if hands and kind == ".txt":
        from liltwright.write.tablature import layer_to_text

        return {target: layer_to_text(tune, arrangement, layer, hands=True).encode()}
    return {target: _KINDS[kind](tune, arrangement, layer)}


def check_kind(target: Path) -> str:
    """The ending of a file name that a layer can be written as. Raises UsageError for another."""
    kind = target.suffix.lower()
    if kind in _KINDS or kind in (".pdf", ".svg"):
        return kind
    raise UsageError(f"{target} must end in .pdf, .svg, {', '.join(_KINDS)}.")


def _text(tune: Tune, arrangement: Arrangement, layer: str) -> bytes:
    from liltwright.write.tablature import layer_to_text

    return layer_to_text(tune, arrangement, layer).encode()


def _musicxml(tune: Tune, arrangement: Arrangement, layer: str) -> bytes:
    from liltwright.write.musicxml import layer_to_musicxml

    return layer_to_musicxml(tune, arrangement, layer)


def _midi(tune: Tune, arrangement: Arrangement, layer: str) -> bytes:
    from liltwright.write.midi import layer_to_midi

    return layer_to_midi(tune, arrangement, layer)


def _abc(tune: Tune, arrangement: Arrangement, layer: str) -> bytes:
    from liltwright.write.abc import layer_to_abc

    return layer_to_abc(tune, arrangement, layer).encode()


def _sound(kind: str) -> Writer:
    def write(tune: Tune, arrangement: Arrangement, layer: str) -> bytes:
        from liltwright.write.encode import encode_audio
        from liltwright.write.sound import layer_audio

        sound = layer_audio(tune, arrangement, layer)
        return encode_audio(sound.samples, sound.sample_rate, cast(AudioKind, kind))

    return write


_KINDS: dict[str, Writer] = {
    ".txt": _text, ".musicxml": _musicxml, ".mid": _midi, ".abc": _abc,
    ".ogg": _sound("ogg"), ".mp3": _sound("mp3"), ".wav": _sound("wav"),
}  # fmt: skip
