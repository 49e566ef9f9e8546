"""The recording read again as another type or metre, and what of the user's edits that costs.

Task: let the user say what a heard tune is, and have its bars found again by that word.
In: a Tune with what was heard; type and metre, empty for what the program hears. Out: a Tune.
Method: notate's own reading of the notes that were heard, as on the command line. What the user
said of key, octave and title stays; the tempo is heard again, as its beat may be another one.
Edits of notes and bars are made on bars that may not be there any more, so they go: `lost` names
them beforehand.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from liltwright import options
from liltwright.errors import UsageError
from liltwright.page.desk import WORDS
from liltwright.tune import Tune

STAYS = frozenset(
    WORDS[op]
    for op in ("key", "octave", "title", "setup", "effort", "rounds", "ornaments", "matters")
)
"""Edits that a new reading keeps."""
OF_THE_RHYTHM = ("notes", "tune_type", "meter", "beats_per_minute", "first_bar_s")
"""What was said of the tune before and is found anew."""


def read_anew(tune: Tune, tune_type: str, meter: str) -> Tune:
    """The recording's notes read again. Raises UsageError when there is no recording."""
    from liltwright.notate.renotate import read_heard
    from liltwright.notate.settings import NotateSettings

    if not tune.heard:
        raise UsageError("This tune was not heard in a recording: there is nothing to read anew.")
    kept = {name: what for name, what in tune.overridden.items() if name not in OF_THE_RHYTHM}
    settings = NotateSettings(
        tune_type=options.tune_type(tune_type) if tune_type else None,
        meter=options.meter(meter) if meter else None,
    )
    found = read_heard(replace(tune, overridden=kept), settings)
    return replace(found, title=tune.title)


def lost(edits: Sequence[str], tune: Tune) -> list[str]:
    """What a new reading would take away, in words: "length of a note (3 times)".

    edits : what each edit since the last reading is called, in order
    """
    found = Counter(words for words in edits if words not in STAYS)
    if not found and "notes" in tune.overridden:
        return [f"notes {tune.overridden['notes']}"]
    return [words if times == 1 else f"{words} ({times} times)" for words, times in found.items()]
