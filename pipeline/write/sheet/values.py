"""Note values that can be written: where a length is divided, and which notes form a tuplet.

Lengths and positions are fractions of a whole note; positions count from the bar line.
Method   a length is kept whole when one note head with at most two dots shows it and it does not
         hide a beat; else it is divided at the strongest beat inside and tied. Positions that no
         halving reaches belong to tuplets.
References  common practice of music engraving: in 4/4 the middle of the bar shows, in compound
         time every dotted beat shows.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache

QUARTER = Fraction(1, 4)  # of a whole note
DOTTED_QUARTER = Fraction(3, 8)  # of a whole note
SHORTEST = Fraction(1, 64)  # of a whole note; nothing shorter is written

_DOTS = {Fraction(1): 0, Fraction(3, 2): 1, Fraction(7, 4): 2}  # by the share of the plain value
_TUPLETS = {3: (3, 2), 5: (5, 4), 7: (7, 4), 9: (9, 8)}  # so many in the time of so many


@lru_cache(maxsize=4096)
def value_and_dots(length: Fraction) -> tuple[Fraction, int] | None:
    """The plain note value and its dots that show a length, or None: 3/8 is (1/4, 1)."""
    if length <= 0:
        return None
    value = Fraction(4)
    while value > length and value > Fraction(1, 256):
        value /= 2
    dots = _DOTS.get(length / value)
    return None if dots is None else (value, dots)


@lru_cache(maxsize=4096)
def is_binary(position: Fraction) -> bool:
    """Whether halving a whole note reaches the position."""
    return position.denominator & (position.denominator - 1) == 0


@lru_cache(maxsize=4096)
def tuplet_of(position: Fraction) -> tuple[int, int] | None:
    """(3, 2) for a position or length that only triplets reach, and so on; None if halves do."""
    odd = position.denominator
    while odd % 2 == 0:
        odd //= 2
    return _TUPLETS.get(odd)


@lru_cache(maxsize=4096)
def tuplet_span(position: Fraction) -> Fraction:
    """Length of the smallest tuplet that has a note beginning or ending at the position."""
    odd = position.denominator
    binary = 1
    while odd % 2 == 0:
        odd //= 2
        binary *= 2
    # A triplet of 1/12 fills 1/4, one of 1/6 fills 1/2; of five 1/20 fill 1/4.
    return Fraction(1, binary)


@lru_cache(maxsize=4096)
def beat_group(meter: str) -> Fraction:
    """Notes are divided so that the multiples of this show."""
    counted, unit = (int(number) for number in meter.split("/"))
    if unit >= 8 and counted % 3 == 0:
        return Fraction(3, unit)
    return Fraction(1, min(unit, 4)) if unit <= 4 else Fraction(1, unit)


@lru_cache(maxsize=4096)
def beam_group(meter: str) -> Fraction:
    """Eighths and shorter are beamed inside multiples of this: half bars in 4/4 and 2/2."""
    if meter in ("4/4", "2/2"):
        return Fraction(1, 2)
    group = beat_group(meter)
    return group if group <= DOTTED_QUARTER else QUARTER


@lru_cache(maxsize=4096)
def divided(start: Fraction, length: Fraction, meter: str) -> tuple[Fraction, ...]:
    """The lengths of the tied notes that show a note or rest beginning at `start`."""
    if value_and_dots(length) and _clear(start, start + length, meter):
        return (length,)
    cut = _strongest_inside(start, start + length, meter)
    if cut is None:
        return tuple(_greedy(length))
    return (*divided(start, cut - start, meter), *divided(cut, start + length - cut, meter))


def _clear(start: Fraction, end: Fraction, meter: str) -> bool:
    """Whether one note from start to end leaves the beats readable."""
    group = beat_group(meter)
    if start // group == (end - SHORTEST / 64) // group:
        return True
    if group == DOTTED_QUARTER or group == Fraction(3, 16):
        return start % group == 0 and end % group == 0
    if meter in ("4/4", "2/2") and start % 1 < Fraction(1, 2) < end % 1:
        return start % QUARTER == 0 and end % QUARTER == 0
    length = end - start
    on_beat = start % group == 0 or end % group == 0
    return on_beat or (length == group and start % (group / 2) == 0)


def _strongest_inside(start: Fraction, end: Fraction, meter: str) -> Fraction | None:
    """The position strictly inside that most deserves to show."""
    group = beat_group(meter)
    levels = [Fraction(1, 2)] if meter in ("4/4", "2/2") else []
    levels += [group * 2] if group == DOTTED_QUARTER and meter == "12/8" else []
    step = group
    while step >= SHORTEST:
        levels.append(step)
        step = step / 3 if step.numerator == 3 else step / 2
    for level in levels:
        first = (start // level + 1) * level
        if first < end:
            # Of several equal beats the last leaves the longest note first.
            last = ((end / level).__ceil__() - 1) * level
            whole = value_and_dots(last - start)
            return last if whole and _clear(start, last, meter) else first
    return None


def _greedy(length: Fraction) -> list[Fraction]:
    """Longest notes first; a rest that no note value shows is kept as one."""
    pieces = []
    while length > 0:
        value = Fraction(4)
        while value > length and value >= SHORTEST:
            value /= 2
        if value < SHORTEST:
            pieces.append(length)
            break
        for dotted in (value * Fraction(3, 2), value):
            if dotted <= length:
                pieces.append(dotted)
                length -= dotted
                break
    return pieces
