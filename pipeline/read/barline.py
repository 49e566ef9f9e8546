"""Where the first bar line falls in a file that starts with its pick-up and does not say so.

Task     tell a pick-up from a first bar
In       notes on the grid from the beginning of the tune; length of a bar and of a beat
Out      length of the pick-up, 0 for none
Method   each possible pick-up is judged by how often notes begin on the bar lines that follow from
         it, how long those are, and how often every eighth bar comes to rest on a beat.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction

PHRASE = 8  # bars
REST_ON_BEAT = 0.5  # price of a rest on a beat
LENGTH_ON_LINE = 0.5  # how far long notes on bar lines count beside struck ones
LONG_PICKUP = 0.25
"""Weights against one point for a note on every bar line, chosen by hand; pick-ups of no, one or
two eighths are usual, others cost LONG_PICKUP."""
USUAL = (Fraction(0), Fraction(1, 8), Fraction(1, 4))  # pick-ups of dance tunes, of a whole note

Notes = Sequence[tuple[Fraction, Fraction, int]]
"""Start, end and pitch, in whole notes, by start."""


def pickup_length(notes: Notes, full: Fraction, beat: Fraction) -> Fraction:
    """The likeliest length of the pick-up, at most half a bar."""
    if not notes:
        return Fraction(0)
    leads = {Fraction(0)} | {start for start, _, _ in notes if start <= full / 2}
    return max(sorted(leads), key=lambda lead: _score(notes, lead, full, beat))


def _score(notes: Notes, lead: Fraction, full: Fraction, beat: Fraction) -> float:
    total = notes[-1][1]
    length_at = {start: min((end - start) / beat, Fraction(1)) for start, end, _ in notes}
    lines = [lead + index * full for index in range(int((total - lead) / full) or 1)]
    on_line = [length_at.get(line) for line in lines]
    struck = [float(length) for length in on_line if length is not None]
    score = len(struck) / len(lines) + LENGTH_ON_LINE * sum(struck) / len(lines)
    score += REST_ON_BEAT * _rests_on_beat(notes, lead, full, beat)
    return score - (0.0 if lead in USUAL else LONG_PICKUP)


def _rests_on_beat(notes: Notes, lead: Fraction, full: Fraction, beat: Fraction) -> float:
    """Share of eight-bar phrases whose last note begins on a beat other than the last one."""
    starts = [start for start, _, _ in notes]
    ends = [end for end in _phrase_ends(notes[-1][1], full) if end <= notes[-1][1]]
    good = 0
    for end in ends:
        last = starts[bisect_right(starts, end - Fraction(1, 256)) - 1]
        good += (last - lead) % beat == 0
    return good / len(ends) if ends else 0.0


def _phrase_ends(total: Fraction, full: Fraction) -> list[Fraction]:
    phrase = PHRASE * full
    return [phrase * count for count in range(1, int(total / phrase) + 1)] or [total]
