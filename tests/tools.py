"""Programs outside Python that some tests hold our files against."""

from __future__ import annotations

import os
import shutil

import pytest


def need(*names: str) -> None:
    """Skip the test when a program is missing; fail instead where LILTWRIGHT_ALL_TOOLS=1."""
    missing = [name for name in names if shutil.which(name) is None]
    if not missing:
        return
    message = f"{', '.join(missing)} not installed"
    if os.environ.get("LILTWRIGHT_ALL_TOOLS") == "1":
        pytest.fail(message)
    pytest.skip(message)
