"""Task: clear away what killed runs left of single files, and nothing of the user's.

In: a folder that nobody else writes into just now (journal.alone). Out: the folder without them.
Method: `.liltwright-NAME.part` is a name that the program alone uses, and whoever holds the lock
of the folder knows that no run is writing under it. Earlier versions left `.NAME.PID.part`, which
may be anybody's: it goes only where NAME is just what we wrote and begins with the very same bytes,
so that nothing is lost with it.
"""

from __future__ import annotations

import re
from pathlib import Path

from liltwright.write.folder.ledger import is_own, is_plain_file, read_list

_OURS = re.compile(r"\.liltwright-.+\.part", re.DOTALL)
_EARLIER = re.compile(r"\.(.+)\.\d+\.part", re.DOTALL)


def part_name(name: str) -> str:
    """The name under which a file is written until it is whole."""
    return f".liltwright-{name}.part"


def clear_leftovers(folder: Path) -> None:
    """Remove the parts of files that killed runs left. Raises OSError where that is not allowed."""
    listed = read_list(folder)
    for path in sorted(folder.glob(".*.part")):
        if not is_plain_file(path):
            continue
        earlier = _EARLIER.fullmatch(path.name)
        if _OURS.fullmatch(path.name) or (
            earlier
            and is_own(folder, earlier[1], listed)
            and (folder / earlier[1]).read_bytes().startswith(path.read_bytes())
        ):
            path.unlink(missing_ok=True)
