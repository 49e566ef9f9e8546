"""Tunings of six strings: the catalogue, and reading what a player types.

Task: turn a tuning's name or its notes into six pitches.
In: text such as "DADGAD", "D A D G A D", "C2 G2 D3 G3 A3 D4", "open G".
Out: a name and six MIDI numbers from low to high, without a capo.
Method: without octave numbers each string goes to the octave nearest to its standard pitch
(downwards when two are equally near), never below the string before it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from liltwright import models
from liltwright.errors import UsageError
from liltwright.keys import LETTER_SEMITONES, note_name

Strings = tuple[int, int, int, int, int, int]
LOWEST, HIGHEST = 24, 76
"""C1 to E5: beyond these no six-string guitar goes."""
LETTERS = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")
"""How players write an open string."""
NOTE = re.compile(r"([A-Ga-g])([#♯b♭]?)(\d?)")


@dataclass(frozen=True, slots=True)
class Tuning:
    """One line of models/tunings/tunings.json; strings from low to high.

    common : how usual the tuning is among players, 0 to 1
    """

    name: str
    strings_midi: Strings
    common: float = 0.0
    note: str = ""


@cache
def catalogue() -> tuple[Tuning, ...]:
    """Every catalogued tuning, standard first."""
    return tuple(
        Tuning(
            row["name"],
            _with_octaves(row["strings"].split()),
            row["common"],
            row.get("note", ""),
        )
        for row in models.read_json("tunings/tunings.json")["tunings"]
    )


@cache
def standard() -> Strings:
    """Open strings of standard tuning, low to high."""
    return _with_octaves(models.read_json("tunings/tunings.json")["standard"].split())


def parse_tuning(text: str) -> tuple[str, Strings]:
    """Name and strings of a tuning by its name or its six notes, low to high.

    Raises UsageError that says what is wrong with the text.
    """
    wanted = " ".join(text.split())
    for tuning in catalogue():
        if tuning.name.lower() == wanted.lower():
            return tuning.name, tuning.strings_midi
    strings = _strings_of(wanted)
    return name_of(strings), strings


def tuning_of(text: str) -> Tuning:
    """The tuning a player typed, with all the catalogue knows of it. Raises UsageError."""
    name, strings = parse_tuning(text)
    known = (tuning for tuning in catalogue() if tuning.strings_midi == strings)
    return next(known, Tuning(name, strings))


def name_of(strings_midi: Sequence[int]) -> str:
    """The catalogue's name for six strings, else their letters."""
    for tuning in catalogue():
        if tuning.strings_midi == tuple(strings_midi):
            return tuning.name
    letters = letters_of(strings_midi)
    return letters if _inferred(letters) == tuple(strings_midi) else with_octaves(strings_midi)


def letters_of(strings_midi: Sequence[int]) -> str:
    """The six note names run together: DADGAD, DADF#AD."""
    return "".join(LETTERS[midi % 12] for midi in strings_midi)


def with_octaves(strings_midi: Sequence[int]) -> str:
    """The six notes with octave numbers: D2 A2 D3 G3 A3 D4."""
    return " ".join(f"{LETTERS[midi % 12]}{midi // 12 - 1}" for midi in strings_midi)


def changes(strings_midi: Sequence[int], present: Sequence[int]) -> tuple[tuple[int, int], ...]:
    """Strings to retune from `present`: (string 1 to 6, semitones), the sixth string first."""
    return tuple(
        (6 - index, new - old)
        for index, (new, old) in enumerate(zip(strings_midi, present, strict=True))
        if new != old
    )


def retuning_steps(strings_midi: Sequence[int], present: Sequence[int]) -> tuple[str, ...]:
    """What to turn, the strings that move least first: "string 6 from E down to D"."""
    steps = sorted(changes(strings_midi, present), key=lambda step: (abs(step[1]), -step[0]))
    return tuple(
        f"string {string} from {LETTERS[present[6 - string] % 12]} "
        f"{'up' if semitones > 0 else 'down'} to {LETTERS[strings_midi[6 - string] % 12]}"
        for string, semitones in steps
    )


def _inferred(letters: str) -> Strings | None:
    try:
        return _strings_of(letters)
    except UsageError:
        return None


def _strings_of(text: str) -> Strings:
    pieces, rest = _pieces(text)
    if rest:
        raise UsageError(
            f'"{text}" is not a tuning: "{rest}" is neither a note name (A to G with # or b, '
            "an octave number if need be) nor part of a catalogued name; "
            'write six notes from low to high, like "DADGAD" or "D2 A2 D3 G3 A3 D4".'
        )
    if len(pieces) != 6:
        raise UsageError(
            f'"{text}" has {len(pieces)} note{"" if len(pieces) == 1 else "s"}; a tuning has six, '
            'from the lowest string to the highest, like "DADGAD".'
        )
    strings = _with_octaves(pieces)
    for index, midi in enumerate(strings):
        if not LOWEST <= midi <= HIGHEST:
            raise UsageError(
                f'"{text}": {pieces[index]} on string {6 - index} lies outside '
                f"{note_name(LOWEST, octave=True)} to {note_name(HIGHEST, octave=True)}."
            )
        if index and midi < strings[index - 1]:
            raise UsageError(
                f'"{text}": string {6 - index} ({pieces[index]}) lies below string {7 - index}; '
                "write the notes from the lowest string to the highest."
            )
    return strings


def _pieces(text: str) -> tuple[list[str], str]:
    """The notes in a text, and the first piece that is none."""
    pieces: list[str] = []
    rest = text.strip()
    while rest:
        found = NOTE.match(rest)
        if not found:
            return pieces, rest.split()[0]
        pieces.append(found.group(0))
        rest = rest[found.end() :].lstrip(" ,-–.;")
    return pieces, ""


def _with_octaves(pieces: Sequence[str]) -> Strings:
    usual = (40, 45, 50, 55, 59, 64)
    strings: list[int] = []
    for index, piece in enumerate(pieces):
        found = NOTE.fullmatch(piece)
        assert found
        letter, sign, octave = found.groups()
        pitch = LETTER_SEMITONES[letter.upper()] + (sign in "#♯" and sign != "") * 1
        pitch -= (sign in "b♭" and sign != "") * 1
        if octave:
            strings.append(pitch + 12 * (int(octave) + 1))
            continue
        floor = strings[-1] if strings else 0
        allowed = [p for p in range(pitch % 12, 256, 12) if p >= floor]
        strings.append(min(allowed, key=lambda p: (abs(p - usual[index]), p)))
    return (strings[0], strings[1], strings[2], strings[3], strings[4], strings[5])
