"""One setup for a tune: tuning, capo and transposition, checked note by note.

Task: put a tune on the guitar, or say which note does not fit.
In: a Tune; a tuning by name or notes; a capo; semitones from the written tune to the sound.
Out: a Setup. Every note of the tune has a place on it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from liltwright.errors import UsageError
from liltwright.guitar.fretboard import last_fret, places
from liltwright.guitar.player import Player
from liltwright.guitar.tension import refuse_breaking
from liltwright.guitar.tunings import parse_tuning
from liltwright.keys import KeyName, note_name, transpose_key
from liltwright.tab import Setup
from liltwright.tune import Tune

USUAL_OCTAVE = -12
"""Guitar arrangements usually take the tune an octave below where a tune book prints it."""


def make_setup(
    tune: Tune,
    *,
    tuning: str = "standard",
    capo: int = 0,
    transpose: int | None = None,
    player: Player | None = None,
    force: bool = False,
) -> Setup:
    """The setup for a tuning typed by hand.

    transpose : semitones from the written tune to the sound; None takes the octave that fits,
        the usual one (an octave down) before the lower and the higher
    force : allow a string near its breaking pitch
    Raises UsageError when the tuning or capo is nonsense, a string is near its breaking pitch, or
    a note of the tune has no place.
    """
    player = player or Player()
    name, strings = parse_tuning(tuning)
    if not force:
        refuse_breaking(strings, scale_mm=player.scale_mm)
    if not 0 <= capo <= 11:
        raise UsageError(f"A capo at fret {capo} is no use; choose 0 (none) to 11.")
    tries = (USUAL_OCTAVE, USUAL_OCTAVE - 12, 0) if transpose is None else (transpose,)
    faults = []
    for semitones in tries:
        fault = what_does_not_fit(tune, strings, capo, semitones, player)
        if fault is None:
            return setup_of(tune, name, strings, capo, semitones)
        faults.append(fault)
    raise UsageError(f"{name}, {capo_words(capo)}: {faults[0]}")


def setup_of(
    tune: Tune, name: str, strings_midi: Sequence[int], capo: int, transpose: int
) -> Setup:
    """The Setup record with its keys named; nothing is checked."""
    low6, low5, low4, low3, low2, low1 = strings_midi
    heard = KeyName(tune.tonic, tune.mode)
    sounds = heard if transpose % 12 == 0 else transpose_key(heard, transpose)
    shapes = sounds if capo % 12 == 0 else transpose_key(sounds, -capo)
    return Setup(name, (low6, low5, low4, low3, low2, low1), capo, transpose, sounds, shapes)


def capo_words(capo: int) -> str:
    """ "no capo" or "capo 5"."""
    return f"capo {capo}" if capo else "no capo"


def what_does_not_fit(
    tune: Tune, strings_midi: Sequence[int], capo: int, transpose: int, player: Player
) -> str | None:
    """A sentence about the first note without a place on the neck; None when all fit."""
    highest = last_fret(capo, body_fret=player.body_fret, past_body=player.past_body)
    for number, midi in numbered_notes(tune):
        sounding = midi + transpose
        if places(strings_midi, capo, sounding, highest):
            continue
        name = note_name(sounding, tune.signature if transpose % 12 == 0 else 0, octave=True)
        where = f"the {name} in bar {number}"
        lowest = min(strings_midi) + capo
        if sounding < lowest:
            return (
                f"{where} lies below the lowest string, which sounds "
                f"{note_name(lowest, octave=True)}; try a lower capo or tuning, "
                "or the tune an octave higher."
            )
        if sounding > max(strings_midi) + capo + highest:
            return (
                f"{where} lies above the last fret in reach "
                f"({highest} frets above the {'capo' if capo else 'nut'}); "
                "try the tune an octave lower, or a higher tuning."
            )
        return f"{where} falls between two strings, out of reach of the lower one."
    return None


def numbered_notes(tune: Tune) -> Iterator[tuple[int, int]]:
    """Bar number as printed and written pitch of every note in the order of the page."""
    for bar in tune.written_bars():
        for note in bar.notes:
            yield bar.number, note.midi
