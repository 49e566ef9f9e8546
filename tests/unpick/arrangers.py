"""Five simple arrangers unlike ours: pages whose truth is known, in textures that we do not write.

In:  a Tune. Out: Finished, every note with its true voice.
Method: chords are I, IV, V or bVII of the key, whichever shares most tones with a stretch of the
    tune, nothing more. The tune sounds an octave below where a tune book prints it. Strings come
    from the search of pipeline/unpick/placing.py, which drops what no hand can hold.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction

from liltwright import keys
from liltwright.bassbeats import pulse_of
from liltwright.guitar.tunings import parse_tuning
from liltwright.read.bars import ReadBar
from liltwright.read.written import Stated
from liltwright.tune import KeyName, ScoreNote, Tune
from liltwright.unpick.finished import Finished, FinishedNote
from liltwright.unpick.page import Page, page_of, with_notes
from liltwright.unpick.placing import placed

EIGHTH, QUARTER = Fraction(1, 8), Fraction(1, 4)
Added = tuple[str, int, Fraction, Fraction]
"""Voice, pitch, start and length of a note beside the tune."""
Texture = Callable[[list[ScoreNote], int, Fraction, Fraction, int, int], Iterator[Added]]
"""(tune notes sounding, chord root, start, end of the stretch, tonic, number of the stretch)."""


def near(pitch_class: int, low: int) -> int:
    """The lowest pitch of a class from `low` on."""
    return low + (pitch_class - low) % 12


def triad(root: int, low: int, minor: bool) -> list[int]:
    """Root, third and fifth as close together as they lie above a pitch."""
    first = near(root, low)
    return [first, first + (3 if minor else 4), first + 7]


def broken_chords(line, root, start, end, tonic, number):
    """Low, high, middle, high in eighths under the tune, the low note as bass."""
    low = triad(root, 40, False)
    order = [low[0], low[2], low[0] + 12, low[2]]
    at, place = start, 0
    while at < end:
        pitch = order[place % 4]
        top = min((n.midi for n in line if n.start <= at < n.start + n.length), default=99)
        if pitch < top - 1:
            yield ("bass" if place == 0 else "inner", pitch, at, EIGHTH)
        at, place = at + EIGHTH, place + 1


def alternating_thumb(line, root, start, end, tonic, number):
    """Root and fifth in turn on every quarter (or every beat of three)."""
    step = Fraction(3, 8) if (end - start).numerator == 3 else QUARTER
    at, place = start, number
    while at < end:
        pitch = near(root, 40) if place % 2 == 0 else near(root + 7, 45)
        yield ("bass", pitch, at, step)
        at, place = at + step, place + 1


def harp(line, root, start, end, tonic, number):
    """A bass at the start, and open tonic and fifth in every gap of an eighth in the tune."""
    if number % 2 == 0:
        yield ("bass", near(tonic, 38), start, end - start)
    begun = {note.start for note in line}
    drones = [near(tonic, 50), near(tonic + 7, 50)]
    at, place = start, 0
    while at < end:
        if at not in begun:
            yield ("inner", drones[place % 2], at, EIGHTH)
            place += 1
        at += EIGHTH


def in_the_middle(line, root, start, end, tonic, number):
    """A bass at the start, and a high drone over the tune on the second half of each stretch."""
    yield ("bass", near(root, 38), start, end - start)
    half = start + (Fraction(1, 4) if (end - start).numerator == 3 else (end - start) / 2)
    yield ("inner", near(tonic, 69), half, end - half)


def block_chords(line, root, start, end, tonic, number):
    """Root, fifth and octave of the chord struck together under the tune."""
    top = min((n.midi for n in line if n.start <= start < n.start + n.length), default=99)
    low = near(root, 40)
    yield ("bass", low, start, end - start)
    for pitch in (low + 7, low + 12):
        if pitch < top - 1:
            yield ("inner", pitch, start, end - start)


TEXTURES: dict[str, Texture] = {
    "broken chords": broken_chords,
    "alternating thumb": alternating_thumb,
    "harp": harp,
    "melody in the middle": in_the_middle,
    "block chords": block_chords,
}


def arranged_by(name: str, tune: Tune) -> Finished:
    """The tune in a texture, as a file without strings would hold it."""
    tonic = keys.pitch_class(tune.tonic)
    pulse = pulse_of(tune)
    roots = [
        tonic,
        tonic + 5,
        tonic + (10 if tune.mode in ("mixolydian", "dorian", "minor") else 7),
    ]
    bars = []
    written = tune.written_bars()
    for index, bar in enumerate(written):
        line = [replace(note, midi=note.midi - 12) for note in bar.notes]
        offset = tune.bar_length - bar.length if bar.kind == "pickup" else Fraction(0)
        notes = [FinishedNote(n.midi, n.start, n.length, voice="melody") for n in line]
        if bar.kind != "pickup":
            beats = [beat for beat in pulse.main if beat < bar.length]
            ends = [*beats[1:], bar.length]
            for number, (start, end) in enumerate(zip(beats, ends, strict=True)):
                here = [n.midi % 12 for n in line if start <= n.start < end]
                root = max(roots, key=lambda r: sum((p - r) % 12 in (0, 4, 7) for p in here))
                added = TEXTURES[name](line, root, start, end, tonic, number)
                for voice, pitch, at, length in added:
                    if all(pitch != n.midi or at != n.start for n in notes):
                        notes.append(FinishedNote(pitch, at, length, voice=voice))
        notes.sort(key=lambda n: (n.start, n.midi))
        last = index + 1 == len(written) or written[index + 1].part != bar.part
        moved = tuple(replace(n, start=n.start - offset) for n in notes)
        opens = index == 0 or written[index - 1].part != bar.part
        bars.append(ReadBar(moved, bar.length, opens=opens, closes=last))
    stated = Stated(
        title=tune.title,
        meter=tune.meter,
        kind=tune.tune_type,
        key=KeyName(tune.tonic, tune.mode),
        signature=tune.signature,
    )
    return Finished(tune.source, stated, tuple(bars))


def on_strings(finished: Finished, tuning: str = "standard", capo: int = 0) -> Page:
    """The page on a guitar; what cannot be held is gone."""
    return placed(page_of(finished), parse_tuning(tuning)[1], capo)


def blind(page: Page, *, lengths: bool = False) -> Page:
    """The page with nothing said about voices and, unless wished, about how long notes ring."""
    ends = {}
    for moment, after in zip(page.moments, [*page.moments[1:], None], strict=True):
        end = after.at if after is not None else page.end
        ends |= {one.index: max(end - moment.at, Fraction(1, 64)) for one in moment.notes}
    notes = []
    for one in page.notes:
        length = one.note.length if lengths else ends.get(one.index, one.note.length)
        notes.append(replace(one, note=replace(one.note, voice="", length=length)))
    return with_notes(page, notes)
