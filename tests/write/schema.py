"""The W3C schema of MusicXML 4.0, where it lies beside the repository."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from lxml import etree

SCHEMA = Path(__file__).parents[3] / "shared" / "data" / "musicxml-4.0"
AT_HAND = (SCHEMA / "musicxml.xsd").is_file()
needs_schema = pytest.mark.skipif(not AT_HAND, reason="the W3C schema is not at hand")


class _Local(etree.Resolver):
    """Gives the schema's two imports, named by web address, from the folder beside it."""

    def resolve(self, url, public_id, context):
        name = str(url).rsplit("/", 1)[-1]
        if name.endswith(".xsd") and (SCHEMA / name).is_file():
            return self.resolve_filename(str(SCHEMA / name), context)
        return None


@cache
def schema() -> etree.XMLSchema:
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Local())
    return etree.XMLSchema(etree.parse(str(SCHEMA / "musicxml.xsd"), parser))


def faults(data: bytes) -> list[str]:
    """What the schema says against a document."""
    schema().validate(etree.fromstring(data))
    return [f"line {fault.line}: {fault.message}" for fault in schema().error_log]
