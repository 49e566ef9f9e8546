"""The fields of an ABC tune: key, metre, unit length, tempo, text.

References  ABC notation standard 2.1, sections 3.1.6 (M), 3.1.7 (L), 3.1.8 (Q), 3.1.14 (K).
"""

from __future__ import annotations

import html
import re
import unicodedata
from dataclasses import dataclass, field
from fractions import Fraction

from liltwright.keys import signature_alters, signature_of
from liltwright.limits import check, clean, limit, number, short, whole
from liltwright.tune import MODES, Mode

_TONIC = re.compile(r"([A-Ga-g])([#b♯♭]?)\s*([A-Za-z]*)")
_SETTINGS = re.compile(r"\b(clef|middle|m|transpose|t|stafflines|staffscale|style)\s*=\s*\S+")
_OCTAVE = re.compile(r"\boctave\s*=\s*([-+]?\d+)")
_EXPLICIT = re.compile(r"(\^\^|\^|__|_|=)([A-Ga-g])")
_ALTER = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}  # semitones (ABC standard 2.1)
_COMBINING = {"'": "\u0301", "`": "\u0300", "^": "\u0302", '"': "\u0308", "~": "\u0303",
              "c": "\u0327", "v": "\u030c", "u": "\u0306"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class AbcKey:
    """What a K: field says."""

    tonic: str = "C"
    mode: Mode = "major"
    signature: int = 0
    alters: dict[str, int] = field(default_factory=lambda: signature_alters(0))
    """What the key does to each letter, semitones."""
    octave: int = 0
    """Octaves to add to every note (octave=)."""
    states_key: bool = False
    """Whether the field named a key at all (K:clef=treble does not)."""
    fault: str = ""
    """What was not understood, for the user."""


def parse_key_field(value: str) -> AbcKey:
    """Read a K: field; what is not understood is said in `fault`, never raised."""
    octave = _OCTAVE.search(value)
    shift = whole(octave.group(1)) if octave else 0
    check("octaves", abs(shift), "A K: line")
    text = _SETTINGS.sub("", _OCTAVE.sub("", value)).strip()
    if text[:2] in ("HP", "Hp"):
        return AbcKey("A", "mixolydian", 2, signature_alters(2), shift, True)
    found = _TONIC.match(text)
    if text.lower().startswith(("none", "treble", "bass", "alto", "tenor", "perc")) or not found:
        named = text.lower().startswith("none")
        fault = (
            "" if named or not text else f'The key "{short(value)}" is not understood; C is taken.'
        )
        return AbcKey(octave=shift, states_key=named, fault=fault)
    tonic = found.group(1).upper() + found.group(2).replace("♯", "#").replace("♭", "b")
    mode, fault = _mode(found.group(3), value)
    signature = signature_of(tonic, mode)
    if found.group(3)[:3].lower() == "loc":
        signature -= 1
    if abs(signature) > 7:
        signature += 12 if signature < 0 else -12
        fault = (
            f'The key "{short(value)}" has more than seven accidentals; its notes are respelled.'
        )
    alters = signature_alters(signature)
    explicit = _EXPLICIT.findall(text[found.end() :])
    if found.group(3).lower() == "exp":
        signature, alters = 0, signature_alters(0)
    for accidental, letter in explicit:
        alters[letter.upper()] = _ALTER[accidental]
    if explicit:
        signature, mode = _from_alters(tonic, mode, signature, alters)
    return AbcKey(tonic, mode, signature, alters, shift, True, fault)


def _mode(word: str, value: str) -> tuple[Mode, str]:
    opening = word.lower()[:3]
    if word == "M" or opening in ("", "maj", "ion", "exp"):
        return "major", ""
    if opening in ("m", "mi", "min", "aeo"):
        return "minor", ""
    if opening == "loc":
        return "phrygian", f'The key "{short(value)}" is locrian; it is treated as phrygian.'
    for mode in MODES:
        if mode.startswith(opening) and len(opening) == 3:
            return mode, ""
    return "major", f'The mode in "K:{short(value)}" is not understood; major is taken.'


def _from_alters(
    tonic: str, mode: Mode, signature: int, alters: dict[str, int]
) -> tuple[int, Mode]:
    """The signature and mode that explicit accidentals amount to, if there are such.

    "K:D maj =c" is D mixolydian; accidentals that no signature has leave the stated mode.
    """
    fifths = next((n for n in range(-7, 8) if signature_alters(n) == alters), None)
    if fifths is None:
        return signature, mode
    same = next((named for named in MODES if signature_of(tonic, named) == fifths), mode)
    return fifths, same


def parse_meter(value: str) -> str | None:
    """The metre as "6/8"; "C" is 4/4, "C|" 2/2, "2+3/8" 5/8. None for free metre or nonsense."""
    text = value.strip()
    if text.startswith("C"):
        return "2/2" if text.startswith("C|") else "4/4"
    found = re.match(r"\(?\s*(\d+(?:\s*\+\s*\d+)*)\s*\)?\s*/\s*(\d+)", text)
    if not found:
        return None
    upper, lower = sum(whole(n) for n in found.group(1).split("+")), whole(found.group(2))
    if lower not in (1, 2, 4, 8, 16, 32) or not 0 < upper <= 64:
        return None
    return f"{upper}/{lower}"


def parse_length(value: str, default: Fraction = Fraction(1, 8)) -> Fraction:
    """The unit note length of an L: field; the default where it is not understood."""
    found = re.match(r"\s*(\d+)\s*(?:/\s*(\d+))?", value)
    if not found:
        return default
    length = Fraction(whole(found.group(1)), max(whole(found.group(2) or "1"), 1))
    fits = Fraction(1, 128) <= length <= 2 and (1024 % length.denominator == 0)
    return length if fits else default


def default_length(meter: str) -> Fraction:
    """The unit note length without an L: field: 1/16 in metres below 3/4, else 1/8."""
    return Fraction(1, 16) if Fraction(meter) < Fraction(3, 4) else Fraction(1, 8)


def parse_tempo(value: str, unit: Fraction) -> Fraction | None:
    """Whole notes per minute of a Q: field; None when it states no figure.

    "1/4=120", "3/8 = 100", "1/4 3/8=60" (lengths added), "C3=40" and "120" (old: unit lengths).
    """
    text = re.sub(r'"[^"]*"', "", value).strip()
    left, _, right = text.rpartition("=")
    rate = re.match(r"\s*(\d+(?:\.\d+)?)", right)
    if not rate or number(rate.group(1)) <= 0:
        return None
    pieces = re.findall(r"(\d+)/(\d+)", left)
    length = sum((Fraction(whole(a), max(whole(b), 1)) for a, b in pieces), Fraction(0))
    if not pieces:
        counted = re.search(r"C\s*(\d*)", left)
        length = unit * whole((counted.group(1) if counted else "") or "1")
    return length * number(rate.group(1)) or None


def plain_text(value: str) -> str:
    """A text field with its accents resolved: "Sl\\'an" and "Sl&aacute;n" are "Slán"."""
    text = re.sub(
        r"\\([cvu'`^\"~])(?=([A-Za-z]))\2",
        lambda found: unicodedata.normalize("NFC", found.group(2) + _COMBINING[found.group(1)]),
        value[: limit("name_characters")],
    )
    text = html.unescape(text).replace("\\&", "&").replace("\\%", "%")
    return " ".join(clean(text).split())


def parse_times(text: str) -> tuple[int, ...]:
    """The times through of an ending: "1,3" or "1-3"."""
    times: list[int] = []
    for piece in re.split(r"[,\s.]+", text.strip(" ,.-")):
        low, _, high = piece.partition("-")
        if low.isdigit():
            first, last = whole(low), whole(high) if high.isdigit() else whole(low)
            check("repeats", max(first, last), "An ending")
            times += range(first, last + 1)
    return tuple(times)


def ticks_of(unit: int, number: str, slashes: str, divisor: str) -> int:
    """A length such as 3/2 or // in ticks, from the ticks of the unit."""
    ticks = unit * whole(number) if number else unit
    if divisor:
        return ticks // max(whole(divisor), 1)
    return ticks >> min(len(slashes), 64) if slashes else ticks
