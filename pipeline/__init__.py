"""liltwright: from a dance tune heard to a solo fingerstyle guitar arrangement.

The functions are those of library.py, the records those of tune.py, tab.py and options.py; each is
loaded when it is first used. The command line is cli.py.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from liltwright.errors import PipelineError, UsageError
    from liltwright.library import arrange, listen, rank, read, write
    from liltwright.options import GuitarOptions, LayerOptions, OutputOptions, TuneOptions
    from liltwright.tab import (
        Arrangement,
        Chord,
        Layer,
        RankedSetup,
        Ranking,
        Round,
        Setup,
        TabNote,
    )
    from liltwright.tune import (
        Candidates,
        Doubt,
        Ending,
        Heard,
        HeardBar,
        KeyCandidate,
        KeyName,
        NoteEvent,
        Part,
        ScoreNote,
        Source,
        Tune,
        TypeCandidate,
    )

__all__ = [
    "Arrangement", "Candidates", "Chord", "Doubt", "Ending", "GuitarOptions", "Heard", "HeardBar",
    "KeyCandidate", "KeyName", "Layer", "LayerOptions", "NoteEvent", "OutputOptions", "Part",
    "PipelineError", "RankedSetup", "Ranking", "Round", "ScoreNote", "Setup", "Source", "TabNote",
    "Tune", "TuneOptions", "TypeCandidate", "UsageError", "arrange", "listen", "rank", "read",
    "write",
]  # fmt: skip

_HOMES = ("library", "tune", "tab", "options", "errors")

# Three functions have the names of rooms. A room sets its name here when it is first loaded, so
# all three are loaded (they are empty) and their names given free before anything else happens.
for _room in ("arrange", "read", "write"):
    import_module(f"{__name__}.{_room}")
    del globals()[_room]


def __getattr__(name: str) -> object:
    if name in __all__:
        for home in _HOMES:
            found = vars(import_module(f"{__name__}.{home}")).get(name)
            if found is not None:
                globals()[name] = found
                return found
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
