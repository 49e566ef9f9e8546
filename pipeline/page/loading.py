"""Load what the page works with, once, by whichever thread comes first; the others wait.

Task: no two threads load the same modules at once, where each would see the other's half.
"""

from __future__ import annotations

import threading

_lock = threading.Lock()
_done = False


def load() -> None:
    """Import the modules that handlers use."""
    global _done
    if _done:
        return
    with _lock:
        if _done:
            return
        import numpy  # noqa: F401

        from liltwright import library, run, summary  # noqa: F401
        from liltwright.arrange import compare, layers, sets  # noqa: F401
        from liltwright.guitar import player, rank, setups  # noqa: F401
        from liltwright.hear.audio import recording  # noqa: F401
        from liltwright.notate import notate  # noqa: F401
        from liltwright.page import bench, changes, drawing, sounding, taking, view  # noqa: F401
        from liltwright.read import files as reading  # noqa: F401
        from liltwright.write import files  # noqa: F401
        from liltwright.write.folder import save  # noqa: F401
        from liltwright.write.report import charts, page, picture  # noqa: F401
        from liltwright.write.sound import practice  # noqa: F401

        _done = True


def warm_up() -> None:
    """Load, and make what every tune needs: the engraver's fonts, the melody's tones."""
    load()
    from liltwright.page.drawing import warm_engraver
    from liltwright.page.sounding import melody_bank

    warm_engraver()
    melody_bank()
