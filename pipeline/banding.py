"""Task: the tune out of a band recording: which tunes are in it, which is written, how sure.

In: Heard of the lead, what the user knows. Out: the Tune that was chosen, with the list of all
tunes of the recording and what its line rests on among the remarks.
Method: the recording is cut where it rests or where the melody changes for good (hear/takes);
every tune is written down for the list. How much of the lead was found is the share of its
time with a note; how far the passes agree, the share of bars played as they are written.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from liltwright.counting import count
from liltwright.doubts import clock
from liltwright.errors import PipelineError
from liltwright.progress import Progress, silent
from liltwright.tune import Heard, Tune

if TYPE_CHECKING:
    from liltwright.notate.settings import NotateSettings

REST_S = 0.15
"""Rests of the tune itself, shorter than this, count as found."""


def lead_tune(
    heard: Heard, take: int | None, settings: NotateSettings, progress: Progress = silent
) -> Tune:
    """The tune that is asked for, else the one with most notes.

    Raises UsageError when there is no tune with this number, PipelineError when there is none.
    """
    from liltwright.hear.takes import choose_take, split_takes
    from liltwright.notate.notate import notate

    takes = split_takes(heard)
    chosen = choose_take(heard, take)
    tune = notate(chosen, settings=settings, progress=progress)
    said = tuple(rests_on(tune))
    if len(takes) > 1:
        said = (*tune_list(takes, tune), *said)
    return replace(tune, remarks=(*said, *tune.remarks))


def tune_list(takes: Sequence[Heard], written: Tune) -> tuple[str, ...]:
    """One sentence on all tunes of the recording: "1. 0:03-1:04, reel in D major; 2. ...".

    `written` is the one among them that is written down.
    """
    from liltwright.notate.notate import notate

    found = []
    for number, one in enumerate(takes, 1):
        span = f"{number}. {clock(one.notes[0].onset_s)}-{clock(one.notes[-1].offset_s)}"
        if written.heard == one.notes:
            tune: Tune | None = written
        else:
            try:
                tune = notate(one)
            except PipelineError:
                tune = None
        found.append(f"{span}, {tune.tune_type} in {tune.tonic} {tune.mode}" if tune else span)
    return (f"Tunes in this recording: {'; '.join(found)}.",)


def rests_on(tune: Tune) -> list[str]:
    """What the line rests on, in sentences."""
    said = [f"The lead was found in {100 * found_share(tune):.0f} % of the tune's time"]
    agreeing, played = agreement(tune)
    if played:
        said[0] += (
            f"; {count(agreeing, 'bar')} of {played} {'was' if agreeing == 1 else 'were'} played "
            "as written"
        )
    said[0] += "."
    return said


def found_share(tune: Tune) -> float:
    """Share of the time from the first note to the last that has a note, 0 to 1."""
    notes = tune.heard
    if not notes:
        return 0.0
    missing, end_s = 0.0, notes[0].offset_s
    for note in notes[1:]:
        rest_s = note.onset_s - end_s
        missing += rest_s if rest_s > REST_S else 0.0
        end_s = max(end_s, note.offset_s)
    whole_s = end_s - notes[0].onset_s
    return 1.0 - missing / whole_s if whole_s > 0 else 0.0


def agreement(tune: Tune) -> tuple[int, int]:
    """(performed full bars that are like a bar of the page, performed full bars)."""
    page = {
        tuple((n.start, n.midi) for n in bar.notes if n.start < tune.bar_length)
        for bar in tune.written_bars()
    }
    bars = tune.bars_heard
    first = 1 if bars and bars[0].notes and bars[0].notes[0].start > 0 else 0
    alike = sum(tuple((n.start, n.midi) for n in bar.notes) in page for bar in bars[first:])
    return alike, max(len(bars) - first, 0)
