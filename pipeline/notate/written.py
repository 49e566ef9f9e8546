"""Task: change the metre or the octave of a tune that is already written.

In: a Tune from a file. Out: the same notes barred in another metre, or moved by octaves.
Method: only bars that are put together two by two or cut in half keep their meaning; anything
    else would need the rhythm read anew and is refused.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from liltwright.counting import count
from liltwright.errors import UsageError, to_type
from liltwright.tune import Bar, Ending, HeardBar, Part, Tune


def rebarred(tune: Tune, meter: str) -> Tune:
    """The tune in another metre with the same note values. Raises UsageError when impossible."""
    old, new = tune.bar_length, Fraction(meter)
    if new == old:
        return replace(tune, meter=meter)
    if new == 2 * old:
        parts = tuple(_joined_part(part, old, tune.meter, meter) for part in tune.parts)
    elif 2 * new == old:
        parts = tuple(_cut_part(part, new, tune.meter, meter) for part in tune.parts)
    else:
        raise UsageError(
            f"The tune is written in {tune.meter} and its bars do not divide into bars of {meter}: "
            "edit the bar lines in the tune file, or start from the recording."
        )
    return replace(tune, meter=meter, parts=parts, bars_heard=(), chords_typed=(), pins=())


def moved_octaves(tune: Tune, octaves: int) -> Tune:
    """Everything written moved by octaves."""
    if not octaves:
        return tune
    return replace(
        tune,
        parts=tuple(moved_part(part, 12 * octaves) for part in tune.parts),
        bars_heard=tuple(moved_bar(bar, 12 * octaves) for bar in tune.bars_heard),
        octave_shift=tune.octave_shift + octaves,
    )


def moved(bar: Bar, semitones: int) -> Bar:
    """The notes of a bar at other pitches. Raises UsageError when MIDI has no such pitch."""
    if any(not 0 <= note.midi + semitones <= 127 for note in bar):
        raise UsageError(
            f"Moved by {count(abs(semitones) // 12, 'octave')} the tune has notes out of the range "
            f"of MIDI (0 to 127): give a smaller {to_type('octave', 'shift')}."
        )
    return tuple(replace(note, midi=note.midi + semitones) for note in bar)


def moved_bar(bar: HeardBar, semitones: int) -> HeardBar:
    """A heard bar at other pitches."""
    return replace(bar, notes=moved(bar.notes, semitones))


def moved_part(part: Part, semitones: int) -> Part:
    """A part at other pitches."""
    return replace(
        part,
        pickup=moved(part.pickup, semitones),
        bars=tuple(moved(bar, semitones) for bar in part.bars),
        endings=tuple(
            replace(end, bars=tuple(moved(bar, semitones) for bar in end.bars))
            for end in part.endings
        ),
    )


def _joined_part(part: Part, old: Fraction, old_meter: str, meter: str) -> Part:
    counts = [len(part.bars), *(len(end.bars) for end in part.endings)]
    if _crooked(part):
        raise UsageError(
            f"Part {part.name} has bars that are not as long as {old_meter} says, so it cannot be "
            f"written in {meter}: edit the bar lines in the tune file."
        )
    if any(count % 2 for count in counts):
        raise UsageError(
            f"Part {part.name} has an odd number of {old_meter} bars, so it cannot be written in "
            f"{meter}: edit the bar lines in the tune file."
        )
    return replace(
        part,
        pickup=_later(part.pickup, old),
        bars=_pairs(part.bars, old),
        endings=tuple(Ending(end.times, _pairs(end.bars, old)) for end in part.endings),
    )


def _crooked(part: Part) -> bool:
    """Whether any bar of the part or of its endings has a length of its own."""
    return bool(part.bar_lengths or any(ending.bar_lengths for ending in part.endings))


def _pairs(bars: tuple[Bar, ...], old: Fraction) -> tuple[Bar, ...]:
    return tuple(one + _later(two, old) for one, two in zip(bars[::2], bars[1::2], strict=True))


def _later(bar: Bar, by: Fraction) -> Bar:
    return tuple(replace(note, start=note.start + by) for note in bar)


def _cut_part(part: Part, new: Fraction, old_meter: str, meter: str) -> Part:
    if _crooked(part) or (part.pickup and part.pickup[0].start < new):
        raise UsageError(
            f"Part {part.name} has odd bars or a long pick-up in {old_meter}, so it cannot be "
            f"written in {meter}: edit the bar lines in the tune file."
        )
    return replace(
        part,
        pickup=_later(part.pickup, -new),
        bars=tuple(half for bar in part.bars for half in _halves(bar, new)),
        endings=tuple(
            Ending(end.times, tuple(half for bar in end.bars for half in _halves(bar, new)))
            for end in part.endings
        ),
    )


def _halves(bar: Bar, new: Fraction) -> tuple[Bar, Bar]:
    first = tuple(note for note in bar if note.start < new)
    second = tuple(note for note in bar if note.start >= new)
    return first, _later(second, -new)
