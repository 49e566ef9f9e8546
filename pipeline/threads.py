"""How many threads one computation may use: as many as it likes, or what LILTWRIGHT_THREADS says.

Where many files are worked on side by side, each process shall keep to one core.
"""

import os

VARIABLE = "LILTWRIGHT_THREADS"


def threads(wanted: int) -> int:
    """`wanted` threads (0: as many as there are cores), or fewer where the environment says so."""
    allowed = os.environ.get(VARIABLE, "")
    if not allowed.isdigit():
        return wanted
    return max(1, min(wanted or int(allowed), int(allowed)))
