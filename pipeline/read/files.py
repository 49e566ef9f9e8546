"""A tune file -> what stands in it, whatever kind it is.

Task     choose the reader by what the file holds, not by its name
In       a path: tune.json, ABC, MusicXML, MXL, MIDI or text tablature of this program
Out      Tune; or Heard of a MIDI file that was played off the grid (tunefile.py writes it down)
"""

from __future__ import annotations

import re
from collections.abc import Collection
from fractions import Fraction
from pathlib import Path
from typing import Literal

from liltwright.errors import PipelineError
from liltwright.limits import check, check_regular, limit, shown_path
from liltwright.read.checked import checked_tune
from liltwright.read.tab_text import OWN_HEAD
from liltwright.read.typed_lines import looks_typed
from liltwright.tune import Heard, Tune

Kind = Literal["json", "abc", "musicxml", "midi", "tablature", "typed"]
HEAD_BYTES = 65_536
"""How much of a file is looked at to tell a tune from a recording."""
TUNE_SUFFIXES = (".abc", ".musicxml", ".mxl", ".xml", ".mid", ".midi", ".json")
_SOUND_STARTS = (
    b"RIFF",
    b"RIFX",
    b"RF64",
    b"OggS",
    b"fLaC",
    b"FORM",
    b"ID3",
    b"\x1a\x45\xdf\xa3",
    b"caff",
)
KINDS = "tune.json, .abc, .musicxml, .mxl, .mid or text tablature"


def from_bytes(
    data: bytes, *, name: str, known_odd: Collection[tuple[int, Fraction]] = ()
) -> Tune | Heard:
    """What the bytes of a tune file hold; the first tune of an ABC book.

    known_odd : bars, as number and length, whose odd length in ABC is meant.
    Raises PipelineError when they are empty, of another kind or broken.
    """
    kind = kind_of(data, name)
    if kind == "json":
        check("json_bytes", len(data), name)
        return _from_json(data, name)
    if kind == "musicxml":
        from liltwright.read.musicxml import read_musicxml

        return read_musicxml(data, name=name)
    if kind == "midi":
        from liltwright.read.midi import read_midi

        return read_midi(data, name=name)
    text = decoded(data, name)
    if kind == "tablature":
        from liltwright.read.tablature import tune_of_tablature

        return tune_of_tablature(text, name=name)
    if kind == "typed":
        from liltwright.read.typed_tab import read_typed_tab

        read_typed_tab(text, name=name)
        raise PipelineError(
            f"{name} is tablature typed by hand, with tune and bass on one page: "
            "take the tune out of it first."
        )
    from liltwright.read.abc import read_abc

    return read_abc(text, name=name, known_odd=known_odd)


def kind_of(data: bytes, name: str) -> Kind:
    """What kind of tune file the bytes are. Raises PipelineError when they are none."""
    if not data.strip(b"\x00 \t\r\n"):
        raise PipelineError(f"{name} is empty: it must hold a tune as {KINDS}.")
    if data.startswith(b"MThd"):
        return "midi"
    if data.startswith(b"PK"):
        return "musicxml"
    start = data[:4000].lstrip(b"\xef\xbb\xbf\xff\xfe\x00 \t\r\n")
    if start.startswith(b"{"):
        return "json"
    if start.startswith((b"<?xml", b"<!DOCTYPE", b"<score", b"<", b"<\x00")):
        return "musicxml"
    text = decoded(data, name)
    if re.search(r"^Tuning .*low to high$", text, re.MULTILINE) and (
        OWN_HEAD.search(text) or not looks_typed(text)
    ):
        return "tablature"
    if re.search(r"^K:", text, re.MULTILINE) or re.search(r"^X:\s*\d", text, re.MULTILINE):
        return "abc"
    if looks_typed(text):
        return "typed"
    raise PipelineError(f"{name} holds no tune that can be read here: use {KINDS}.")


def decoded(data: bytes, name: str) -> str:
    """Text in UTF-8 or UTF-16 with a mark, else in Western European encoding."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return _printable(data.decode("utf-16", errors="replace"))
    if b"\x00" in data:
        raise PipelineError(f"{name} is not a text file: use {KINDS}.")
    try:
        return _printable(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        return _printable(data.decode("cp1252", errors="replace"))


def is_tune_file(path: Path) -> bool:
    """Whether a file holds a tune as notes and not sound: by what it holds, as `kind_of` tells.

    Only a file that cannot be told (missing, not to be opened, of no known kind) goes by its name.
    """
    by_name = path.suffix.lower() in TUNE_SUFFIXES
    try:
        check_regular(path)
        with open(path, "rb") as file:
            head = file.read(HEAD_BYTES)
    except (PipelineError, OSError):
        return by_name
    if head.startswith(_SOUND_STARTS) or head[4:8] == b"ftyp":
        return False
    try:
        kind_of(head, "")
    except PipelineError:
        return by_name
    return True


_CONTROLS = {code: " " for code in (*range(0x20), *range(0x7F, 0xA0)) if chr(code) not in "\t\n\r"}
_CONTROLS |= {0x2028: "\n", 0x2029: "\n"}


def _printable(text: str) -> str:
    return text.translate(_CONTROLS)


def content(path: Path) -> bytes:
    """The bytes of a tune file. Raises PipelineError when it cannot be read."""
    size = check_regular(path, what="tune file")
    check("file_bytes", size, shown_path(path))
    try:
        with open(path, "rb") as file:
            return file.read(limit("file_bytes") + 1)
    except OSError as fault:
        raise PipelineError(
            f"{shown_path(path)} cannot be read: {fault.strerror or fault}."
        ) from fault


def _from_json(data: bytes, name: str) -> Tune:
    from liltwright.records import from_json

    return checked_tune(from_json(data, Tune, name=name), name)
