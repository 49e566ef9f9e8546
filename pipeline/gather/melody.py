"""A tune's melody on a grid of equal bars, for tables and for finding relatives.

In: a Tune. Out: for every printed bar the pitch that sounds at each place of a grid.
Method: a bar of two or four beats has eight places, one of three beats six, of 6/8 six, of 9/8
    nine, of 12/8 twelve: where the quavers of a dance fall. What is shorter than a place, as an
    ornament is, falls between the places; a longer note is named at each. How fast a bar is
    written (2/4 in semiquavers or 4/4 in quavers) makes no difference.
"""

from __future__ import annotations

from fractions import Fraction

from liltwright.tune import Bar, Tune

REST = -1  # stands for no pitch in a row of MIDI numbers


def places(meter: str) -> int:
    """How many places the grid of a bar has."""
    upper = int(meter.partition("/")[0])
    return {2: 8, 4: 8, 3: 6, 6: 6, 9: 9, 12: 12}.get(upper, upper)


def melody_bars(tune: Tune) -> list[list[int]]:
    """The sounding pitch at each place of each printed bar, pick-ups left out."""
    count = places(tune.meter)
    step = tune.bar_length / count
    found = [
        [_pitch_at(bar.notes, step * place) for place in range(count)]
        for bar in tune.written_bars()
        if bar.kind != "pickup"
    ]
    return [bar for bar in found if any(pitch != REST for pitch in bar)]


def _pitch_at(bar: Bar, moment: Fraction) -> int:
    for note in bar:
        if note.start <= moment < note.start + note.length:
            return note.midi
    return REST
