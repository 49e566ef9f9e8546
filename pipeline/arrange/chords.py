"""Chord symbols: reading what a user typed, naming what the rules chose.

A symbol is a root ("G", "F#", "Bb"), what follows it ("m", "7", "5", "sus4" ...) and perhaps a
bass note after a slash, as ABC 2.1 section 4.18 describes it. Pitch classes run from 0 (C) to 11.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from liltwright import keys
from liltwright.errors import UsageError

TRIADS: dict[str, tuple[int, ...]] = {
    "": (0, 4, 7), "m": (0, 3, 7), "5": (0, 7), "dim": (0, 3, 6), "aug": (0, 4, 8), "+": (0, 4, 8),
    "sus4": (0, 5, 7), "sus2": (0, 2, 7), "sus": (0, 5, 7),
}  # fmt: skip
"""Semitones above the root, by what follows it in a symbol."""
ADDED: dict[str, tuple[int, ...]] = {
    "6": (9,), "7": (10,), "maj7": (11,), "9": (10, 2), "maj9": (11, 2), "11": (10, 2, 5),
    "13": (10, 2, 9), "add9": (2,), "add2": (2,), "add4": (5,), "7sus4": (10,), "m7b5": (10,),
    "dim7": (9,), "aug7": (10,), "+7": (10,),
}  # fmt: skip
"""Semitones above the root that a figure adds to the triad."""
SYMBOL = re.compile(
    r"(?P<root>[A-G][#b]?)"
    r"(?P<third>min|m(?!aj)|-|dim|aug|\+)?"
    r"(?P<added>maj7|maj9|M7|maj|7|9|11|13|6|5)?"
    r"(?P<more>sus4|sus2|sus|add9|add2|add4|b5)?"
    r"(?:/(?P<bass>[A-Ga-g][#b]?))?"
)


@dataclass(frozen=True, slots=True)
class ChordTones:
    """What a chord symbol means: pitch classes, root and fifth among them, bass if given."""

    symbol: str
    root: int
    tones: frozenset[int]
    fifth: int
    bass: int | None = None
    """The pitch class after the slash."""

    @property
    def thirds(self) -> frozenset[int]:
        """The chord's third, if it has one."""
        return self.tones & {(self.root + 3) % 12, (self.root + 4) % 12}


def parse_symbol(text: str) -> ChordTones:
    """Read a chord symbol. Raises UsageError on anything else."""
    found = SYMBOL.fullmatch(text.strip().replace("♭", "b").replace("♯", "#"))
    if not found:
        raise UsageError(f'"{text}" is not a chord: write it like G, Em, D7, A5, Dsus4 or D7/F#.')
    root = keys.pitch_class(found["root"])
    third, added, more = found["third"] or "", found["added"] or "", found["more"] or ""
    third = {"min": "m", "-": "m"}.get(third, third)
    kind = more if more.startswith("sus") else "5" if added == "5" else third
    steps = set(TRIADS[kind])
    steps |= set(ADDED.get({"M7": "maj7"}.get(added, added), ()) if added != "5" else ())
    steps |= set(ADDED.get(more, ()))
    if third == "dim" and added == "7":
        steps = {0, 3, 6, 9}
    if more == "b5":
        steps = (steps - {7}) | {6}
    fifth = next((step for step in (7, 6, 8) if step in steps), 7)
    bass = found["bass"]
    return ChordTones(
        text.strip(),
        root,
        frozenset((root + step) % 12 for step in steps),
        (root + fifth) % 12,
        keys.pitch_class(bass[0].upper() + bass[1:]) if bass else None,
    )


def transpose_symbol(text: str, semitones: int, signature: int) -> str:
    """The symbol `semitones` higher, roots spelled for `signature`; unchanged by whole octaves."""
    chord = parse_symbol(text)
    if semitones % 12 == 0:
        return chord.symbol
    body, _, _ = chord.symbol.partition("/")
    root = keys.note_name((chord.root + semitones) % 12 + 60, signature)
    suffix = body[2:] if body[1:2] in ("#", "b", "♯", "♭") else body[1:]
    if chord.bass is None:
        return root + suffix
    return f"{root}{suffix}/{keys.note_name((chord.bass + semitones) % 12 + 60, signature)}"
