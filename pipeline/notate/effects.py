"""Task: say which of the values that the user fixed had no effect, or fit nothing.

In: the fixed values and what came of them. Out: sentences for the user, each beginning with ASKED
and the value that it is about.
"""

from __future__ import annotations

from collections.abc import Iterator

from liltwright.dances import dances
from liltwright.tune import Tune, TuneType

NEAR = 0.1
"""A tempo this near to what was asked for, as a share of it, is what was asked for."""
ASKED = "You asked for "
SAME = {"2/2": "4/4", "12/8": "6/8"}


def without_effects(remarks: tuple[str, ...]) -> tuple[str, ...]:
    """The remarks without those of an earlier run about its options."""
    return tuple(words for words in remarks if not words.startswith(ASKED))


def effects_words(remarks: tuple[str, ...]) -> tuple[str, ...]:
    """Only the remarks about what the user asked for."""
    return tuple(words for words in remarks if words.startswith(ASKED))


def heard_effects(
    tune: Tune, beats_per_minute: float | None, octave_shift: int | None, usual_shift: int
) -> Iterator[str]:
    """What a fixed tempo and octave did to a tune that was heard.

    usual_shift : octaves by which it would be moved without being told
    """
    found = tune.beats_per_minute
    if beats_per_minute is not None and abs(found / beats_per_minute - 1) > NEAR:
        yield (
            f"{ASKED}tempo {beats_per_minute:g}, which fits no reading of what was played; "
            f"the tune is read at {found:.0f}."
        )
    if octave_shift is not None and octave_shift == usual_shift:
        yield _same_octave(octave_shift)


def written_effects(
    tune: Tune, tune_type: TuneType | None, octave_shift: int | None
) -> Iterator[str]:
    """What a fixed type and octave do to a written tune, as it was before."""
    if octave_shift is not None:
        if octave_shift == tune.octave_shift:
            yield _same_octave(octave_shift)
        else:
            yield (
                f"{ASKED}octave {octave_shift}, which moves the written tune; the guitar plays it "
                "in the octave in which it sits best, which may be the same as before."
            )
    if tune_type is not None:
        meters = dances()[tune_type].meters
        if SAME.get(tune.meter, tune.meter) not in {SAME.get(one, one) for one in meters}:
            yield (
                f"{ASKED}type {tune_type}, which does not fit the bars: it is written in "
                f"{' or '.join(meters)}, this tune in {tune.meter}."
            )


def _same_octave(octave_shift: int) -> str:
    return (
        f"{ASKED}octave {octave_shift}, which changes nothing: the tune is written in that octave "
        "already."
    )
