"""A finished page as the user knows it: another tuning, capo or metre than the page says.

Task     apply what the user says to what a reader found
In       Finished or a Tune of it; Known
Out      the same with the user's word first, and a remark where the page says otherwise
Method   A page with strings is what the fingers do: its frets stay, and the pitches follow the
         tuning and capo that the user names. A named key moves with the capo; in another tuning
         it is found anew. A metre with bars as long as the page's takes the place of its metre;
         bars are put together by two or cut in half; anything else is refused.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from liltwright import keys
from liltwright.guitar.tunings import name_of
from liltwright.notate.written import rebarred
from liltwright.read.kinds import beat_of, type_of_meter, usual_tempo
from liltwright.read.written import Stated
from liltwright.tune import Tune
from liltwright.unpick.finished import Finished, FinishedNote, Known, six_strings


def on_known_strings(finished: Finished, known: Known) -> Finished:
    """The page in the tuning and with the capo that the user names, its frets kept.

    A page that names no strings comes back as it is: it is placed later.
    """
    if not finished.has_strings or (known.strings is None and known.capo is None):
        return finished
    before = six_strings(finished.strings_midi)
    strings = known.strings or before
    capo = finished.capo if known.capo is None else known.capo
    if (strings, capo) == (before, finished.capo):
        return finished
    said = _words(name_of(before), finished.capo)
    remark = f"Read in {_words(name_of(strings), capo)}, as you said; the page says {said}."
    bars = tuple(
        replace(bar, notes=tuple(_sounding(note, strings, capo) for note in bar.notes))
        for bar in finished.bars
    )
    stated = finished.stated
    if stated.key is not None:
        same = strings == before
        key = keys.transpose_key(stated.key, capo - finished.capo) if same else None
        stated = replace(stated, key=key, signature=None)
    return replace(
        finished, stated=stated, bars=bars, strings_midi=strings, capo=capo,
        remarks=(*finished.remarks, remark),
    )  # fmt: skip


def _words(tuning: str, capo: int) -> str:
    return f"{tuning}, capo {capo}" if capo else f"{tuning}, no capo"


def _sounding(note: object, strings: tuple[int, ...], capo: int) -> FinishedNote:
    assert isinstance(note, FinishedNote)
    return replace(note, midi=strings[6 - note.string] + capo + note.fret)


def as_known(stated: Stated, known: Known) -> Stated:
    """What the page states, with the user's type, and metre where its bars are as long."""
    if known.kind is not None:
        stated = replace(stated, kind=known.kind)
    if known.meter is not None and Fraction(known.meter) == Fraction(stated.meter):
        stated = replace(stated, meter=known.meter)
    return stated


def tune_as_known(tune: Tune, known: Known) -> Tune:
    """The folded page in the user's metre and tempo.

    Raises UsageError when its bars do not fit into the metre.
    """
    if known.meter is not None and known.meter != tune.meter:
        moved = rebarred(tune, known.meter)
        named = tune.candidates.tune_type
        kind = tune.tune_type if named else type_of_meter(known.meter)
        beat = beat_of(kind, known.meter)
        tempo = tune.beats_per_minute * float(tune.beat / beat) if named else usual_tempo(kind)
        tune = replace(moved, tune_type=kind, beat=beat, beats_per_minute=tempo)
    if known.beats_per_minute is not None:
        tune = replace(tune, beats_per_minute=known.beats_per_minute)
    return tune
