"""A tune file -> Tune, whatever kind it is.

Task     choose the reader by what the file holds, not by its name
In       a path: tune.json, ABC, MusicXML, MXL, MIDI or text tablature of this program
Out      Tune
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Literal

from pipeline.errors import PipelineError
from pipeline.tune import Tune

Kind = Literal["json", "abc", "musicxml", "midi", "tablature"]
MAX_BYTES = 30_000_000
KINDS = "tune.json, .abc, .musicxml, .mxl, .mid or text tablature"


def read_tune(path: Path) -> Tune:
    """Read the tune of a file; the first one of an ABC book.

    Raises PipelineError when the file is missing, empty, of another kind or broken.
    """
    return tune_from_bytes(_content(path), name=path.name)


def tune_from_bytes(data: bytes, *, name: str) -> Tune:
    """Read the tune that the bytes of a file hold.

    Raises PipelineError when they are empty, of another kind or broken.
    """
    kind = kind_of(data, name)
    if kind == "json":
        return _from_json(data, name)
    if kind == "musicxml":
        from pipeline.read.musicxml import read_musicxml

        return read_musicxml(data, name=name)
    if kind == "midi":
        from pipeline.read.midi import read_midi

        return read_midi(data, name=name)
    text = decoded(data, name)
    if kind == "tablature":
        from pipeline.read.tablature import tune_of_tablature

        return tune_of_tablature(text, name=name)
    from pipeline.read.abc import read_abc

    return read_abc(text, name=name)


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
    if re.search(r"^Tuning .*low to high$", text, re.MULTILINE):
        return "tablature"
    if re.search(r"^K:", text, re.MULTILINE) or re.search(r"^X:\s*\d", text, re.MULTILINE):
        return "abc"
    raise PipelineError(f"{name} holds no tune that can be read here: use {KINDS}.")


def decoded(data: bytes, name: str) -> str:
    """Text in UTF-8 or UTF-16 with a mark, else in Western European encoding."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    if b"\x00" in data:
        raise PipelineError(f"{name} is not a text file: use {KINDS}.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _content(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if path.is_dir():
            raise PipelineError(f"{path} is a folder: name the tune file in it.")
        if size > MAX_BYTES:
            raise PipelineError(
                f"{path} has {size // 10**6} MB, too much for a tune file (at most "
                f"{MAX_BYTES // 10**6} MB)."
            )
        return path.read_bytes()
    except FileNotFoundError:
        raise PipelineError(f"{path} does not exist: check the name.") from None
    except OSError as fault:
        raise PipelineError(f"{path} cannot be read: {fault.strerror or fault}.") from fault


def _from_json(data: bytes, name: str) -> Tune:
    from pipeline.records import from_json

    tune = from_json(data, Tune, name=name)
    try:
        notes = [note for bar in tune.written_bars() for note in bar.notes]
    except (ValueError, ZeroDivisionError) as fault:
        raise PipelineError(f"{name} has bars that do not fit together: {fault}.") from fault
    if not notes:
        raise PipelineError(f"{name} has no notes.")
    if not all(0 <= note.midi <= 127 for note in notes):
        raise PipelineError(f"{name} has notes outside the range of MIDI (0 to 127).")
    return tune
