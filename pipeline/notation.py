"""Facts of notation that are both written and read: one place for each."""

from __future__ import annotations

from fractions import Fraction

RHYTHM_MARKS = {
    Fraction(2): "b", Fraction(1): "w", Fraction(1, 2): "h", Fraction(1, 4): "q",
    Fraction(1, 8): "e", Fraction(1, 16): "s", Fraction(1, 32): "t", Fraction(1, 64): "x",
    Fraction(1, 128): "y",
}  # fmt: skip
"""Letter over text tablature for each plain note value."""
REPEAT_DOT_STRINGS = (3, 4)
"""Strings of text tablature that carry the dots of a repeat sign."""
CHORD_KINDS = {
    "": "major", "m": "minor", "5": "power", "7": "dominant", "maj7": "major-seventh",
    "m7": "minor-seventh", "sus2": "suspended-second", "sus4": "suspended-fourth",
    "sus": "suspended-fourth", "6": "major-sixth", "m6": "minor-sixth", "9": "dominant-ninth",
    "m9": "minor-ninth", "maj9": "major-ninth", "11": "dominant-11th", "13": "dominant-13th",
    "dim": "diminished", "dim7": "diminished-seventh", "aug": "augmented", "+": "augmented",
    "m7b5": "half-diminished", "aug7": "augmented-seventh", "+7": "augmented-seventh",
}  # fmt: skip
"""What follows the root of a chord symbol, and MusicXML 4.0's kind-value for it."""
