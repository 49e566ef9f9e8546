"""Every kind of file that is written: its ending, what it is for, and who writes a layer so.

A new kind is one line in FORMATS (and its writer): the folder of a run, a layer in a file of its
own, the help text and the report's list of files all follow from here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, cast

from liltwright.options import OutputOptions
from liltwright.tab import Arrangement
from liltwright.tune import Tune

LayerWriter = Callable[[Tune, Arrangement, str], bytes]
"""Tune, arrangement and the name of a layer to the bytes of a file."""
Wanted = Literal["always", "sound", "sheets", "report"]


@dataclass(frozen=True, slots=True)
class Format:
    """One kind of file.

    ending   : with its dot, lower case
    media    : media type as registered with IANA (.abc: as its standard 2.1 gives it)
    purpose  : heading in the report's list of files; empty: not listed there
    layer    : writes one layer; None for kinds that are engraved (engrave/) or are no layer
    in_run   : whether a run's folder holds every layer so
    inside   : small enough to be saved out of the report itself
    wanted   : which option of the output makes files of this kind
    """

    ending: str
    media: str
    purpose: str = ""
    layer: LayerWriter | None = None
    in_run: bool = False
    inside: bool = False
    wanted: Wanted = "always"


def _text(tune: Tune, arrangement: Arrangement, layer: str) -> bytes:
    from liltwright.write.formats.tablature import layer_to_text

    return layer_to_text(tune, arrangement, layer).encode()


def _musicxml(tune: Tune, arrangement: Arrangement, layer: str) -> bytes:
    from liltwright.write.formats.musicxml import layer_to_musicxml

    return layer_to_musicxml(tune, arrangement, layer)


def _midi(tune: Tune, arrangement: Arrangement, layer: str) -> bytes:
    from liltwright.write.formats.midi import layer_to_midi

    return layer_to_midi(tune, arrangement, layer)


def _abc(tune: Tune, arrangement: Arrangement, layer: str) -> bytes:
    from liltwright.write.formats.abc import layer_to_abc

    return layer_to_abc(tune, arrangement, layer).encode()


def _sound(kind: str) -> LayerWriter:
    def write(tune: Tune, arrangement: Arrangement, layer: str) -> bytes:
        from liltwright.write.sound.encode import AudioKind, encode_audio
        from liltwright.write.sound.synth import layer_audio

        sound = layer_audio(tune, arrangement, layer)
        return encode_audio(sound.samples, sound.sample_rate, cast(AudioKind, kind))

    return write


PRINT, TEXT = "To print", "Tab as plain text"
LISTEN, NOTATION, DATA = (
    "To listen to",
    "For notation programs",
    "All that was found, as data",
)
FORMATS = (
    Format(".pdf", "application/pdf", PRINT, wanted="sheets"),
    Format(".svg", "image/svg+xml", PRINT),
    Format(".txt", "text/plain", TEXT, _text, in_run=True, inside=True),
    Format(".ogg", "audio/ogg", LISTEN, _sound("ogg"), wanted="sound"),
    Format(".mp3", "audio/mpeg", LISTEN, _sound("mp3"), wanted="sound"),
    Format(".wav", "audio/wav", LISTEN, _sound("wav"), wanted="sound"),
    Format(".musicxml", "application/vnd.recordare.musicxml+xml", NOTATION, _musicxml, in_run=True),
    Format(".mid", "audio/midi", NOTATION, _midi, in_run=True, inside=True),
    Format(".abc", "text/vnd.abc", NOTATION, _abc, in_run=True, inside=True),
    Format(".json", "application/json", DATA),
    Format(".html", "text/html", wanted="report"),
)
_BY_ENDING = {item.ending: item for item in FORMATS}
LAYER_ENDINGS = tuple(item.ending for item in FORMATS if item.layer or item.purpose == PRINT)
"""What one layer can be written as: engraved kinds first."""


def format_of(name: str) -> Format:
    """The kind of a file by its name. Raises KeyError for an ending that is not written here."""
    return _BY_ENDING["." + name.rpartition(".")[2].lower()]


def is_made(name: str, output: OutputOptions) -> bool:
    """Whether a run with these options makes files of this kind; True for kinds not known."""
    kind = _BY_ENDING.get("." + name.rpartition(".")[2])
    return kind is None or kind.wanted == "always" or bool(getattr(output, kind.wanted))
