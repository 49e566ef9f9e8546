"""Tonics, modes, signatures and the spelling of notes.

Signatures count fifths, sharps positive, -7 to 7. Tonics are spelled like "F#" or "Bb".
References: ABC notation standard 2.1, section 3.1.14 (modes and their signatures).
"""

from __future__ import annotations

from typing import NamedTuple

from liltwright import models
from liltwright.errors import UsageError
from liltwright.tune import MODES, KeyName, Mode

LETTERS = "CDEFGAB"
LETTER_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}  # above C
SHARP_ORDER = "FCGDAEB"


class Spelling(NamedTuple):
    """A written pitch: letter, alteration in semitones, octave with middle C = C4."""

    letter: str
    alter: int
    octave: int


def scale_steps(mode: Mode) -> tuple[int, ...]:
    """The seven steps of a mode in semitones above its tonic."""
    return tuple(models.read_json("modes/modes.json")["modes"][mode]["steps"])


def signature_of(tonic: str, mode: Mode) -> int:
    """Fifths of the key signature; may lie outside -7..7 for keys nobody writes."""
    table = models.read_json("modes/modes.json")
    return int(table["major_signature"][tonic] + table["modes"][mode]["fifths_from_major"])


def pitch_class(tonic: str) -> int:
    """0 to 11 of a spelled tonic: "C" is 0, "F#" 6, "Cb" 11."""
    return (LETTER_SEMITONES[tonic[0]] + tonic.count("#") - tonic[1:].count("b")) % 12


def key_name(tonic_class: int, mode: Mode) -> KeyName:
    """Spell a tonic (pitch class) as the mode wants it: the signature with fewest accidentals.

    Six sharps win over six flats, as in fiddle and guitar music.
    """
    table = models.read_json("modes/modes.json")["major_signature"]
    spelled = [tonic for tonic in table if pitch_class(tonic) == tonic_class % 12]
    best = min(
        spelled, key=lambda tonic: (abs(signature_of(tonic, mode)), -signature_of(tonic, mode))
    )
    return KeyName(best, mode)


def transpose_key(key: KeyName, semitones: int) -> KeyName:
    """The same mode on a tonic `semitones` higher, spelled anew."""
    return key_name(pitch_class(key.tonic) + semitones, key.mode)


def signature_alters(signature: int) -> dict[str, int]:
    """What the signature does to each letter: +1, 0 or -1."""
    alters = dict.fromkeys(LETTERS, 0)
    for letter in SHARP_ORDER[: max(signature, 0)]:
        alters[letter] = 1
    for letter in SHARP_ORDER[::-1][: max(-signature, 0)]:
        alters[letter] = -1
    return alters


def spell(midi: int, signature: int) -> Spelling:
    """Spell a note in a key: by the signature where it has the note, else by the near side.

    A note outside the scale is spelled along the line of fifths as close as possible to the
    middle of the signature's seven notes (F in the key of D is F natural, G# is G#, not Ab),
    never with a double accidental (G in the key of B is G natural, not F double sharp).
    """
    centre = signature + 2  # on the line of fifths C=0: a major scale runs from -1 to 5
    near = min(
        range(-8, 13), key=lambda fifth: (_off_class(fifth, midi), abs(fifth - centre), -fifth)
    )
    letter = SHARP_ORDER[(near + 1) % 7]
    alter = (near + 1) // 7
    octave = (midi - LETTER_SEMITONES[letter] - alter) // 12 - 1
    return Spelling(letter, alter, octave)


def _off_class(fifth: int, midi: int) -> bool:
    return (fifth * 7 - midi) % 12 != 0


def note_name(midi: int, signature: int = 0, *, octave: bool = False) -> str:
    """The spelled name, like "F#" or "Bb3" with the octave."""
    spelling = spell(midi, signature)
    accidental = "#" * spelling.alter if spelling.alter > 0 else "b" * -spelling.alter
    return f"{spelling.letter}{accidental}{spelling.octave if octave else ''}"


def parse_key(text: str) -> KeyName:
    """Read "D:dorian", "D dorian", "Bb" or "Em" as a tonic and mode.

    Modes may be shortened to three letters as in ABC. Raises UsageError otherwise.
    """
    words = text.replace(":", " ").split()
    tonic, rest = "", ""
    if words:
        size = 2 if len(words[0]) > 1 and words[0][1] in "#b" else 1
        tonic, rest = words[0][:size], " ".join([words[0][size:], *words[1:]]).strip().lower()
    tonic = tonic[:1].upper() + tonic[1:]
    mode = _mode(rest)
    if tonic not in models.read_json("modes/modes.json")["major_signature"] or mode is None:
        raise UsageError(
            f'"{text}" is not a key: write a tonic and a mode ({", ".join(MODES)}), like D:dorian.'
        )
    return (
        key_name(pitch_class(tonic), mode)
        if abs(signature_of(tonic, mode)) > 7
        else KeyName(tonic, mode)
    )


def _mode(text: str) -> Mode | None:
    if text in ("", "ionian", "ion"):
        return "major"
    if text in ("m", "aeolian", "aeo"):
        return "minor"
    return next((mode for mode in MODES if len(text) >= 3 and mode.startswith(text)), None)
