"""Compressed MusicXML (.mxl) and XML, unpacked and parsed within bounds.

Task     the bytes of a file -> the XML document of its score
In       bytes; the name of the file
Out      the root element
Method   the archive's container names the score; no more is unpacked than the limit allows, and no
         entity or address in the document is followed.
References  W3C MusicXML 4.0, compressed .mxl files.
"""

from __future__ import annotations

import io
import lzma
import zipfile
import zlib

from lxml import etree

from liltwright.errors import PipelineError
from liltwright.limits import check, limit, short


def unpacked(data: bytes, name: str) -> bytes:
    """The score of a compressed file; plain files as they are. Raises PipelineError."""
    if not data.startswith(b"PK"):
        return data
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            inside = _score_path(archive, name)
            return _member(archive, inside, name)
    except _BROKEN_ARCHIVE as fault:
        raise PipelineError(
            f"{name} is a broken compressed MusicXML file: save it again, or as plain .musicxml."
        ) from fault


_BROKEN_ARCHIVE = (
    zipfile.BadZipFile, KeyError, StopIteration, RuntimeError, ValueError, OSError, EOFError,
    zlib.error, lzma.LZMAError, IndexError, OverflowError,
)  # fmt: skip


def _member(archive: zipfile.ZipFile, path: str, name: str) -> bytes:
    """One file of the archive, unpacked no further than the limit, whatever size it claims."""
    info = archive.getinfo(path)
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise PipelineError(
            f"{name} is packed by method {info.compress_type}; MusicXML is packed by deflate: "
            "save it again, or as plain .musicxml."
        )
    check("unpacked_bytes", info.file_size, name)
    with archive.open(info) as file:
        data = file.read(limit("unpacked_bytes") + 1)
    check("unpacked_bytes", len(data), name)
    return data


def _score_path(archive: zipfile.ZipFile, name: str) -> str:
    names = archive.namelist()
    if "META-INF/container.xml" in names:
        container = parsed(_member(archive, "META-INF/container.xml", name), name)
        for rootfile in container.iter("{*}rootfile"):
            return str(rootfile.get("full-path"))
    return next(n for n in names if n.endswith((".xml", ".musicxml")) and "META-INF" not in n)


def parsed(data: bytes, name: str) -> etree._Element:
    """The document, with nothing fetched and no entity put in. Raises PipelineError."""
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
    try:
        return etree.fromstring(data, parser)
    except (etree.XMLSyntaxError, ValueError, LookupError) as fault:
        why = short(str(fault), 120)
        raise PipelineError(f"{name} is not well-formed XML ({why}): save it again.") from fault
