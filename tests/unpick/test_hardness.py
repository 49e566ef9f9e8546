"""Damaged and strange files: unpicked or refused in one sentence, never a crash."""

import pytest

from liltwright.errors import PipelineError
from liltwright.read.finished import finished_from_bytes
from liltwright.records import to_json
from liltwright.unpick.unpicked import UnpickSettings, unpick
from tests.hardness.generate import FORMATS, Seeded, case

CASES = 15


@pytest.mark.parametrize("kind", FORMATS)
def test_every_file_is_taken_apart_or_refused(kind):
    for number in range(CASES):
        name, data = case(kind, Seeded(f"9/{kind}/{number}"))
        for ignore in (False, True):
            try:
                settings = UnpickSettings(ignore_voices=ignore)
                found = unpick(finished_from_bytes(data, name=name), settings=settings)
            except PipelineError:
                continue
            to_json(found.page)


def test_a_page_of_grace_notes_alone_is_refused():
    text = "e|-g3---|\nB|------|\nG|------|\nD|------|\nA|------|\nE|------|\n"
    with pytest.raises(PipelineError, match="grace notes only"):
        unpick(finished_from_bytes(text.encode(), name="a.txt"))
