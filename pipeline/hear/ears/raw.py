"""What every ear hands to the rest of the hear stage: notes before any interpretation.

Task   : the one record between an ear (network, general trackers) and the shared clean-up.
"""

from __future__ import annotations

from dataclasses import dataclass

from liltwright.tune import Restrike


@dataclass(frozen=True, slots=True)
class RawNote:
    """One note as an ear found it; notes of one ear never overlap and are in order of onset.

    onset_s, offset_s : seconds from the start of the audio
    midi              : pitch on A4 = 440 Hz as sung or played, fractional (concert pitch not out)
    confidence        : 0 to 1, the ear's own belief that there is a note here with this pitch
    ornament          : 0 to 1, the ear's belief that the note is an ornament; 0.5 when it does
                        not know (general trackers)
    again             : moments from its onset on at which it may be struck again, in order, its
                        onset among them; only our own network tells them
    """

    onset_s: float
    offset_s: float
    midi: float
    confidence: float = 1.0
    ornament: float = 0.5
    readings: float = 1.0
    again: tuple[Restrike, ...] = ()
